"""What the sound rows of a table say of each column, narrow enough to judge a repair by."""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from triage.ingest.columns import Profile
from triage.ingest.text import undecodable

_LEAST_ROWS = 10
# A column whose values recur four times on average has a vocabulary; one that is none of it is a misfit.
_RECURRENCE = 4
_NEARLY_ALL = 0.95
# A shorter shape may end a free text by chance: "42", "2019".
_LONG_SHAPE = 6
# A text of so many characters that stands in two rows is one text.
_LONG_TEXT = 12
_URL = re.compile(r"(?i)https?://")
_SHAPES = ((re.compile(r"\d"), "0"), (re.compile(r"[^\W\d_a-z]"), "A"), (re.compile(r"[a-z]"), "a"))
_WORD = re.compile(r"\w+")


@dataclass(frozen=True)
class Column:
    """One column of the sound rows.

    Attributes:
        kind: Pattern of its kind of value; None for free text.
        always: No cell of it is empty.
        trimmed: Its cells do not begin or end with a blank.
        shape: That of its filled cells, digits and letters each seen as one; None when they differ.
        known: Its filled cells; of a closed column those that recur.
        closed: Its values recur, so that another one is no value of it.
    """

    kind: re.Pattern[str] | None
    always: bool
    trimmed: bool
    shape: str | None
    known: frozenset[str]
    closed: bool

    @property
    def narrow(self) -> bool:
        """Tell whether a text that fits by chance is unlikely: one shape, or a vocabulary."""
        return self.shape is not None or self.closed

    def vouches(self, cell: str) -> bool:
        """Tell whether a text that fits can hardly be the end or the beginning of a free text beside it."""
        return len(self.shape or "") >= _LONG_SHAPE or (self.kind is not None and bool(_URL.match(cell)))

    def recognises(self, cell: str) -> bool:
        """Tell whether a text stands whole in another row and is too long to do so by chance."""
        return cell in self.known and len(cell) >= _LONG_TEXT

    def fits(self, cell: str) -> bool:
        """Tell whether a cell could stand in the column."""
        if not cell.strip():
            return not self.always
        if (self.trimmed and cell != cell.strip()) or (self.closed and cell not in self.known):
            return False
        if self.kind is not None and not self.kind.search(cell):
            return False
        return self.shape is None or shape(cell) == self.shape


class Evidence:
    """The columns of a table's sound rows.

    Args:
        rows: Rows of the table's width; those with a cell of the wrong kind or a broken character are left out.
    """

    def __init__(self, rows: Sequence[Sequence[str]], profile: Profile) -> None:
        self._given = rows
        self._profile = profile

    @cached_property
    def _rows(self) -> list[Sequence[str]]:
        return [
            cells
            for cells in self._given
            if not self._profile.misfits(cells) and not any(not cell.isascii() and undecodable(cell) for cell in cells)
        ]

    @cached_property
    def columns(self) -> tuple[Column, ...]:
        """Return every column; none when the rows are too few to judge by, or too few columns are narrow."""
        if len(self._rows) < _LEAST_ROWS:
            return ()
        cells = zip(*self._rows, strict=True)
        columns = tuple(_column(one, kind) for one, kind in zip(cells, self._profile.kinds, strict=True))
        return columns if sum(one.narrow and one.always for one in columns) > 1 else ()

    def fit(self, cells: Sequence[str], first: int = 0) -> bool:
        """Tell whether cells fit the columns from one on."""
        return bool(self.columns) and all(
            column.fits(cell) for cell, column in zip(cells, self.columns[first:], strict=False)
        )

    def is_row(self, cells: Sequence[str]) -> bool:
        """Tell whether cells are a row: as many as columns, and each fits its own."""
        return len(cells) == len(self.columns) and self.fit(cells)

    @cached_property
    def words(self) -> frozenset[str]:
        """Return the words with characters outside ASCII, and such characters outside words."""
        texts = [cell for cells in self._rows for cell in cells if not cell.isascii()]
        return frozenset(word for text in texts for word in words_beyond_ascii(text))


def shape(cell: str) -> str:
    """Return a text with its digits, capital letters and small letters each written as one."""
    for pattern, sign in _SHAPES:
        cell = pattern.sub(sign, cell)
    return cell


def words_beyond_ascii(text: str) -> list[str]:
    """Return the words that have characters outside ASCII, and each such character outside words."""
    words = [word for word in _WORD.findall(text) if not word.isascii()]
    return words + [sign for sign in _WORD.sub("", text) if not sign.isascii()]


def _column(cells: Sequence[str], kind: str | None) -> Column:
    """Return what cells have in common but for a few, which may be damaged themselves."""
    filled = Counter(cell for cell in cells if cell.strip())
    shapes: Counter[str] = Counter()
    for cell, count in filled.items():
        shapes[shape(cell)] += count
    common, count = max(shapes.items(), key=lambda one: one[1], default=("", 0))
    # Of few cells one may be odd.
    enough = max(_LEAST_ROWS - 1, min(_NEARLY_ALL * filled.total(), filled.total() - 1))
    recurring = {cell: count for cell, count in filled.items() if count > 1}
    closed = sum(recurring.values()) >= enough and len(recurring) * _RECURRENCE <= filled.total()
    return Column(
        kind=re.compile(kind) if kind else None,
        always=filled.total() == len(cells),
        trimmed=sum(count for cell, count in filled.items() if cell == cell.strip()) >= enough,
        # Free text of one shape would be chance: a shape counts for values that hold a digit.
        shape=common if count >= enough and "0" in common else None,
        known=frozenset(recurring if closed else filled),
        closed=closed,
    )
