"""Pairs of one model beside each other as plain text: what to take and why, then purpose by purpose."""

from collections.abc import Iterator, Mapping
from typing import Any

import polars as pl

from triage.writeup.lists import CAUTION
from triage.writeup.parts import PARTS
from triage.writeup.phrase import CONDITION, at_most, count, estimate, percent, title_of
from triage.writeup.phrase import gap as gap_words

Row = Mapping[str, Any]

# Pairs of each kind that a comparison shows for a purpose; the best decide it.
SHOWN = 3


def comparison_text(rows: pl.DataFrame, gaps: pl.DataFrame, best: Row, buyer: str, currency: str) -> str:
    """Return pairs of one model, purpose by purpose: what to take, then the best deadstock and worn pairs.

    Args:
        rows: As ``verdict.comparison.compare`` returns them.
        gaps: As ``verdict.comparison.indifference`` returns them.
        best: As ``verdict.comparison.recommended`` returns it.
    """
    lines = [f"for {buyer}, whatever the size: {recommendation(best, currency)}"]
    for purpose in ("wear", "restore", "display", "resell"):
        own = rows.filter(pl.col("purpose") == purpose)
        lines += ["", f"to {purpose}"]
        lines += [f"  {gap_words(gap, currency)}" for gap in gaps.filter(pl.col("purpose") == purpose).to_dicts()]
        deadstock = own.filter(pl.col("condition") == "deadstock")
        worn = own.filter(~pl.col("condition").is_in(["deadstock", "unknown"]))
        unknown = own.filter(pl.col("condition") == "unknown")
        for name, pairs in (("deadstock", deadstock), ("worn", worn), ("not stated how worn", unknown)):
            lines += _pairs_text(name, pairs, currency)
    return "\n".join([*lines, "", CAUTION]) + "\n"


def _pairs_text(name: str, pairs: pl.DataFrame, currency: str) -> Iterator[str]:
    if pairs.is_empty():
        return
    more = f", the best {SHOWN}" if pairs.height > SHOWN else ""
    yield f"  {name}: {count(pairs.height, 'pair')}{more}"
    for row in pairs.head(SHOWN).to_dicts():
        repairs = f" after repairs of {estimate(row['repair_minor'], currency)}" if row["repair_minor"] >= 100 else ""
        after = f", after the plan {percent(row['p_after'])}" if row["purpose"] != "display" else ""
        yield f"    {title_of(row['title'])} [{row['listing_id']}], {row['model_id']}, {CONDITION[row['condition']]}"
        yield (
            f"      worth {estimate(row['value_minor'], currency)} when sound, "
            f"{estimate(row['expected_minor'], currency)} on average{repairs}, lands at "
            f"{estimate(row['landed_minor'], currency)}: {estimate(row['surplus_minor'], currency)} left over"
        )
        yield (
            f"      wearable {percent(row['p_wearable'])}{after}; at risk "
            f"{estimate(row['at_risk_minor'], currency)}; sensible up to {at_most(row['offer_minor'], currency)}"
        )
        yield f"      fails: {', '.join(_fails(row))}"


def _fails(row: Row) -> Iterator[str]:
    chances = {part: row[f"p_unfit_{part}"] for part in PARTS}
    for part in sorted((part for part in PARTS if chances[part] is not None), key=lambda part: -chances[part]):
        yield f"{part} {percent(chances[part])}"


def recommendation(best: Row, currency: str) -> str:
    """Return which pair to take and why, in one sentence.

    Args:
        best: As ``verdict.comparison.recommended`` returns it.
    """
    one, against = best["nearest"], best["against"]
    left = estimate(one["surplus_minor"], currency)
    if best["take"]:
        words = f"take {_named(one)} to {one['purpose']}: {left} left over"
    elif best["offer"]:
        words = (
            f"take none as priced; {_named(one)} would be worth an offer of up to "
            f"{at_most(one['offer_minor'], currency)} to {one['purpose']}: {left} left over at its price"
        )
    else:
        words = f"take none; even {_named(one)} to {one['purpose']} is no buy: {left} left over"
        if one["purpose"] in ("wear", "restore"):
            words += f", wearable after the plan {percent(one['p_after'])}"
    if against is None:
        return words
    words += f", against {estimate(against['surplus_minor'], currency)} with {_named(against)}"
    dearer = one["landed_minor"] - against["landed_minor"]
    worth = one["expected_minor"] - against["expected_minor"]
    words += f". It costs {_more(dearer, currency)} at the door and is worth {_more(worth, currency)} on average"
    if best["part"]:
        chances = (percent(row[f"p_unfit_{best['part']}"]) for row in (one, against))
        words += "; its {} fails with {}, the other's with {}".format(best["part"], *chances)
    return words


def _named(row: Row) -> str:
    kind = "the deadstock pair" if row["condition"] == "deadstock" else "the worn pair"
    kind = "the pair of unknown wear" if row["condition"] == "unknown" else kind
    return f"{kind} [{row['listing_id']}]"


def _more(minor: int, currency: str) -> str:
    return f"{estimate(abs(minor), currency)} {'less' if minor < 0 else 'more'}"
