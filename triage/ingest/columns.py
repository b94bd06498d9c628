"""What kind of text each column of a table holds: the evidence for headers, shifted rows and repairs."""

import re
from collections.abc import Sequence

import polars as pl

_KINDS = (
    r"^\s*$|^\s*[+-]?\d{1,18}\s*$",
    r"^\s*$|^\s*\d{4}-\d\d-\d\d([T ].*)?$|^\s*\d{1,2}[./-]\d{1,2}[./-]\d{2,4}( .*)?$",
    r"^\s*$|^\s*(?i:https?://)\S+\s*$",
    # The blanks are written out: Python, Polars and DuckDB have no escape for them in common.
    "^\\s*$|^\\D{0,6}\\d[\\d.,'’ \u00a0\u202f]*\\D{0,6}$",
    r"^\s*$|^\s*[A-Z]{2,3}\s*$",
    r"^\s*$|^\s*[A-Za-z]{0,4}[-_#]?\d[\dA-Za-z_-]*\s*$",
)
_SAMPLE_ROWS = 2_000
_LEAST_FILLED = 3
_SHARE = 0.95


class Profile:
    """The kinds of a table's columns; a column of free text has none."""

    def __init__(self, rows: Sequence[Sequence[str]], width: int) -> None:
        storable = [[_storable(cell) for cell in cells] for cells in rows[:_SAMPLE_ROWS]]
        table = pl.DataFrame(storable, schema={str(i): pl.String for i in range(width)}, orient="row")
        found = [_kind_of(table[str(i)]) for i in range(width)] if table.height else [None] * width
        self.kinds: tuple[str | None, ...] = tuple(found)
        self._patterns = [re.compile(kind) if kind else None for kind in found]
        self.filled = [_filled_share(table[str(i)]) for i in range(width)] if table.height else [0.0] * width

    @property
    def typed(self) -> int:
        """Return how many columns hold one kind of value."""
        return sum(kind is not None for kind in self.kinds)

    def fits(self, cells: Sequence[str]) -> int:
        """Return how many filled cells of a row are of their column's kind."""
        pairs = zip(self._patterns, cells, strict=False)
        return sum(pattern is not None and bool(cell.strip() and pattern.search(cell)) for pattern, cell in pairs)

    def is_typical(self, cells: Sequence[str]) -> bool:
        """Tell whether the columns of one kind that are always filled are so here, and there are two or more."""
        always = [i for i, kind in enumerate(self.kinds) if kind and self.filled[i] == 1]
        return len(always) > 1 and all(cells[i].strip() for i in always) and not self.misfits(cells)

    def misfits(self, cells: Sequence[str]) -> int:
        """Return how many filled cells of a row are not of their column's kind."""
        pairs = zip(self._patterns, cells, strict=False)
        return sum(pattern is not None and not pattern.search(cell) for pattern, cell in pairs)


def _kind_of(column: pl.Series) -> str | None:
    """Return the narrowest kind nearly all filled cells of a column are of."""
    filled = column.filter(column.str.strip_chars() != "")
    if len(filled) < _LEAST_FILLED:
        return None
    for kind in _KINDS:
        if (filled.str.contains(kind).sum() or 0) >= _SHARE * len(filled):
            return kind
    return None


def _filled_share(column: pl.Series) -> float:
    return int((column.str.strip_chars() != "").sum()) / max(1, len(column))


def _storable(cell: str) -> str:
    """Return a cell as text that Polars takes, for judging columns only."""
    return cell if cell.isascii() else cell.encode("utf-8", "replace").decode()
