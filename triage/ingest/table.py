"""Records to rows: find the heading, tell data from what is none, repair only on evidence, refuse the rest."""

from collections import Counter
from collections.abc import Sequence

import polars as pl

from triage.catalogue.feeds import fold
from triage.ingest.columns import Profile
from triage.ingest.dialect import Dialect, Record, split
from triage.ingest.rows import Broken, FileError, Piece, Settings, cut
from triage.ingest.text import undecodable

_HEADER_WITHIN = 60
_MOST_COLUMNS = 2_000
_LAYOUT_RECORDS = 2_000
# So many rows that agree with each other and not with the heading are no accident.
_AGREEING = 3
_MOSTLY_EMPTY = 0.5


class Table:
    """One delimited table, taken in piece by piece; what the first piece shows holds for the others."""

    def __init__(self, dialect: Dialect, settings: Settings) -> None:
        self._dialect = dialect
        self._settings = settings
        self._headings: list[str] = []
        self._header: list[str] = []
        self._width = 0
        self._named_at: list[int] = []
        self._profile: Profile | None = None
        self._row_no = 0
        self._line_no = 1
        self._second_table = False

    def take(self, lines: list[str], final: bool) -> tuple[Piece, list[str]]:
        """Return the rows of lines and the lines that begin an unfinished record.

        Raises:
            FileError: The first lines show no table.
        """
        records = list(split(lines, self._dialect, final))
        end = 0 if not records else records[-1].line + (records[-1].lines if records[-1].cells else 1)
        rest = [] if final else lines[end:]
        piece = self.take_records(records, lines, final)
        self._line_no += len(lines) - len(rest)
        return piece, rest

    def take_records(self, records: list[Record], lines: list[str], final: bool = True) -> Piece:
        """Return the rows of records; ``lines`` are what they were read from.

        Raises:
            FileError: The first records show no table.
        """
        skipped: Counter[str] = Counter()
        if self._profile is None:
            records = self._lay_out(records, skipped)
        return self._rows(records, lines, skipped, final)

    # The layout: once, from the first records.

    def _lay_out(self, records: list[Record], skipped: Counter[str]) -> list[Record]:
        """Find the heading row and the kinds of the columns; return the records below it."""
        filled = [i for i, one in enumerate(records) if one.cells and not _blank(one.cells)]
        at = self._heading_at(records, filled[:_HEADER_WITHIN])
        below = [records[i].cells or [] for i in filled if at is None or i > at]
        width = _common_width(below)
        header = records[at].cells or [] if at is not None else []
        if at is None:
            header, at = self._header_by_kind(records, filled, width)
        header = _without_empty_end(header, width)
        self._set_headings(header, width, below)
        start = 0 if at is None else at + 1
        if at is None:
            start = next((i for i in filled if len(records[i].cells or []) == width), 0)
        self._count_preamble(records[: start if at is None else at], skipped)
        same = [cells for cells in below if len(cells) == self._width]
        self._leave_out_empty_columns(same)
        kept = [self._named(_storable(cells)) for cells in same[:_LAYOUT_RECORDS]]
        self._profile = Profile(kept, len(self._headings))
        return self._without_second_heading(records[start:], skipped)

    def _heading_at(self, records: list[Record], filled: list[int]) -> int | None:
        """Return which record names the most listing fields, or headings of the feed map; at least two."""
        if self._settings.header is False:
            return None
        expected = {text.strip() for text in self._settings.expected}
        best, most = None, 1
        for i in filled:
            cells = [cell.strip() for cell in records[i].cells or []]
            named = len(expected.intersection(cells)) or self._settings.words.known(cells)
            if len(cells) > 1 and named > most:
                best, most = i, named
        return best

    def _header_by_kind(self, records: list[Record], filled: list[int], width: int) -> tuple[list[str], int | None]:
        """Return a heading row of unknown words: text above columns of numbers, dates and codes."""
        wide = [i for i in filled if len(records[i].cells or []) == width]
        if self._settings.header is False or len(wide) < 2:
            return [], None
        first = records[wide[0]].cells or []
        profile = Profile([_storable(records[i].cells or []) for i in wide[1:_LAYOUT_RECORDS]], width)
        if self._settings.header is None and profile.typed and not profile.misfits(first):
            return [], None
        return first, wide[0]

    def _set_headings(self, header: list[str], width: int, below: list[list[str]]) -> None:
        if header and width != len(header):
            full = sum(len(cells) == width for cells in below)
            if full >= max(_AGREEING, 0.9 * len(below)) and not _only_empty_beyond(below, len(header)):
                found = f"{len(header)} headings above rows of {width} cells"
                raise FileError("heading-width", found, "as many headings as cells")
        self._header = [cell.strip() for cell in header]
        self._headings = _distinct(self._header) if header else [f"column {i + 1}" for i in range(width)]
        if not 1 < len(self._headings) <= _MOST_COLUMNS:
            raise FileError("no-table", f"{len(self._headings)} columns", f"2 to {_MOST_COLUMNS} columns")
        self._width = len(self._headings)

    def _leave_out_empty_columns(self, rows: list[list[str]]) -> None:
        """Leave out columns without heading and content: every line ends in a delimiter, or each is doubled."""
        if not self._header or all(self._header):
            return
        filled = {i for cells in rows for i, cell in enumerate(cells) if cell.strip()}
        self._named_at = [i for i, heading in enumerate(self._header) if heading or i in filled]
        self._headings = [self._headings[i] for i in self._named_at]

    def _named(self, cells: list[str]) -> list[str]:
        """Return the cells of the columns that are kept."""
        return cells if len(self._headings) == self._width else [cells[i] for i in self._named_at]

    def _without_second_heading(self, records: list[Record], skipped: Counter[str]) -> list[Record]:
        """Leave out a row of units or remarks under the headings: no cell is of its column's kind."""
        profile = self._profile
        below = next((i for i, one in enumerate(records) if one.cells and not _blank(one.cells)), None)
        if profile is None or below is None or not self._header:
            return records
        cells = records[below].cells or []
        if len(cells) != self._width or profile.fits(self._named(cells)) or profile.misfits(self._named(cells)) < 2:
            return records
        skipped["second heading"] += records[below].lines
        return records[:below] + records[below + 1 :]

    def _count_preamble(self, records: list[Record], skipped: Counter[str]) -> None:
        for one in records:
            skipped["blank" if one.cells is not None and _blank(one.cells) else "preamble"] += one.lines

    # The rows: every record is data, no data, or broken.

    def _rows(self, records: list[Record], lines: list[str], skipped: Counter[str], final: bool) -> Piece:
        """Sort records into rows, broken rows and lines that are no data."""
        numbers: list[int] = []
        good: list[list[str]] = []
        broken: list[Broken] = []
        for one in self._unswallowed(records, lines):
            what = self._no_data(one)
            if what:
                skipped[what] += one.lines
                continue
            self._row_no += 1
            cells, code, hint = self._fitted(one, lines)
            if cells is None:
                shown = "".join(lines[one.line : one.line + (one.lines if one.cells else 1)])
                where = f"line {self._line_no + one.line}: {hint}"
                broken.append(Broken(self._row_no, cut(shown.strip("\r\n")), code, where))
            else:
                numbers.append(self._row_no)
                good.append(cells)
        if final:
            self._take_footer(numbers, good, broken, skipped)
        frame, misplaced = self._checked(numbers, good)
        every = sorted([*broken, *misplaced], key=lambda one: one.row_no)
        return Piece(tuple(self._headings), frame, tuple(every), dict(skipped))

    def _unswallowed(self, records: list[Record], lines: list[str]) -> list[Record]:
        """Return the records, one that swallowed whole rows in an unclosed quote taken apart again."""
        out = []
        for one in records:
            if one.lines > 1 and one.cells is not None and self._swallowed(lines[one.line + 1 : one.line + one.lines]):
                out.append(Record(one.line, 1, None, "a quote that is not closed"))
                inside = lines[one.line + 1 : one.line + one.lines]
                again = [inner._replace(line=inner.line + one.line + 1) for inner in split(inside, self._dialect)]
                out += self._unswallowed(again, lines)
            else:
                out.append(one)
        return out

    def _swallowed(self, inside: Sequence[str]) -> bool:
        """Tell whether a line inside a quoted cell is a whole row by its width and the kinds of its cells."""
        profile = self._profile
        if profile is None or not profile.typed:
            return False
        rows = (next(split([line], self._dialect), None) for line in inside)
        return any(
            row is not None and row.cells is not None and len(row.cells) == self._width
            and any(row.cells) and not profile.misfits(self._named(row.cells))
            for row in rows
        )  # fmt: skip

    def _no_data(self, one: Record) -> str | None:
        """Return what a record is when it is no data."""
        if one.cells is None:
            return None
        if _blank(one.cells):
            return "blank"
        if self._header and [cell.strip() for cell in one.cells] == self._header:
            return "repeated heading"
        return None

    def _fitted(self, one: Record, lines: list[str]) -> tuple[list[str] | None, str, str]:
        """Return a record's cells when they fit the columns, else why not."""
        cells = one.cells
        if one.lines == 1 or cells is None:
            cells = self._requoted(lines[one.line], cells)
        if cells is None:
            return None, "stray-quote", f"cells quoted as a whole; {one.fault}"
        found = len(cells)
        cells = self._widened(cells) if found < self._width else self._narrowed(cells)
        if len(cells) != self._width:
            return None, "row-width", f"{self._width} cells, found {found}"
        cells = self._named(cells)
        if any("\0" in cell for cell in cells):
            return None, "control-character", "text without NUL characters"
        if any(not cell.isascii() and undecodable(cell) for cell in cells):
            return None, "undecodable", "characters of the file's encoding"
        return cells, "", ""

    def _requoted(self, line: str, cells: list[str] | None) -> list[str] | None:
        """Return the cells of a line with blanks outside its quotes, if that is all that is wrong with it."""
        quote = self._dialect.quote
        if quote is None or (cells is not None and not any(cell.lstrip(" ").startswith(quote) for cell in cells)):
            return cells
        again = self._dialect.split_loosely(line)
        if again is None or len(again) != self._width or self._misfits(self._named(again)):
            return cells
        return again

    def _narrowed(self, cells: list[str]) -> list[str]:
        """Return cells without empty ones at the end, or with a delimiter in unquoted prose put back.

        A delimiter is taken for prose when a blank follows it, when there are exactly as many such places as
        cells too many, and when every cell is then of its column's kind.
        """
        excess = len(cells) - self._width
        if excess <= 0:
            return cells
        if not any(cell.strip() for cell in cells[self._width :]):
            return cells[: self._width]
        joints = [i for i in range(1, len(cells)) if cells[i][:1] == " " and cells[i].strip() and cells[i - 1].strip()]
        if self._dialect.spaced or len(joints) != excess:
            return cells
        joined: list[str] = []
        for i, cell in enumerate(cells):
            if i in joints:
                joined[-1] += self._dialect.delimiter + cell
            else:
                joined.append(cell)
        return joined if self._is_evident(joined) else cells

    def _widened(self, cells: list[str]) -> list[str]:
        """Return a row that ends early with empty cells, where other rows mostly have nothing there either."""
        profile = self._profile
        lacking = range(len(cells), self._width)
        if profile is None or len(cells) < 2 or len(self._headings) != self._width:
            return cells
        if any(profile.filled[i] > _MOSTLY_EMPTY for i in lacking):
            return cells
        padded = cells + [""] * len(lacking)
        return padded if self._is_evident(padded) else cells

    def _is_evident(self, cells: list[str]) -> bool:
        """Tell whether the kinds of a repaired row's cells speak for it: two or more fit and none does not."""
        profile = self._profile
        named = self._named(cells)
        return profile is not None and not profile.misfits(named) and profile.fits(named) >= 2

    def _misfits(self, cells: list[str]) -> int:
        return self._profile.misfits(cells) if self._profile else 0

    def _take_footer(
        self, numbers: list[int], good: list[list[str]], broken: list[Broken], skipped: Counter[str]
    ) -> None:
        """Take lines after the last row that sum up or sign off out of the data."""
        while self._row_no:
            if broken and broken[-1].row_no == self._row_no and self._is_footer([broken[-1].value]):
                broken.pop()
            elif good and numbers[-1] == self._row_no and self._is_footer(good[-1]):
                good.pop()
                numbers.pop()
            else:
                return
            skipped["footer"] += 1
            self._row_no -= 1

    def _is_footer(self, cells: list[str]) -> bool:
        filled = [cell for cell in cells if cell.strip()]
        begins = fold(filled[0]).startswith(self._settings.words.footer) if filled else False
        return begins and len(filled) <= max(1, len(self._headings) // 3)

    def _checked(self, numbers: list[int], good: list[list[str]]) -> tuple[pl.DataFrame, list[Broken]]:
        """Return rows as JSON cells; a row with two or more cells of the wrong kind is out of place."""
        table = pl.DataFrame(good, schema={name: pl.String for name in self._headings}, orient="row")
        kinds = self._profile.kinds if self._profile else ()
        misfits = [
            (~table[name].str.contains(kind)).cast(pl.Int32)
            for name, kind in zip(self._headings, kinds, strict=True)
            if kind
        ]
        wrong = pl.sum_horizontal(misfits) >= 2 if misfits else pl.lit(False)
        cells = pl.struct(pl.all()).struct.json_encode()
        out = table.select(pl.Series("row_no", numbers, pl.Int64), cells.alias("cells"), wrong.alias("wrong"))
        hint = "cells of their column's kind; two or more are not"
        bad = out.filter("wrong").rows()
        misplaced = [Broken(row_no, cut(text), "misplaced-cells", hint) for row_no, text, _ in bad]
        return out.filter(~pl.col("wrong")).select("row_no", "cells"), misplaced


def _blank(cells: Sequence[str]) -> bool:
    """Tell whether a record has nothing in it; NUL and Ctrl-Z pad the ends of some files."""
    return not any(cell.strip(" \t\r\n\v\f\0\x1a\ufeff\u00a0") for cell in cells)


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
    return not any(cell.strip() for cells in rows for cell in cells[width:]) and any(
        len(cells) > width for cells in rows
    )


def _distinct(header: list[str]) -> list[str]:
    """Return headings that differ: an empty one is named by its place, a repeated one is numbered."""
    seen: Counter[str] = Counter()
    out = []
    for i, text in enumerate(header):
        name = text or f"column {i + 1}"
        seen[name] += 1
        while seen[name] > 1 and f"{name} ({seen[name]})" in header:
            seen[name] += 1
        out.append(name if seen[name] == 1 else f"{name} ({seen[name]})")
    return out


def _storable(cells: list[str]) -> list[str]:
    """Return cells as text that Polars takes, for judging columns only."""
    return [cell.encode("utf-8", "replace").decode() for cell in cells]
