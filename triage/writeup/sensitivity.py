"""The two numbers that would move a call most, in words."""

from collections.abc import Mapping
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


def line(row: Row, currency: str | None) -> str:
    """Return one number with its range, and what would be left over at its ends.

    Args:
        row: A row of ``sensitivity``.
        currency: ISO 4217 code of the money in it.
    """
    left = f"{phrase.estimate(row['at_low_minor'], currency)} to {phrase.estimate(row['at_high_minor'], currency)}"
    name = row["number"]
    if name.startswith("p_unfit "):
        part = name.removeprefix("p_unfit ")
        return f"{part} unfit {phrase.percent_range(row['low'], row['high'])}: {left} left over"
    if name in ("value_minor", "shipping_minor"):
        ends = f"{phrase.estimate(round(row['low']), currency)} to {phrase.estimate(round(row['high']), currency)}"
        return f"{NUMBER[name]} {ends}: {left} left over"
    return f"{NUMBER[name]}: {left} left over"
