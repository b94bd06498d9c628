"""Damaged records made whole where the table leaves one reading only; two readings are none.

Each function looks at one kind of damage, lists every reading of it, and gives one back when exactly one makes all
cells fit their columns. No reading adds a text the file does not have.
"""

import csv
import re
from collections.abc import Iterable, Iterator
from itertools import product

from triage.ingest.dialect import DELIMITERS, Dialect
from triage.ingest.evidence import Column, Evidence, words_beyond_ascii

_MARKS = (DELIMITERS[0], ('"', "'"), (None, "\\"))
_ENCODINGS = ("cp1252", "cp1250", "iso8859-2", "iso8859-15", "mac_roman", "cp850", "cp932", "euc_jp")
_LEAST_LETTERS = 3
# The readings of a longer row are too many to look at one by one.
_MOST_CHARACTERS = 4_000
_MOST_DELIMITERS = 4
# Readings double with each quote.
_MOST_QUOTES = 16
# What a byte becomes that the file's encoding does not have.
_SURROGATES = re.compile("[\udc80-\udcff]")

Row = list[str]


def only(readings: Iterable[Row]) -> Row | None:
    """Return the one reading; None when there is none, or when two differ."""
    distinct = {tuple(row) for row in readings}
    return list(distinct.pop()) if len(distinct) == 1 else None


def split_apart(cells: Row, evidence: Evidence) -> Row | None:
    """Return a row that lacks one delimiter: two neighbours stand in one cell."""
    if len(cells) + 1 != len(evidence.columns) or sum(map(len, cells)) > _MOST_CHARACTERS:
        return None
    readings = []
    for at, cell in enumerate(cells):
        if evidence.fit(cells[:at]) and evidence.fit(cells[at + 1 :], at + 2):
            left, right = evidence.columns[at : at + 2]
            readings += [[*cells[:at], *halves, *cells[at + 1 :]] for halves in _halves(cell, left, right)]
    return only(readings)


def without_surplus(cells: Row, evidence: Evidence) -> Row | None:
    """Return a row with one empty cell too many without it; a filled cell is never taken out."""
    if len(cells) - 1 != len(evidence.columns):
        return None
    readings = [cells[:at] + cells[at + 1 :] for at in range(len(cells))]
    row = only(reading for reading in readings if evidence.is_row(reading))
    return row if row is not None and [cell for cell in row if cell] == [cell for cell in cells if cell] else None


def two_rows(cells: Row, evidence: Evidence) -> tuple[Row, Row] | None:
    """Return the two rows of a line that lacks the line end between them."""
    width = len(evidence.columns)
    if not width or len(cells) != 2 * width - 1:
        return None
    last, first = evidence.columns[-1], evidence.columns[0]
    if len(cells[width - 1]) > _MOST_CHARACTERS:
        return None
    if not (last.narrow and first.narrow and evidence.fit(cells[: width - 1]) and evidence.fit(cells[width:], 1)):
        return None
    row = only(_halves(cells[width - 1], last, first))
    return None if row is None else ([*cells[: width - 1], row[0]], [row[1], *cells[width:]])


def one_row(above: Row, below: Row, evidence: Evidence) -> Row | None:
    """Return the row that a line end breaks in two, inside a cell of one shape or beside a delimiter.

    In free text nobody can say whether the line end was part of it, but where the text stands whole in another row.
    """
    at, columns = len(above) - 1, evidence.columns
    beside = not above[-1] or not below[0]
    if not columns or at + len(below) != len(columns):
        return None
    if not beside and (evidence.is_row(above) or evidence.is_row(below)):
        return None
    row = [*above[:-1], above[-1] + below[0], *below[1:]]
    whole = 1 in (len(above), len(below))
    # A value of one kind holds no line end; alone on its line it must have a shape or be known.
    stated = columns[at].narrow or columns[at].recognises(row[at])
    sure = stated or ((beside or columns[at].kind is not None) and not whole)
    return row if sure and evidence.is_row(row) else None


def requoted(line: str, dialect: Dialect, evidence: Evidence, faulty: bool) -> Row | None:
    """Return the cells of a line with one quote not closed or not opened, or with quotes in cells not doubled.

    Args:
        faulty: A quote is out of place, which it is not in a line whose quotes in cells are doubled.
    """
    unusual = dialect.quote is None or dialect.escape is not None
    if unusual or not evidence.columns or len(line) > _MOST_CHARACTERS:
        return None
    text = line.rstrip("\r\n")
    if text.count(dialect.delimiter) > _MOST_DELIMITERS * len(evidence.columns):
        return None
    undoubled = _undoubled(text, dialect) if faulty else ()
    readings = [*undoubled, *_unclosed(text, dialect, evidence), *_unopened(text, dialect)]
    return only(row for row in readings if evidence.is_row(row))


def in_other_dialect(line: str, dialect: Dialect, evidence: Evidence) -> Row | None:
    """Return the cells of a line that is written with another delimiter, quote or escape than the others."""
    if not evidence.columns or len(line) > _MOST_CHARACTERS:
        return None
    others = (Dialect(delimiter, quote, escape) for delimiter, quote, escape in product(*_MARKS))
    readings = [(other, _strictly(line, other)) for other in others if other != dialect]
    own = dialect.quote or "\0"
    # Under another quote the table's own is a character like any other, and then stands nowhere by mistake.
    return only(
        row
        for other, row in readings
        if row and evidence.is_row(row) and not (other.quote != dialect.quote and own in "".join(row))
    )


