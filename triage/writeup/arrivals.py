"""What was recorded of pairs that were bought and arrived, in words for a terminal."""

from collections.abc import Mapping
from typing import Any

import polars as pl

from triage.store import Connection, frame
from triage.writeup import phrase

LAST_PURCHASE = """
SELECT *
FROM purchase
WHERE listing_id = ?
ORDER BY rowid DESC
LIMIT 1
"""
INSPECTIONS_ON = """
SELECT *
FROM inspection
WHERE listing_id = ?
ORDER BY inspected_on, part, rowid
"""


def purchase_words(row: Mapping[str, Any]) -> str:
    """Return all that is known of a purchase, a row of the table, in one line."""
    paid, repaired, worth = (
        phrase.money(row[name], row["currency"]) for name in ("landed_minor", "repair_minor", "worth_minor")
    )
    parts = [f"bought {phrase.day(row['bought_on'])}" + (f" for {row['buyer']}" if row["buyer"] else "")]
    parts.append(f"{paid} at the door" if row["landed_minor"] is not None else "price not told")
    if row["arrived_on"]:
        parts.append(f"arrived {phrase.day(row['arrived_on'])}")
    if row["repair_minor"] is not None:
        parts.append(f"{repaired} of repairs")
    if row["worth_minor"] is not None:
        parts.append(f"sold for {worth} on {phrase.day(row['sold_on'])}" if row["sold_on"] else f"worth {worth}")
    return ", ".join(parts)


def purchase_line(store: Connection, listing_id: str) -> str:
    """Return the purchase of a pair that was recorded last."""
    (row,) = frame(store, LAST_PURCHASE, [listing_id]).to_dicts()
    return f"{phrase.plain(listing_id)}: {purchase_words(row)}"


def arrival_lines(store: Connection, listing_id: str) -> list[str]:
    """Return what was paid for a pair, and every inspection, corrected ones too."""
    lines = [purchase_words(row) for row in frame(store, LAST_PURCHASE, [listing_id]).to_dicts()]
    return lines + [
        f"{phrase.day(row['inspected_on'])}: {row['part']} {row['state']}. {phrase.plain(row['note'])}".strip()
        for row in frame(store, INSPECTIONS_ON, [listing_id]).to_dicts()
    ]


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
