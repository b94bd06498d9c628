"""Where a ticket comes from: the exported row, its photos' addresses, and what spoke for each release."""

import json
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from triage.writeup import phrase

Row = Mapping[str, Any]

# A page is read, not archived: the store keeps every cell whole.
CELL_LONGEST, ROW_LONGEST = 2000, 6000
ADDRESS_LONGEST = 2000
PLACES = 20
EVIDENCE_LINES = 12
PHOTOS = 12
# A scheme, a host of letters, digits, points and hyphens, perhaps a port, then anything without a blank.
WEB = re.compile(r"https?://[\w.-]+(:\d{1,5})?([/?#]\S*)?", re.IGNORECASE)
ADDRESS = re.compile(r"https?://[^\s\"'<>|;,\\]+", re.IGNORECASE)


@dataclass(frozen=True)
class Exported:
    """The latest row that shows a listing, heading by heading, and where else it was seen."""

    place: str
    cells: tuple[tuple[str, str], ...]
    others: tuple[str, ...]


@dataclass(frozen=True)
class Evidence:
    """One comparison of the listing with a release of the tables."""

    release: str
    field: str
    listing: str
    table: str
    bits: str


def link(url: str | None) -> str:
    """Return an address a reader may be sent to; empty for anything that is not plainly http or https."""
    text = (url or "").strip()
    sound = len(text) <= ADDRESS_LONGEST and WEB.fullmatch(text) and phrase.plain(text) == text
    return text if sound else ""


def exported_of(rows: Sequence[Row]) -> Exported | None:
    """Return the latest exported row of a listing; None when the store has none.

    Args:
        rows: Raw rows of one listing, oldest first.
    """
    if not rows:
        return None
    places = [f"{row['path']}, row {row['row_no']}, {phrase.day(row['seen_on'])}" for row in rows]
    cells, left = [], ROW_LONGEST
    for name, text in _cells(rows[-1]):
        shown = _cut(text, min(left, CELL_LONGEST))
        left = max(0, left - len(shown))
        cells.append((phrase.short(name), shown))
    return Exported(places[-1], tuple(cells), tuple(places[:-1][-PLACES:]))


def photos_of(rows: Sequence[Row]) -> tuple[str, ...]:
    """Return the addresses of a listing's photos, as its latest export gives them; http and https only."""
    for row in reversed(rows):
        heading = json.loads(row["mapping"] or "{}").get("images")
        text = next((text for name, text in _cells(row) if name == heading), "")
        found = tuple(dict.fromkeys(filter(None, (link(address) for address in ADDRESS.findall(text)))))
        if found:
            return found[:PHOTOS]
    return ()


def evidence_of(rows: Iterable[Row], names: Mapping[str, str]) -> tuple[Evidence, ...]:
    """Return what spoke for and against each candidate release, the heaviest first.

    Args:
        rows: Match evidence of one listing.
        names: Names of its candidates by construction id, likeliest first.
    """
    weighed: dict[str, list[Row]] = {key: [] for key in names}
    for row in rows:
        if row["construction_id"] in weighed:
            weighed[row["construction_id"]].append(row)
    return tuple(
        Evidence(
            names[key], row["field"], phrase.short(row["listing_value"]), phrase.short(row["table_value"]),
            phrase.signed(row["weight"]),
        )
        for key, found in weighed.items()
        for row in found[:EVIDENCE_LINES]
    )  # fmt: skip


def _cells(row: Row) -> list[tuple[str, str]]:
    return [(name, str(text)) for name, text in json.loads(row["cells"] or "{}").items()]


def _cut(text: str, longest: int) -> str:
    shown = phrase.plain(text)
    if len(shown) <= longest:
        return shown
    return f"{shown[:longest]}… (cut here; {len(shown)} characters in the export)"
