"""Delimited text in any dialect and encoding (RFC 4180 and what people have instead): a row fits or is refused."""

from collections.abc import Iterator
from itertools import islice
from pathlib import Path

from triage.ingest.bulk import bulk_of
from triage.ingest.dialect import Dialect, split
from triage.ingest.dialect import detect as detect_dialect
from triage.ingest.layout import lay_out
from triage.ingest.rows import FileError, Piece, Settings, cells_frame
from triage.ingest.table import Table
from triage.ingest.text import bounded_lines, copy_as_utf8, detect, looks_like_text

NAME = "csv"
_PIECE_CHARACTERS = 16_000_000
_SAMPLE_LINES = 400
_LAYOUT_LINES = 2_000
_COPY = "as_utf8.csv"
_NOT_TEXT = (b"{", b"[", b"<", b"PK\x03\x04", b"\x1f\x8b", b"PAR1", b"\xd0\xcf\x11\xe0", b"%PDF", b"Rar!")
_OTHER_FORMATS = (".json", ".jsonl", ".ndjson", ".html", ".htm", ".xhtml", ".xml", ".rss", ".atom")


def claims(path: Path, head: bytes) -> bool:
    """Tell whether a file is delimited text: text that is in no other format."""
    start = head.removeprefix(b"\xef\xbb\xbf").lstrip()
    return path.suffix.lower() not in _OTHER_FORMATS and not start.startswith(_NOT_TEXT) and looks_like_text(head)


def read(path: Path, settings: Settings) -> Iterator[Piece]:
    """Yield the rows of a table, cells as text; a row that doesn't fit its columns is refused."""
    bulk = _bulk(path, settings)
    if bulk is not None:
        yield bulk
        return
    with path.open(encoding=settings.encoding or detect(path), errors="surrogateescape", newline="") as stream:
        source = bounded_lines(stream)
        lines = list(islice(source, _SAMPLE_LINES))
        table = Table(_dialect(lines, settings), settings)
        size = sum(map(len, lines))
        for line in source:
            lines.append(line)
            size += len(line)
            if size >= _PIECE_CHARACTERS:
                piece, lines = table.take(lines, final=False)
                size = sum(map(len, lines))
                yield piece
        yield table.take(lines, final=True)[0]


def _bulk(path: Path, settings: Settings) -> Piece | None:
    """Return a long table as a query when its first rows are clean and its heading is the first line."""
    if settings.bulk_from is None or path.stat().st_size < settings.bulk_from:
        return None
    encoding = settings.encoding or detect(path)
    if encoding not in ("utf-8", "utf-8-sig"):
        if settings.folder is None or not copy_as_utf8(path, encoding, settings.folder / _COPY):
            return None
        path = settings.folder / _COPY
    try:
        with path.open(encoding="utf-8-sig", newline="") as stream:
            lines = list(islice(bounded_lines(stream), _LAYOUT_LINES))
        dialect = _dialect(lines[:_SAMPLE_LINES], settings)
        layout, records, skipped = lay_out(list(split(lines, dialect, final=False)), settings)
    except (UnicodeDecodeError, FileError):
        return None
    if skipped or not records or records[0].line != 1 or layout.headings[0].startswith("\ufeff"):
        return None
    bulk = bulk_of(path, dialect, layout)
    return None if bulk is None else Piece(layout.headings, cells_frame([], []), bulk=bulk)


def _dialect(lines: list[str], settings: Settings) -> Dialect:
    """Return the dialect of the first lines.

    Raises:
        FileError: They are no table.
    """
    if lines:
        lines[0] = lines[0].removeprefix("\ufeff")
    dialect = detect_dialect(lines, settings.words, settings.delimiter or _stated(lines))
    if dialect is None:
        shown = lines[0][:200].strip() if lines else "no lines"
        raise FileError("no-delimiter", shown, "columns divided by comma, semicolon, tab or |")
    return dialect


def _stated(lines: list[str]) -> str | None:
    """Return the delimiter a spreadsheet's first line ``sep=;`` states."""
    first = lines[0].strip('"\r\n') if lines else ""
    return first[4] if len(first) == 5 and first.lower().startswith("sep=") else None
