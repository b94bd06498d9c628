"""Print the sheets of a workbook as JSON lines: a sheet's name as text, then its rows as lists of text."""

import json
import os
import re
import zipfile
from collections.abc import Callable, Iterator, Sequence
from typing import NoReturn

UNPACKED_BYTES = 1 << 30
SHEET_CELLS = 30_000_000
_BLOCK = 1 << 20
_CELL = re.compile(rb'<(?:\w+:)?c [^>]*?\br="([A-Z]{1,3})(\d{1,7})"')
_COUNT = re.compile(rb'uniqueCount="(\d+)"')

Refuse = Callable[[str, str], NoReturn]


def too_large(path: str) -> Iterator[str]:
    """Yield what of a workbook would unpack to far more than it is: the parser reserves memory before it reads."""
    with zipfile.ZipFile(path) as archive:
        total = sum(part.file_size for part in archive.infolist())
        if total > UNPACKED_BYTES:
            yield f"{total} bytes unpacked"
            return
        for part in archive.infolist():
            if part.filename.endswith(".xml") and "sharedStrings" in part.filename:
                yield from too_many_texts(archive.open(part).read(_BLOCK), part.file_size)
            elif re.search(r"worksheets/[^/]+\.xml$", part.filename):
                yield from too_wide(archive, part)


def too_many_texts(head: bytes, size: int) -> Iterator[str]:
    """Yield a count of texts that the texts can't have room for."""
    found = _COUNT.search(head)
    if found and int(found[1]) > size:
        yield f"{int(found[1])} texts claimed in {size} bytes"


def too_wide(archive: zipfile.ZipFile, part: zipfile.ZipInfo) -> Iterator[str]:
    """Yield the extent of a sheet whose corners are too far apart."""
    low_row, high_row, high_column, tail = 1 << 20, 0, 0, b""
    with archive.open(part) as stream:
        while block := stream.read(_BLOCK):
            text = tail + block
            for letters, row in _CELL.findall(text):
                low_row, high_row = min(low_row, int(row)), max(high_row, int(row))
                high_column = max(high_column, column_number(letters))
            tail = text[-200:]
    cells = max(0, high_row - low_row + 1) * high_column
    if cells > SHEET_CELLS:
        yield f"a sheet of {high_row} rows and {high_column} columns"


def column_number(letters: bytes) -> int:
    """Return the number of a column, A is 1."""
    number = 0
    for letter in letters:
        number = number * 26 + letter - 64
    return number


def broken_chains(path: str) -> str | None:
    """Return what is wrong with the sectors of an old workbook: the parser follows a ring until memory ends.

    Source: [MS-CFB], sections 2.3 and 2.6: chains of sectors, kept in the FAT and the mini FAT.
    """
    import olefile

    with olefile.OleFileIO(path) as book:
        book.loadminifat()
        if is_ring(book.first_dir_sector, book.fat):
            return "a directory whose sectors are a ring"
        for entry in filter(None, book.direntries):
            small = entry.entry_type == olefile.STGTY_STREAM and entry.size < book.minisectorcutoff
            if entry.size and is_ring(entry.isectStart, book.minifat if small else book.fat):
                return f"{entry.name!r}: its sectors are a ring"
    return None


def is_ring(sector: int, table: Sequence[int]) -> bool:
    """Tell whether a chain of sectors comes back to itself."""
    steps = 0
    while 0 <= sector < len(table) and steps <= len(table):
        sector = table[sector]
        steps += 1
    return steps > len(table)


def checked(path: str, refuse: Refuse) -> None:
    """Refuse a workbook that would take the parser down."""
    found = broken = None
    try:
        if zipfile.is_zipfile(path):
            found = next(too_large(path), None)
        else:
            broken = broken_chains(path)
    except Exception as error:
        broken = f"{type(error).__name__}: {error}"
    if found:
        refuse("too-large", found)
    if broken:
        refuse("broken-workbook", broken[:300])


def main(path: str, refuse: Refuse) -> None:
    """Print the sheets of a workbook."""
    checked(path, refuse)
    os.environ["POLARS_MAX_THREADS"] = "1"
    import fastexcel

    try:
        with open(path, "rb") as stream:
            book = fastexcel.read_excel(stream.read())
        for name in book.sheet_names:
            sheet = book.load_sheet(name, header_row=None, dtypes="string")
            if sheet.visible != "visible":
                continue
            print(json.dumps(name))
            for row in sheet.to_polars().iter_rows():
                print(json.dumps([cell or "" for cell in row]))
    # The parser's panic is no Exception.
    except BaseException as error:
        found = " ".join(str(error).split())[:300]
    else:
        return
    refuse("broken-workbook", found)