def decoded(cells: Row, evidence: Evidence) -> Row | None:
    """Return a row that is in another encoding than its file, when its words stand elsewhere in the file."""
    readings = []
    for encoding in _ENCODINGS:
        try:
            row = [
                cell if cell.isascii() else cell.encode("utf-8", "surrogateescape").decode(encoding) for cell in cells
            ]
        except UnicodeError:
            continue
        words = [word for cell in row for word in words_beyond_ascii(cell)]
        if evidence.words.issuperset(words) and max(map(len, words), default=0) >= _LEAST_LETTERS:
            readings.append(row)
    row_found = only(readings)
    return row_found if row_found is not None and evidence.is_row(row_found) else None


def without_strays(cells: Row, evidence: Evidence) -> Row | None:
    """Return a row without bytes that are no characters, where the cells they are in stand elsewhere without them."""
    row = [cell if cell.isascii() else _SURROGATES.sub("", cell) for cell in cells]
    changed = [(column, bare) for column, cell, bare in zip(evidence.columns, cells, row, strict=False) if cell != bare]
    known = all(column.recognises(bare) for column, bare in changed)
    return row if changed and known and evidence.is_row(row) else None


def without_padding(cells: Row, evidence: Evidence) -> Row | None:
    """Return a row without NULs at the ends of cells of one shape or vocabulary."""
    row = [cell.strip("\0") for cell in cells]
    changed = [column for cell, bare, column in zip(cells, row, evidence.columns, strict=False) if cell != bare]
    bare = "\0" not in "".join(row) and all(column.narrow for column in changed)
    return row if bare and evidence.is_row(row) else None


def _halves(cell: str, left: Column, right: Column) -> Iterator[Row]:
    """Yield every way to divide a text between two columns that they vouch for.

    Two values of a vocabulary or a shape speak for themselves; a free text may end anywhere, so that it must be known
    or what is beside it must say where it ends. A long text that is known ends where it does in the other row.
    """
    for at in range(1, len(cell)):
        one, two = cell[:at], cell[at:]
        if not (one.strip() and two.strip() and left.fits(one) and right.fits(two)):
            continue
        sure = [
            column.narrow or column.kind is not None or text in column.known
            for column, text in ((left, one), (right, two))
        ]
        stated = left.narrow or right.narrow or left.recognises(one) or right.recognises(two)
        if left.vouches(one) or right.vouches(two) or (all(sure) and stated):
            yield [one, two]


def _undoubled(text: str, dialect: Dialect) -> Iterator[Row]:
    """Yield the cells of a line in which any quote before a delimiter or the end may close a cell."""
    quote, delimiter = dialect.quote or "", dialect.delimiter
    # A backslash before a quote is another dialect's way to double it.
    if text.count(quote) > _MOST_QUOTES or f"\\{quote}" in text:
        return
    pending: list[tuple[int, Row]] = [(0, [])]
    while pending:
        at, cells = pending.pop()
        if at > len(text):
            yield cells
        elif text.startswith(quote, at):
            closing = at
            while (closing := text.find(quote, closing + 1)) > 0:
                if closing + 1 == len(text) or text.startswith(delimiter, closing + 1):
                    inside = text[at + 1 : closing]
                    if _is_paired(inside, quote) and f"{quote}{delimiter}{quote}" not in inside:
                        pending.append((closing + 2, [*cells, inside.replace(2 * quote, quote)]))
        else:
            end = text.find(delimiter, at) if delimiter in text[at:] else len(text)
            pending.append((end + 1, [*cells, text[at:end]]))


def _is_paired(inside: str, quote: str) -> bool:
    """Tell whether quotes come in pairs, but for inch marks behind a digit; else one of them ends something else."""
    return len(re.findall(rf"(?<!\d){re.escape(quote)}", inside.replace(2 * quote, ""))) % 2 == 0


def _unclosed(text: str, dialect: Dialect, evidence: Evidence) -> Iterator[Row]:
    """Yield the cells of a line after closing one of its opening quotes before each later delimiter."""
    quote, delimiter = dialect.quote or "", dialect.delimiter
    opening = [found.start(1) for found in re.finditer(rf"(?:^|{re.escape(delimiter)})({re.escape(quote)})", text)]
    for start in opening:
        ends = [found.start() for found in re.finditer(re.escape(delimiter), text) if found.start() > start + 1]
        for end in [*ends, len(text)]:
            if quote in text[start + 1 : end].replace(2 * quote, ""):
                break
            row = _strictly(text[:end] + quote + text[end:], dialect)
            # At the end of the line a free text may go on in the next one.
            if row and (end < len(text) or (evidence.columns and evidence.columns[-1].narrow)):
                yield row


def _unopened(text: str, dialect: Dialect) -> Iterator[Row]:
    """Yield the cells of a line after opening one of its closing quotes behind each earlier delimiter."""
    quote, delimiter = dialect.quote or "", dialect.delimiter
    closing = [found.start(1) for found in re.finditer(rf"({re.escape(quote)})(?:{re.escape(delimiter)}|$)", text)]
    for end in closing:
        starts = [0, *(found.end() for found in re.finditer(re.escape(delimiter), text[:end]))]
        for start in starts:
            if quote not in text[start:end].replace(2 * quote, ""):
                row = _strictly(text[:start] + quote + text[start:], dialect)
                if row:
                    yield row


def _strictly(line: str, dialect: Dialect) -> Row | None:
    try:
        rows = list(dialect.reader([line]))
    except csv.Error:
        return None
    return list(rows[0]) if len(rows) == 1 else None
