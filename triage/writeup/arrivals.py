"""What was recorded of pairs that arrived, in words for a terminal."""

from datetime import date
from typing import Protocol

import polars as pl

from triage.writeup import phrase


class Purchase(Protocol):
    """A row of the table ``purchase``."""

    @property
    def listing_id(self) -> str: ...
    @property
    def buyer(self) -> str | None: ...
    @property
    def bought_on(self) -> date: ...
    @property
    def landed_minor(self) -> int | None: ...
    @property
    def currency(self) -> str: ...
    @property
    def arrived_on(self) -> date | None: ...
    @property
    def repair_minor(self) -> int | None: ...
    @property
    def worth_minor(self) -> int | None: ...
    @property
    def sold_on(self) -> date | None: ...


def purchase_line(bought: Purchase) -> str:
    """Return all that is known of a purchase in one line."""
    paid, repaired, worth = (
        phrase.money(minor, bought.currency) for minor in (bought.landed_minor, bought.repair_minor, bought.worth_minor)
    )
    parts = [f"bought {phrase.day(bought.bought_on)}"]
    if bought.buyer:
        parts[0] += f" for {bought.buyer}"
    parts.append(f"{paid} at the door" if bought.landed_minor is not None else "price not told")
    if bought.arrived_on:
        parts.append(f"arrived {phrase.day(bought.arrived_on)}")
    if bought.repair_minor is not None:
        parts.append(f"{repaired} of repairs")
    if bought.worth_minor is not None:
        parts.append(f"sold for {worth} on {phrase.day(bought.sold_on)}" if bought.sold_on else f"worth {worth}")
    return f"{phrase.plain(bought.listing_id)}: {', '.join(parts)}"


def inspection_lines(new: pl.DataFrame) -> str:
    """Return a line for every inspection that was recorded."""
    if new.is_empty():
        return "nothing new: the store has these inspections already\n"
    lines = [f"{phrase.count(new.height, 'inspection')} recorded"]
    lines += [
        f"  {phrase.plain(row['listing_id'])}: {row['part']} {row['state']}, {phrase.day(row['inspected_on'])}"
        for row in new.iter_rows(named=True)
    ]
    return "\n".join(lines) + "\n"
