"""How a delimited text is written: delimiter, quote and escape by what makes its lines agree."""

import csv
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from triage.catalogue.feeds import HeadingWords
from triage.ingest.rows import CELL_CHARACTERS

# Python keeps one limit for the whole process; its default of 131,072 refuses long descriptions.
csv.field_size_limit(CELL_CHARACTERS)

# In turns: prose has blanks and colons too, so the second are tried only where the first make no table.
DELIMITERS = ((",", ";", "\t", "|"), ("^", "~", "\x1f", ":", " "))
_ENOUGH = 0.3
_QUOTINGS = (('"', None), ('"', "\\"), ("'", None), ("'", "\\"), (None, None), (None, "\\"))
_HEADER_RECORDS = 40
# So many cells in apostrophes, and none with one alone, are no accident.
_WRAPPED = 3
# One heading word more is worth this share of agreeing lines.
_WORD_WORTH = 0.25


@dataclass(frozen=True)
class Dialect:
    """One way of writing cells into lines.

    Attributes:
        spaced: The blank after each delimiter is no part of the cell.
    """

    delimiter: str
    quote: str | None = '"'
    escape: str | None = None
    spaced: bool = False

    def reader(self, lines: Iterable[str]) -> Any:
        """Return a strict reader: it stops at a quote that is out of place instead of guessing."""
        return csv.reader(lines, strict=True, **self._format())

    def split_loosely(self, line: str) -> list[str] | None:
        """Return the cells of one line that may have blanks outside its quotes; None when more is wrong."""
        quote, delimiter = re.escape(self.quote or ""), re.escape(self.delimiter)
        one = re.compile(
            rf"(?:[ ]*{quote}((?:[^{quote}]|{quote}{quote})*){quote}[ ]*|([^{quote}{delimiter}]*))({delimiter}|$)"
        )
        text = line.rstrip("\r\n")
        cells: list[str] = []
        at = 0
        while found := one.match(text, at):
            inside, bare, end = found.groups()
            cells.append(bare if inside is None else inside.replace(2 * (self.quote or ""), self.quote or ""))
            at = found.end()
            if not end:
                return cells if at == len(text) else None
        return None

    def _format(self) -> dict[str, Any]:
        return {
            "delimiter": self.delimiter,
            "quotechar": self.quote,
            "quoting": csv.QUOTE_MINIMAL if self.quote else csv.QUOTE_NONE,
            "escapechar": self.escape,
            "skipinitialspace": self.spaced,
        }


class Record(NamedTuple):
    """The cells that begin on one line; None where a quote is out of place.

    Attributes:
        line: Line, from 0, it begins on.
        lines: Lines it covers.
    """

    line: int
    lines: int
    cells: list[str] | None
    fault: str = ""


def is_lone(text: str, dialect: Dialect) -> bool:
    """Tell whether a quote stands alone between other characters, as none does in a line quoted as it should be."""
    quote, delimiter = re.escape(dialect.quote or "\0"), re.escape(dialect.delimiter)
    return re.search(rf"[^{quote}{delimiter}\r\n]{quote}[^{quote}{delimiter}\r\n]", text) is not None


def split(lines: Sequence[str], dialect: Dialect, final: bool = True) -> Iterator[Record]:
    """Yield the records of lines; a quote that never closes costs its own line, not those behind it.

    Args:
        final: False when more lines follow: an unfinished last record is then left out.
    """
    start = 0
    while start < len(lines):
        reader = dialect.reader(map(lines.__getitem__, range(start, len(lines))))
        done = 0
        try:
            for cells in reader:
                yield Record(start + done, reader.line_num - done, cells)
                done = reader.line_num
            return
        except csv.Error as error:
            if not final and start + reader.line_num >= len(lines) and "end of data" in str(error):
                return
            covered = reader.line_num - done
            yield Record(start + done, covered, None, str(error))
            start += done + 1


def detect(lines: Sequence[str], words: HeadingWords, delimiter: str | None = None) -> Dialect | None:
    """Return the dialect under which most lines have the same number of cells; None when none has two.

    Args:
        lines: The first lines of a file.
        words: Heading words: a line that names several listing fields is strong evidence for its delimiter.
        delimiter: Given by a feed map.
    """
    tiers = ((delimiter,),) if delimiter else DELIMITERS
    for tier in tiers:
        score, dialect = max((_best(lines, candidate, words) for candidate in tier), key=lambda found: found[0])
        if dialect is not None and score >= _ENOUGH:
            return dialect
    return Dialect(delimiter) if delimiter else None


def _best(lines: Sequence[str], delimiter: str, words: HeadingWords) -> tuple[float, Dialect | None]:
    """Return the quoting under which lines agree best for one delimiter, the usual one in doubt."""
    text = "".join(lines)
    if delimiter not in text:
        return 0.0, None
    spaced = _is_spaced(lines, delimiter)
    usual = _look(lines, Dialect(delimiter, spaced=spaced), words)
    best = usual
    unescaped = {'"': usual}
    for quote, escape in _QUOTINGS[1:]:
        if (quote or "") not in text or (escape or "") not in text:
            continue
        look = _look(lines, Dialect(delimiter, quote, escape, spaced), words)
        unescaped.setdefault(quote or "", look)
        if escape:
            # A backslash is a character like any other unless lines agree only when it escapes.
            speaks = look.agreement > max(unescaped[quote or ""].agreement, usual.agreement)
        elif quote:
            speaks = look.agreement > usual.agreement or usual.is_wrapped
        else:
            speaks = usual.faults > 0
        if speaks and look.agreement - look.left > best.agreement - best.left:
            best = look
    return (best.agreement - best.left, best.dialect) if best.agreement > 0 else (0.0, None)


def _is_spaced(lines: Sequence[str], delimiter: str) -> bool:
    """Tell whether nearly every delimiter is followed by one blank."""
    if delimiter in " \t":
        return False
    text = "".join(lines)
    count = text.count(delimiter)
    return count > 0 and text.count(delimiter + " ") >= 0.95 * count


class _Look(NamedTuple):
    """How lines look under a dialect.

    Attributes:
        agreement: Share of records of one width, and more for each heading word found in one of them.
        left: Share of cells that still begin with a quote, which quoting should have taken off.
        faults: Records with a quote out of place.
        is_wrapped: Cells that begin with an apostrophe end with one too.
    """

    dialect: Dialect
    agreement: float
    left: float
    faults: int
    is_wrapped: bool


def _look(lines: Sequence[str], dialect: Dialect, words: HeadingWords) -> _Look:
    """Return how lines look under a dialect."""
    records = list(split(lines, dialect))
    faults = sum(one.cells is None for one in records)
    widths = Counter(len(one.cells) for one in records if one.cells and any(one.cells))
    tables = {width: count for width, count in widths.items() if width > 1}
    if not tables:
        return _Look(dialect, 0.0, 0.0, faults, False)
    width = max(tables, key=lambda w: (tables[w], w))
    cells = [cell for one in records if one.cells and len(one.cells) == width for cell in one.cells]
    known = max((words.known(one.cells) for one in records[:_HEADER_RECORDS] if one.cells), default=0)
    agreement = tables[width] / (widths.total() + faults) * (width - 1) / width + _WORD_WORTH * known
    left = sum(cell[:1] in ('"', "'") for cell in cells) / len(cells)
    marked = [cell for cell in cells if cell[:1] == "'"]
    wrapped = len(marked) >= _WRAPPED and all(len(cell) > 2 and cell[-1] == "'" for cell in marked)
    return _Look(dialect, agreement, left, faults, wrapped)
