"""Cells to a table's columns: repaired only where the kinds of the columns speak for it, else refused."""

from collections.abc import Sequence
from dataclasses import dataclass

from triage.ingest import repair
from triage.ingest.dialect import Dialect, Record, is_lone, split
from triage.ingest.layout import Layout
from triage.ingest.rows import CELL_CHARACTERS
from triage.ingest.text import undecodable

_MOSTLY_EMPTY = 0.5
_NEARLY_ALL = 0.95
# Two cells that agree with their columns are evidence; one may be chance.
_EVIDENCE = 2
# Fault of a record that ends early above one that is no row.
TORN = "it ends early, and the line below it is no row"


@dataclass(frozen=True)
class Misfit:
    """Why a record's cells don't fit the columns."""

    code: str
    hint: str


@dataclass(frozen=True)
class Fitting:
    """Fits records into one table's columns.

    Attributes:
        quotes_cells: Other lines have quoted cells, so that a quote that begins a cell is no part of it.
    """

    layout: Layout
    dialect: Dialect
    quotes_cells: bool = True

    def cells(self, one: Record, line: str) -> list[str] | Misfit:
        """Return a record's cells when they fit the columns, else why not.

        Args:
            line: The line the record begins on.
        """
        width = self.layout.width
        cells = self._requoted(line, one.cells) if one.lines == 1 or one.cells is None else one.cells
        if cells is None and "limit" in one.fault:
            return Misfit("cell-too-long", f"cells of at most {CELL_CHARACTERS} characters")
        if one.fault == TORN:
            return Misfit("row-width", f"{width} cells in one line; {TORN}")
        evidence = self.layout.evidence
        doubtful = self.quotes_cells and one.lines == 1 and self._doubts(cells, line)
        if cells is None or doubtful:
            again = repair.requoted(line, self.dialect, evidence, cells is None) if self.quotes_cells else None
            again = again or repair.in_other_dialect(line, self.dialect, evidence)
            if again is None:
                return Misfit("stray-quote", f"cells quoted as a whole; {one.fault or 'quotes inside a bare cell'}")
            cells = again
        found = len(cells)
        if found != width:
            cells = self._repaired(cells, line if one.lines == 1 else "")
        if len(cells) != width:
            return Misfit("row-width", f"{width} cells, found {found}")
        return self._characters(cells)

    def _repaired(self, cells: list[str], line: str) -> list[str]:
        """Return a row of the table's width where its damage has one reading, else the cells as they are."""
        evidence = self.layout.evidence
        row = repair.split_apart(cells, evidence) or repair.without_surplus(cells, evidence)
        row = row or repair.in_other_dialect(line, self.dialect, evidence)
        return row or (self._widened(cells) if len(cells) < self.layout.width else self._narrowed(cells))

    def _doubts(self, cells: list[str] | None, line: str) -> bool:
        """Tell whether a quote outside or inside a bare cell goes with cells that are no row of the table.

        An inch mark is a quote in a bare cell too; its row fits.
        """
        quote, evidence = self.dialect.quote, self.layout.evidence
        if quote is None or cells is None or not evidence.columns or quote not in line:
            return False
        strays = any(quote in cell for cell in cells) and len(cells) != self.layout.width
        return (strays or is_lone(line, self.dialect)) and not evidence.is_row(cells)

    def _characters(self, cells: list[str]) -> list[str] | Misfit:
        """Return the cells of the columns kept when they are text, and nothing is in the others."""
        width, evidence = self.layout.width, self.layout.evidence
        if any("\0" in cell for cell in cells):
            bare = repair.without_padding(cells, evidence)
            if bare is None:
                return Misfit("control-character", "text without NUL characters")
            cells = bare
        if any(not cell.isascii() and undecodable(cell) for cell in cells):
            text = repair.decoded(cells, evidence) or repair.without_strays(cells, evidence)
            if text is None:
                return Misfit("undecodable", "characters of the file's encoding")
            cells = text
        named = self.layout.named(cells)
        if len(named) < width and any(
            cell.strip() for i, cell in enumerate(cells) if i not in (self.layout.kept or ())
        ):
            return Misfit("row-width", f"nothing in the columns without a heading, {len(named)} cells")
        return named

    def is_whole(self, cells: list[str]) -> bool:
        """Tell whether the last cell of a file without a line end at its end is like those above it."""
        columns = self.layout.evidence.columns
        if not columns or (not cells[-1].strip() and self.layout.profile.filled[-1] < _NEARLY_ALL):
            return True
        return bool(cells[-1].strip()) and (not columns[-1].kind or columns[-1].fits(cells[-1]))

    def swallowed(self, inside: Sequence[str]) -> bool:
        """Tell whether a line inside a quoted cell is a whole row by its width and the kinds of its cells."""
        profile = self.layout.profile
        if not profile.typed:
            return False
        for line in inside:
            row = next(split([line], self.dialect), None)
            if row is None or row.cells is None or len(row.cells) != self.layout.width or not any(row.cells):
                continue
            if profile.is_typical(self.layout.named(row.cells)):
                return True
        return False

    def _requoted(self, line: str, cells: list[str] | None) -> list[str] | None:
        """Return the cells of a line with blanks outside its quotes, if that is all that is wrong with it."""
        quote = self.dialect.quote
        if quote is None or (cells is not None and not any(cell.lstrip(" ").startswith(quote) for cell in cells)):
            return cells
        again = self.dialect.split_loosely(line)
        if again is None or len(again) != self.layout.width or self.layout.profile.misfits(self.layout.named(again)):
            return cells
        return again

    def _narrowed(self, cells: list[str]) -> list[str]:
        """Return cells without empty ones at the end, or with a delimiter in unquoted prose put back.

        A delimiter is taken for prose when a blank follows it, when there are exactly as many such places as
        cells too many, and when every cell is then of its column's kind.
        """
        width, evidence = self.layout.width, self.layout.evidence
        if not any(cell.strip() for cell in cells[width:]):
            # One cell too many may also stand further left, before a last cell that is empty.
            bare, filled = cells[:width], self.layout.profile.filled
            surplus = len(cells) > width + 1 and evidence.is_row(bare)
            untold = not evidence.columns and not self.layout.profile.misfits(self.layout.named(bare))
            return bare if surplus or (untold and (filled[-1] == 1 or not any(filled))) else cells
        joints = [i for i in range(1, len(cells)) if cells[i][:1] == " " and cells[i].strip() and cells[i - 1].strip()]
        if self.dialect.spaced or len(joints) != len(cells) - width:
            return cells
        joined: list[str] = []
        for i, cell in enumerate(cells):
            if i in joints:
                joined[-1] += self.dialect.delimiter + cell
            else:
                joined.append(cell)
        return joined if self._is_evident(joined) else cells

    def _widened(self, cells: list[str]) -> list[str]:
        """Return a row that ends early with empty cells, where other rows mostly have nothing there either."""
        lacking = range(len(cells), self.layout.width)
        if len(cells) < 2 or self.layout.kept is not None:
            return cells
        if any(self.layout.profile.filled[i] > _MOSTLY_EMPTY for i in lacking):
            return cells
        padded = cells + [""] * len(lacking)
        return padded if self._is_evident(padded) else cells

    def _is_evident(self, cells: list[str]) -> bool:
        """Tell whether the kinds of a repaired row's cells speak for it: two or more fit and none does not."""
        named = self.layout.named(cells)
        profile = self.layout.profile
        return not profile.misfits(named) and profile.fits(named) >= _EVIDENCE
