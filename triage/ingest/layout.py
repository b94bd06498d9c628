"""Where a table's heading is, how wide the table is, and what kind of cells its columns hold."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from triage.ingest.columns import Profile
from triage.ingest.dialect import Record
from triage.ingest.evidence import Evidence
from triage.ingest.rows import FileError, Settings

_HEADER_WITHIN = 60
_LEAST_COLUMNS, _MOST_COLUMNS = 2, 2_000
_LAYOUT_RECORDS = 2_000
# So many rows that agree with each other and not with the heading are no accident.
_AGREEING = 3
_NEARLY_ALL = 0.9
_COUNTED = 5
# NUL and Ctrl-Z pad the ends of some files.
_NOTHING = " \t\r\n\v\f\0\x1a\ufeff\u00a0"


@dataclass(frozen=True)
class Layout:
    """The shape of a table.

    Attributes:
        headings: Distinct names of the columns that are kept.
        header: The heading row as written; empty when there is none.
        width: Cells a row has in the file.
        kept: Places of the kept columns; None when all are.
        profile: Kinds of the kept columns.
        evidence: What repairs are judged by.
        numbered: A number of the row stands before its cells, without a heading.
    """

    headings: tuple[str, ...]
    header: tuple[str, ...]
    width: int
    kept: tuple[int, ...] | None
    profile: Profile
    evidence: Evidence
    numbered: bool = False

    def named(self, cells: list[str]) -> list[str]:
        """Return the cells of the columns that are kept."""
        return cells if self.kept is None else [cells[i] for i in self.kept]


def lay_out(records: list[Record], settings: Settings) -> tuple[Layout, list[Record], Counter[str]]:
    """Return the layout, the records of the data, and what was above them, counted by what it is.

    Raises:
        FileError: The records show no table.
    """
    filled = [i for i, one in enumerate(records) if one.cells and not blank(one.cells)]
    # Before anything looks at each column: a sheet can have sixteen thousand.
    _bounded(_common_width([records[i].cells or [] for i in filled]))
    at = _heading_by_words(records, filled[:_HEADER_WITHIN], settings)
    width = _common_width([records[i].cells or [] for i in filled if at is None or i > at])
    if at is None:
        at = _heading_by_kind(records, filled, width, settings)
    numbered = at is not None and _counts_rows(records[at + 1 :], len(records[at].cells or []))
    if numbered:
        records = unnumbered(records, width - 1)
        width -= 1
    below = [records[i].cells or [] for i in filled if at is None or i > at]
    header = [] if at is None else _without_empty_end(records[at].cells or [], width)
    layout = replace(_layout(header, width, below), numbered=numbered)
    start = at + 1 if at is not None else next((i for i in filled if len(records[i].cells or []) == width), 0)
    skipped: Counter[str] = Counter()
    for one in records[: start if at is None else at]:
        skipped["blank" if one.cells is not None and blank(one.cells) else "preamble"] += one.lines
    second = _second_heading(records, start, layout) if header else None
    if second is not None:
        skipped["second heading"] += records[second].lines
        return layout, records[start:second] + records[second + 1 :], skipped
    return layout, records[start:], skipped


def _bounded(columns: int) -> None:
    """Refuse a table of too many columns."""
    if columns > _MOST_COLUMNS:
        raise FileError("no-table", f"{columns} columns", f"{_LEAST_COLUMNS} to {_MOST_COLUMNS} columns")


def unnumbered(records: list[Record], width: int) -> list[Record]:
    """Return records without the number before their cells."""
    return [
        one._replace(cells=one.cells[1:]) if one.cells and len(one.cells) > width and one.cells[0].isdecimal() else one
        for one in records
    ]


def blank(cells: Sequence[str]) -> bool:
    """Tell whether a record has nothing in it."""
    return not any(cell.strip(_NOTHING) for cell in cells)


def _heading_by_words(records: list[Record], filled: list[int], settings: Settings) -> int | None:
    """Return which record names the most listing fields, or headings of the feed map; at least two."""
    if settings.header is False:
        return None
    expected = {text.strip() for text in settings.expected}
    best, most = None, 1
    for i in filled:
        cells = [cell.strip() for cell in records[i].cells or []]
        named = len(expected.intersection(cells)) or settings.words.known(cells)
        if len(cells) > 1 and named > most:
            best, most = i, named
    return best


def _heading_by_kind(records: list[Record], filled: list[int], width: int, settings: Settings) -> int | None:
    """Return a heading row of unknown words: text above columns of numbers, dates and codes."""
    wide = [i for i in filled if len(records[i].cells or []) == width]
    if settings.header is False or len(wide) < 2:
        return None
    profile = Profile([records[i].cells or [] for i in wide[1:_LAYOUT_RECORDS]], width)
    if settings.header is None and profile.typed and not profile.misfits(records[wide[0]].cells or []):
        return None
    return wide[0]


def _layout(header: list[str], width: int, below: list[list[str]]) -> Layout:
    written = tuple(cell.strip() for cell in header)
    if header and width != len(header):
        same = sum(len(cells) == width for cells in below)
        if same >= max(_AGREEING, _NEARLY_ALL * len(below)) and not _only_empty_beyond(below, len(header)):
            found = f"{len(header)} headings above rows of {width} cells"
            raise FileError("heading-width", found, "as many headings as cells")
    # A byte that is not of the file's encoding is written out in a heading; in a cell it costs the row.
    shown = [text.encode("utf-8", "backslashreplace").decode() for text in written]
    headings = _distinct(shown) if header else [f"column {i + 1}" for i in range(width)]
    _bounded(len(headings))
    if len(headings) < _LEAST_COLUMNS:
        raise FileError("no-table", f"{len(headings)} columns", f"{_LEAST_COLUMNS} to {_MOST_COLUMNS} columns")
    rows = [cells for cells in below if len(cells) == len(headings)]
    kept = _kept(written, rows)
    if kept is not None:
        rows = [[cells[i] for i in kept] for cells in rows[:_LAYOUT_RECORDS]]
    names = tuple(headings if kept is None else (headings[i] for i in kept))
    profile = Profile(rows[:_LAYOUT_RECORDS], len(names))
    # Columns without a heading may hold anything: nothing is judged by them.
    evidence = Evidence(rows[:_LAYOUT_RECORDS] if kept is None else [], profile)
    return Layout(names, written, len(headings), kept, profile, evidence)


def _kept(header: tuple[str, ...], rows: list[list[str]]) -> tuple[int, ...] | None:
    """Return the columns with a heading or content; lines that end in a delimiter make one that has neither."""
    if not header or all(header):
        return None
    filled = {i for cells in rows for i, cell in enumerate(cells) if cell.strip()}
    return tuple(i for i, heading in enumerate(header) if heading or i in filled)


def _counts_rows(records: list[Record], headings: int) -> bool:
    """Tell whether rows have one cell more than headings, and their first cells count on by one.

    Source: R's read.table takes a first line with one entry fewer than the others for headings beside row names.
    """
    rows = [one.cells for one in records if one.cells and not blank(one.cells)]
    numbers = [int(cells[0]) for cells in rows if len(cells) == headings + 1 and cells[0].isdecimal()]
    counts = all(after == before + 1 for before, after in pairwise(numbers))
    return len(numbers) >= _COUNTED and len(numbers) >= _NEARLY_ALL * len(rows) and counts


def _second_heading(records: list[Record], start: int, layout: Layout) -> int | None:
    """Return a row of units or remarks under the headings: no cell of it is of its column's kind."""
    at = next((i for i in range(start, len(records)) if not blank(records[i].cells or ["?"])), None)
    cells = records[at].cells if at is not None else None
    if cells is None or len(cells) != layout.width:
        return None
    named = layout.named(cells)
    return at if layout.profile.misfits(named) >= 2 and not layout.profile.fits(named) else None


def _common_width(rows: list[list[str]]) -> int:
    """Return the commonest number of cells, the larger of two."""
    widths = Counter(len(cells) for cells in rows if len(cells) > 1)
    return max(widths, key=lambda width: (widths[width], width)) if widths else 0


def _without_empty_end(header: list[str], width: int) -> list[str]:
    """Return a heading row without empty cells at its end that no row has."""
    while len(header) > max(width, 1) and not header[-1].strip():
        header = header[:-1]
    return header


def _only_empty_beyond(rows: list[list[str]], width: int) -> bool:
    beyond = [cell for cells in rows for cell in cells[width:]]
    return bool(beyond) and not any(cell.strip() for cell in beyond)


def _distinct(header: Sequence[str]) -> list[str]:
    """Return headings that differ: an empty one is named by its place, a repeated one is numbered."""
    taken = set(header)
    seen: set[str] = set()
    out = []
    for i, text in enumerate(header):
        name = text or f"column {i + 1}"
        number = 2
        while name in seen or (name != text and name in taken):
            name = f"{text or 'column'} ({number})"
            number += 1
        seen.add(name)
        out.append(name)
    return out
