"""What a reader hands over: pieces of rows, what was broken, what was no data at all."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Protocol

import polars as pl

from triage.catalogue.feeds import HeadingWords

# A cell, and a line of a file, is refused beyond this: no listing text comes near it.
CELL_CHARACTERS = 1_000_000
SHOWN_CHARACTERS = 500
CELLS_SCHEMA = {"row_no": pl.Int64, "cells": pl.String}


@dataclass(frozen=True)
class Broken:
    """A data row that can't be used: its number, what was found, why and what was expected."""

    row_no: int
    value: str
    code: str
    hint: str


@dataclass(frozen=True)
class Piece:
    """Some rows of a file, in order.

    Attributes:
        headings: Headings of these rows.
        rows: row_no and cells (a JSON object of heading to text).
        broken: Rows left out, with the reason.
        skipped: Lines that are no data, counted by what they are: preamble, blank, footer, ...
        notes: What a person should know of how the file was read.
        bulk: A query that gives the rows, and fails when they are not clean; ``rows`` is then empty.
    """

    headings: tuple[str, ...]
    rows: pl.DataFrame
    broken: tuple[Broken, ...] = ()
    skipped: dict[str, int] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    bulk: "Bulk | None" = None


@dataclass(frozen=True)
class Bulk:
    """A query for the cells of each row, in their order, with its values, and the file's lines and bytes.

    The rows must add up to the lines.
    """

    query: str
    values: tuple[str, ...]
    lines: int
    bytes: int


@dataclass(frozen=True)
class Settings:
    """What is known of a file before it is opened: the heading words, and what its feed map says.

    Attributes:
        header: False when the file has no heading row, None when nobody said.
        expected: Headings the feed map names.
        bulk_from: Bytes from which a clean table may come as a query instead of rows; None: never.
        folder: Where a copy of the file may lie until its rows are stored; None: nowhere.
    """

    words: HeadingWords
    encoding: str | None = None
    delimiter: str | None = None
    header: bool | None = None
    expected: tuple[str, ...] = ()
    bulk_from: int | None = None
    folder: Path | None = None


class Reader(Protocol):
    """A reader module: what it is called, which files are its own, and how it reads one."""

    NAME: str

    @property
    def claims(self) -> Callable[[Path, bytes], bool]:
        """Tell from the path and the first bytes whether a file is this reader's."""

    @property
    def read(self) -> Callable[[Path, Settings], Iterator[Piece]]:
        """Yield the rows of a file; raises ``FileError`` when it can't be read as a whole."""


class FileError(Exception):
    """A file that can't be read: the code, what was found, what was expected."""

    def __init__(self, code: str, found: str, expected: str) -> None:
        super().__init__(f"{found}; expected {expected}")
        self.code, self.found, self.expected = code, found, expected


def cut(text: object) -> str:
    """Return a text cut to what a reject shows."""
    return str(text)[:SHOWN_CHARACTERS]


def cells_frame(numbers: list[int], cells: list[str]) -> pl.DataFrame:
    """Return row numbers and JSON cells as the frame of a piece."""
    return pl.DataFrame({"row_no": numbers, "cells": cells}, schema=CELLS_SCHEMA)


def flat(value: dict[str, Any], to_text: Callable[[Any], str], prefix: str = "") -> Iterator[tuple[str, str]]:
    """Yield dotted heading and text of every leaf of a nested object; a null has none."""
    for key, inner in value.items():
        heading = f"{prefix}{key}"
        if isinstance(inner, dict) and inner:
            yield from flat(inner, to_text, f"{heading}.")
        elif inner is not None:
            yield heading, inner if isinstance(inner, str) else to_text(inner)
