"""The short list for a buyer as plain text and as JSON: what was looked for, the lines, what a purse buys."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from typing import Any, Protocol

import polars as pl

from triage.writeup.lists import CAUTION
from triage.writeup.phrase import at_most, count, day, estimate, money, percent, percent_range, plain, title_of

Row = Mapping[str, Any]


class Found(Protocol):
    """A short list, as stage 7 makes it."""

    @property
    def lines(self) -> pl.DataFrame: ...
    @property
    def left_out(self) -> pl.DataFrame: ...
    @property
    def together(self) -> pl.DataFrame | None: ...


class Looking(Protocol):
    """The buyer's side of a short list."""

    @property
    def id(self) -> str: ...
    @property
    def name(self) -> str: ...
    @property
    def purposes(self) -> Sequence[str]: ...
    @property
    def foot_mm(self) -> float | None: ...
    @property
    def foot_tolerance_mm(self) -> float: ...
    @property
    def budget_minor(self) -> int: ...
    @property
    def purse_minor(self) -> int | None: ...
    @property
    def currency(self) -> str: ...
    @property
    def horizon_years(self) -> float: ...
    @property
    def climate(self) -> str: ...
    @property
    def repair_tolerance(self) -> str: ...
    @property
    def hard_noes(self) -> Sequence[str]: ...
    def days_left(self, as_of: date) -> int | None: ...


def shortlist_text(found: Found, buyer: Looking, as_of: date) -> str:
    """Return the short list for a buyer, one pair a paragraph."""
    told = [f"for {buyer.name}, {day(as_of)}: {wanted(buyer, as_of)}"]
    for row in found.lines.to_dicts():
        told += _line(row, buyer.days_left(as_of))
    if found.lines.is_empty():
        told.append("nothing tonight: no pair worth buying or asking about")
    if found.together is not None:
        told += ["", *_together(found.together, buyer)]
    if found.left_out.height:
        told += ["", "left out, as they would come too late:"]
        told += [f"  {title_of(row['title'])} [{row['listing_id']}]: {row['why']}" for row in found.left_out.to_dicts()]
    return "\n".join([*told, "", CAUTION]) + "\n"


def wanted(buyer: Looking, as_of: date) -> str:
    """Return what a buyer looks for in one line."""
    size = "any size"
    if buyer.foot_mm is not None:
        least, most = buyer.foot_mm - buyer.foot_tolerance_mm, buyer.foot_mm + buyer.foot_tolerance_mm
        size = f"foot {least:g} to {most:g} mm"
    left = buyer.days_left(as_of)
    words = [
        f"to {', '.join(buyer.purposes)}",
        size,
        f"up to {money(buyer.budget_minor, buyer.currency)} a pair, all in",
        f"{buyer.horizon_years:g} years in climate {buyer.climate}",
        f"repairs: {buyer.repair_tolerance}",
        f"never: {', '.join(sign.replace('_', ' ') for sign in buyer.hard_noes)}" if buyer.hard_noes else "",
        "" if left is None else f"on the feet in {count(left, 'day')}",
    ]
    return "; ".join(word for word in words if word)


def _line(row: Row, days_left: int | None) -> Iterator[str]:
    role = f" ({row['role']})" if row["role"] else ""
    late = ", may come too late" if days_left is not None and row["days_hi"] > days_left else ""
    landed, spend = (estimate(row[name], row["currency"]) for name in ("landed_minor", "spend_minor"))
    yield f"  {row['call']}{role}: {title_of(row['title'])} [{row['listing_id']}]"
    yield f"      {plain(row['reason'])}"
    yield (
        f"      size {plain(row['size_text'] or 'not stated')}, fits {percent(row['p_fits'])}; wearable "
        f"{percent_range(row['p_wearable_lo'], row['p_wearable_hi'])}, after the plan {percent(row['p_after_plan'])}; "
        f"would fail by {row['fails_by']}"
    )
    yield (
        f"      lands at {landed}, all in {spend}, sensible up to {at_most(row['offer_minor'], row['currency'])}; "
        f"ready in {row['days_lo']:.0f} to {row['days_hi']:.0f} days{late}"
    )


def _together(rows: pl.DataFrame, buyer: Looking) -> Iterator[str]:
    purse = money(buyer.purse_minor, buyer.currency)
    if rows.is_empty():
        yield f"with {purse} for all together: no buy fits"
        return
    spent, over = int(rows["spend_minor"].sum()), int(rows["surplus_minor"].sum())
    yield (
        f"with {purse} for all together, these bring most: {count(rows.height, 'pair')} for "
        f"{estimate(spent, buyer.currency)}, {estimate(over, buyer.currency)} left over"
    )
    for row in rows.to_dicts():
        spend, left = (estimate(row[name], row["currency"]) for name in ("spend_minor", "surplus_minor"))
        yield f"  {title_of(row['title'])} [{row['listing_id']}]: all in {spend}, {left} left over"


def shortlist_json(found: Found, buyer: Looking, as_of: date) -> dict[str, Any]:
    """Return the short list as JSON can hold it; ``together`` is null without a purse."""
    together = None
    if found.together is not None:
        together = {
            "purse_minor": buyer.purse_minor,
            "spend_minor": int(found.together["spend_minor"].sum()),
            "surplus_minor": int(found.together["surplus_minor"].sum()),
            "lines": found.together.to_dicts(),
        }
    return {
        "buyer": buyer.id,
        "as_of": as_of,
        "lines": found.lines.to_dicts(),
        "left_out": found.left_out.to_dicts(),
        "together": together,
    }
