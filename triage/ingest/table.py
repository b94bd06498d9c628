"""Records to rows: every record is data, no data, or broken, and is counted as such."""

import json
from collections import Counter
from collections.abc import Iterator

import polars as pl

from triage.catalogue.feeds import fold
from triage.ingest.dialect import Dialect, Record, is_lone, split
from triage.ingest.fit import TORN, Fitting, Misfit
from triage.ingest.layout import Layout, blank, lay_out, unnumbered
from triage.ingest.repair import one_row, two_rows
from triage.ingest.rows import Broken, Piece, Settings, cut
from triage.ingest.text import undecodable


class Table:
    """One delimited table, taken in piece by piece; what the first piece shows holds for the others."""

    def __init__(self, dialect: Dialect, settings: Settings) -> None:
        self._dialect = dialect
        self._settings = settings
        self._fitting: Fitting | None = None
        self._row_no = 0
        self._lines_before = 0
        self._ended = False
        self._breaks_off = False
        self._mended_rows: list[int] = []

    def take(self, lines: list[str], final: bool) -> tuple[Piece, list[str]]:
        """Return the rows of lines and the lines that begin an unfinished record.

        Raises:
            FileError: The first lines show no table.
        """
        records = list(split(lines, self._dialect, final))
        end = records[-1].line + (1 if records[-1].cells is None else records[-1].lines) if records else 0
        rest = [] if final else lines[end:]
        self._breaks_off = final and bool(lines) and not lines[-1].endswith(("\n", "\r"))
        piece = self.take_records(records, lines, final)
        self._lines_before += len(lines) - len(rest)
        return piece, rest

    def take_records(self, records: list[Record], lines: list[str], final: bool = True) -> Piece:
        """Return the rows of records; ``lines`` are what they were read from.

        Raises:
            FileError: The first records show no table.
        """
        skipped: Counter[str] = Counter()
        if self._fitting is None:
            layout, records, skipped = lay_out(records, self._settings)
            self._fitting = Fitting(layout, self._dialect, self._quotes_cells(lines))
        elif self._fitting.layout.numbered:
            records = unnumbered(records, self._fitting.layout.width)
        return self._rows(self._fitting, records, lines, skipped, final)

    def _rows(
        self, fitting: Fitting, records: list[Record], lines: list[str], skipped: Counter[str], final: bool
    ) -> Piece:
        """Sort records into rows, broken rows and lines that are no data."""
        layout = fitting.layout
        plain = layout.kept is None and self._is_plain(lines)
        first = layout.header[0] if layout.header else ""
        numbers: list[int] = []
        good: list[list[str]] = []
        broken: list[Broken] = []
        cut_off = records[-1] if final and records and self._breaks_off else None
        for one in self._mended(fitting, self._unswallowed(fitting, records, lines), lines):
            cells = one.cells
            # Nearly every row of a clean file takes this way out.
            if (
                plain
                and one is not cut_off
                and not one.fault
                and cells is not None
                and len(cells) == layout.width
                and cells[0].strip() not in ("", first)
            ):
                self._row_no += 1
                numbers.append(self._row_no)
                good.append(cells)
                continue
            what = self._no_data(one, layout.header)
            if what:
                skipped[what] += one.lines
                continue
            self._row_no += 1
            fitted = fitting.cells(one, lines[one.line])
            if one is cut_off and not isinstance(fitted, Misfit) and not fitting.is_whole(fitted):
                fitted = Misfit("cut-off", "a last row that is whole, or a line end behind it")
            if isinstance(fitted, Misfit):
                broken.append(self._broken(one, lines, fitted))
            else:
                if layout.kept is None and (one.fault or fitted != (one.cells or [])[: layout.width]):
                    self._mended_rows.append(self._row_no)
                numbers.append(self._row_no)
                good.append(fitted)
        if final:
            self._take_footer(numbers, good, broken, skipped, len(layout.headings))
        frame, misplaced = self._checked(fitting, numbers, good)
        every = sorted([*broken, *misplaced], key=lambda one: one.row_no)
        return Piece(layout.headings, frame, tuple(every), dict(skipped), self._notes(layout))

    def _notes(self, layout: Layout) -> tuple[str, ...]:
        """Return what a person should know of rows that are not as they stand in the file; each is told once."""
        rows, self._mended_rows = self._mended_rows, []
        shown = ", ".join(map(str, rows[:_SHOWN])) + (", ..." if len(rows) > _SHOWN else "")
        mended = [f"damaged rows mended, each the one way that fits its columns: {shown}"] if rows else []
        return (*([_NUMBERED] if layout.numbered else []), *mended)

    def _is_plain(self, lines: list[str]) -> bool:
        """Tell whether no line can hold what is to be looked for cell by cell."""
        text = "".join(lines)
        quote, delimiter = self._dialect.quote or "\0", self._dialect.delimiter
        odd = "\0" in text or f"{delimiter} {quote}" in text or is_lone(text, self._dialect)
        return not odd and not undecodable(text)

    def _broken(self, one: Record, lines: list[str], misfit: Misfit) -> Broken:
        shown = "".join(lines[one.line : one.line + (1 if one.cells is None else one.lines)])
        where = f"line {self._lines_before + one.line + 1}: {misfit.hint}"
        return Broken(self._row_no, cut(shown.strip("\r\n")), misfit.code, where)

    def _unswallowed(self, fitting: Fitting, records: list[Record], lines: list[str]) -> list[Record]:
        """Return the records, one that swallowed whole rows in an unclosed quote taken apart again."""
        out = []
        for one in records:
            inside = lines[one.line + 1 : one.line + one.lines] if one.lines > 1 and one.cells is not None else []
            if inside and fitting.swallowed(inside):
                out.append(Record(one.line, 1, None, "a quote that is not closed"))
                again = [inner._replace(line=inner.line + one.line + 1) for inner in split(inside, self._dialect)]
                out += self._unswallowed(fitting, again, lines)
            else:
                out.append(one)
        return out

    def _quotes_cells(self, lines: list[str]) -> bool:
        """Tell whether several lines have quoted cells."""
        begins = f"{self._dialect.delimiter}{self._dialect.quote}"
        return self._dialect.quote is not None and sum(begins in line for line in lines) >= _SEVERAL

    def _mended(self, fitting: Fitting, records: list[Record], lines: list[str]) -> Iterator[Record]:
        """Yield the records, two rows in one line parted and a row in two lines joined, where that is sure."""
        width, evidence = fitting.layout.width, fitting.layout.evidence
        above: Record | None = None
        for one in records:
            size = len(one.cells or ())
            if above is not None and above.cells and one.cells and len(above.cells) + size == width + 1:
                apart = self._breaks_quotes(lines[one.line - 1], lines[one.line])
                row = None if apart else one_row(above.cells, one.cells, evidence)
                if row is not None:
                    above = Record(above.line, above.lines + one.lines, row, _MENDED)
                    continue
                if size < width > len(above.cells or ()) and isinstance(fitting.cells(one, lines[one.line]), Misfit):
                    # What stands alone here is no row, so what ends early above it may be its beginning.
                    above = Record(above.line, above.lines, None, TORN)
            if above is not None:
                yield above
            rows = two_rows(one.cells, evidence) if one.cells and size == 2 * width - 1 else None
            if rows is not None:
                yield Record(one.line, one.lines, rows[0], _MENDED)
                one = Record(one.line, 0, rows[1], _MENDED)
            above = one
        if above is not None:
            yield above

    def _breaks_quotes(self, above: str, below: str) -> bool:
        """Tell whether a line end stands between two quotes, which may have been one doubled quote."""
        quote = self._dialect.quote
        return quote is not None and above.rstrip("\r\n").endswith(quote) and below.startswith(quote)

    def _no_data(self, one: Record, header: tuple[str, ...]) -> str | None:
        """Return what a record is when it is no data."""
        if one.cells is None:
            return None
        if blank(one.cells):
            return "blank"
        if header and tuple(cell.strip() for cell in one.cells) == header:
            return "repeated heading"
        return None

    def _take_footer(
        self, numbers: list[int], good: list[list[str]], broken: list[Broken], skipped: Counter[str], width: int
    ) -> None:
        """Take lines after the last row that sum up or sign off out of the data."""
        while self._row_no:
            if broken and broken[-1].row_no == self._row_no and self._is_footer([broken[-1].value], width):
                broken.pop()
            elif good and numbers[-1] == self._row_no and self._is_footer(good[-1], width):
                good.pop()
                numbers.pop()
            else:
                return
            skipped["footer"] += 1
            self._row_no -= 1

    def _is_footer(self, cells: list[str], width: int) -> bool:
        filled = [cell for cell in cells if cell.strip()]
        begins = fold(filled[0]).startswith(self._settings.words.footer) if filled else False
        return begins and len(filled) <= max(1, width // 3)

    def _checked(
        self, fitting: Fitting, numbers: list[int], good: list[list[str]]
    ) -> tuple[pl.DataFrame, list[Broken]]:
        """Return rows as JSON cells; a row with two or more cells of the wrong kind is out of place.

        Where such a row names listing fields, another table begins, and what follows is none of this one's.
        """
        headings = fitting.layout.headings
        table = pl.DataFrame(good, schema=dict.fromkeys(headings, pl.String), orient="row")
        misfits = [
            (~table[name].str.contains(kind)).cast(pl.Int32)
            for name, kind in zip(headings, fitting.layout.profile.kinds, strict=True)
            if kind
        ]
        wrong = pl.sum_horizontal(misfits) >= 2 if misfits else pl.lit(False)
        cells = pl.struct(pl.all()).struct.json_encode()
        out = table.select(pl.Series("row_no", numbers, pl.Int64), cells.alias("cells"), wrong.alias("wrong"))
        ends = next(
            (row_no for row_no, text in out.filter("wrong").select("row_no", "cells").rows() if self._heads(text)), None
        )
        ends = 0 if self._ended else ends
        self._ended = ends is not None
        beyond = pl.lit(False) if ends is None else pl.col("row_no") >= ends
        misplaced = [
            Broken(row_no, cut(text), *(_SECOND_TABLE if ended else _MISPLACED))
            for row_no, text, ended in out.filter(beyond | pl.col("wrong")).select("row_no", "cells", beyond).rows()
        ]
        return out.filter(~(beyond | pl.col("wrong"))).select("row_no", "cells"), misplaced

    def _heads(self, cells: str) -> bool:
        """Tell whether a row's cells name listing fields."""
        return self._settings.words.known(list(json.loads(cells).values())) > 1


_SEVERAL = 3
_SHOWN = 10
_MENDED = "a line end too many or too few"
_NUMBERED = "a number before every row, without a heading, is left out"
_MISPLACED = ("misplaced-cells", "cells of their column's kind; two or more are not")
_SECOND_TABLE = ("second-table", "one table in a file: save the second as a file of its own")
