"""Workbooks (xlsx, xlsm, xlsb, xls, ods): the visible sheet that holds listings, every cell as text."""

import json
import zipfile
from collections.abc import Iterator
from pathlib import Path

from triage.ingest.apart import lines_apart
from triage.ingest.dialect import Dialect, Record
from triage.ingest.rows import FileError, Piece, Settings
from triage.ingest.table import Table

NAME = "sheet"
LIMIT_BYTES = 128 << 20
_HEADER_ROWS = 60
_OLD_WORKBOOK = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_PARTS = ("xl/workbook.xml", "xl/workbook.bin", "content.xml")

Sheet = tuple[str, list[list[str]]]


def claims(path: Path, head: bytes) -> bool:
    """Tell whether a file is a workbook by its first bytes and, in an archive, by the parts it has."""
    if head.startswith(_OLD_WORKBOOK):
        return True
    if not head.startswith(b"PK\x03\x04"):
        return False
    try:
        with zipfile.ZipFile(path) as archive:
            return any(part in archive.NameToInfo for part in _PARTS)
    # A name of a part that is not the UTF-8 it says it is, is a ValueError.
    except (zipfile.BadZipFile, OSError, NotImplementedError, ValueError):
        return path.suffix.lower() in (".xlsx", ".xlsm", ".xlsb", ".ods")


def read(path: Path, settings: Settings) -> Iterator[Piece]:
    """Yield the rows of the sheet whose headings name listing fields."""
    size = path.stat().st_size
    if size > LIMIT_BYTES:
        raise FileError("too-large", f"{size} bytes", f"at most {LIMIT_BYTES} bytes for a workbook")
    name, rows = _chosen(list(_sheets(path)), settings)
    records = [Record(i, 1, cells) for i, cells in enumerate(rows)]
    # Broken rows are shown as a spreadsheet would paste them.
    lines = ["\t".join(cells) for cells in rows]
    table = Table(Dialect("\t", quote=None), settings)
    piece = table.take_records(records, lines)
    yield Piece(piece.headings, piece.rows, piece.broken, piece.skipped, (f"sheet {name}",))


def _sheets(path: Path) -> Iterator[Sheet]:
    """Yield name and rows of every sheet that has any."""
    name, rows = "", []
    for line in lines_apart("sheet", path):
        value = json.loads(line)
        if isinstance(value, list):
            rows.append(value)
            continue
        if rows:
            yield name, rows
        name, rows = value, []
    if rows:
        yield name, rows


def _chosen(sheets: list[Sheet], settings: Settings) -> Sheet:
    """Return the one sheet of listings.

    Raises:
        FileError: There is none, or there are several.
    """
    if len(sheets) > 1:
        sheets = [sheet for sheet in sheets if _names_fields(sheet[1], settings)] or sheets
    if len(sheets) == 1:
        return sheets[0]
    if not sheets:
        raise FileError("empty-file", "no sheet with cells", "a sheet with rows")
    names = ", ".join(repr(name) for name, _ in sheets)
    raise FileError("several-sheets", f"sheets {names}", "one sheet of listings: save each as a file of its own")


def _names_fields(rows: list[list[str]], settings: Settings) -> bool:
    expected = set(settings.expected)
    return any(
        settings.words.known(cells) > 1 or len(expected.intersection(cells)) > 1 for cells in rows[:_HEADER_ROWS]
    )
