"""The two numbers that would move a call most, in words."""

from collections.abc import Iterable, Mapping
from typing import Any

from triage.writeup import phrase

Row = Mapping[str, Any]
NUMBER = {
    "value_minor": "value when sound",
    "repair_minor": "what the repairs cost",
    "shipping_minor": "postage, which is assumed",
    "p_fits": "whether the size fits",
    "construction_id": "which release it is",
}


def swing(row: Row) -> str:
    """Return one number with its range, and what would be left over at its ends.

    Args:
        row: A row of ``sensitivity`` with the currency of the verdict.
    """
    currency = row["currency"]
    left = f"{phrase.estimate(row['at_low_minor'], currency)} to {phrase.estimate(row['at_high_minor'], currency)}"
    name = row["number"]
    if name.startswith("p_unfit "):
        part = name.removeprefix("p_unfit ")
        return f"{part} unfit {phrase.percent_range(row['low'], row['high'])}: {left} left over"
    if name in ("value_minor", "shipping_minor"):
        ends = f"{phrase.estimate(round(row['low']), currency)} to {phrase.estimate(round(row['high']), currency)}"
        return f"{NUMBER[name]} {ends}: {left} left over"
    return f"{NUMBER[name]}: {left} left over"


def swings_of(rows: Iterable[Row], buyer: str) -> tuple[str, ...]:
    """Return the numbers that would move a buyer's call most, the wider swing first."""
    return tuple(swing(row) for row in rows if row["buyer"] == buyer)


def explained(rows: Iterable[Row]) -> list[str]:
    """Return the numbers that would move each buyer's call most."""
    return [f"{row['buyer']} {row['place']}. {swing(row)}" for row in rows]
