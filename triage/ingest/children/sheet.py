"""Print the sheets of a workbook as JSON lines: a sheet's name as text, then its rows as lists of text."""

import json
import os
import re
import sys
import zipfile
from typing import NoReturn

MEMORY_BYTES = 4 << 30
CPU_SECONDS = 60
UNPACKED_BYTES = 1 << 30
SHEET_CELLS = 30_000_000
_BLOCK = 1 << 20
_CELL = re.compile(rb'<(?:\w+:)?c [^>]*?\br="([A-Z]{1,3})(\d{1,7})"')
_COUNT = re.compile(rb'uniqueCount="(\d+)"')


def refuse(code: str, found: str) -> NoReturn:
    """Say what is wrong and end."""
    print(f"REFUSED {code} {found}", file=sys.stderr)
    sys.exit(3)


def limit() -> None:
    """Bound memory and time of this process, where the system can."""
    try:
        import resource
    except ImportError:
        return
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (CPU_SECONDS, CPU_SECONDS))


def check_archive(path: str) -> None:
    """Refuse a workbook that would unpack to far more than it is: the parser reserves memory before it reads."""
    with zipfile.ZipFile(path) as archive:
        total = sum(part.file_size for part in archive.infolist())
        if total > UNPACKED_BYTES:
            refuse("too-large", f"{total} bytes unpacked")
        for part in archive.infolist():
            if part.filename.endswith(".xml") and "sharedStrings" in part.filename:
                check_strings(archive.open(part).read(_BLOCK), part.file_size)
            elif re.search(r"worksheets/[^/]+\.xml$", part.filename):
                check_extent(archive, part)


def check_strings(head: bytes, size: int) -> None:
    """Refuse a count of texts that the texts can't have room for."""
    found = _COUNT.search(head)
    if found and int(found[1]) > size:
        refuse("too-large", f"{int(found[1])} texts claimed in {size} bytes")


def check_extent(archive: zipfile.ZipFile, part: zipfile.ZipInfo) -> None:
    """Refuse a sheet whose corners are too far apart."""
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
        refuse("too-large", f"a sheet of {high_row} rows and {high_column} columns")


def column_number(letters: bytes) -> int:
    """Return the number of a column, A is 1."""
    number = 0
    for letter in letters:
        number = number * 26 + letter - 64
    return number


def main(path: str) -> None:
    """Print the sheets of a workbook."""
    limit()
    if zipfile.is_zipfile(path):
        try:
            check_archive(path)
        except zipfile.BadZipFile as error:
            refuse("broken-workbook", str(error))
    os.environ["POLARS_MAX_THREADS"] = "1"
    import fastexcel

    try:
        with open(path, "rb") as stream:
            book = fastexcel.read_excel(stream.read())
    except Exception as error:
        refuse("broken-workbook", " ".join(str(error).split())[:300])
    for name in book.sheet_names:
        sheet = book.load_sheet(name, header_row=None, dtypes="string")
        if sheet.visible != "visible":
            continue
        print(json.dumps(name))
        for row in sheet.to_polars().iter_rows():
            print(json.dumps([cell or "" for cell in row]))


if __name__ == "__main__":
    main(sys.argv[1])
