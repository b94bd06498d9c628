"""JSON Lines: one object a line (RFC 8259 texts, one a line); a broken line costs only itself."""

import re
from collections.abc import Iterator
from pathlib import Path

from triage.ingest.objects import RowError, dumps, parse, row_cells
from triage.ingest.rows import Broken, Piece, Settings, cells_frame, cut
from triage.ingest.text import LINE_CHARACTERS, bounded_lines, detect

NAME = "jsonl"
_PIECE_LINES = 50_000
_TWO_OBJECTS = re.compile(rb"^\s*\{[^\n]*\}[ \t]*\r?\n\s*\{")


def claims(path: Path, head: bytes) -> bool:
    """Tell whether a file is JSON Lines: by its name, or by a second line that begins an object of its own."""
    start = head.removeprefix(b"\xef\xbb\xbf").lstrip()
    if not start.startswith(b"{"):
        return path.suffix.lower() in (".jsonl", ".ndjson") and start[:1] not in (b"[", b"<")
    return path.suffix.lower() in (".jsonl", ".ndjson") or bool(_TWO_OBJECTS.match(start))


def read(path: Path, settings: Settings) -> Iterator[Piece]:
    """Yield the objects of the lines, flattened to dotted headings."""
    encoding = settings.encoding or detect(path)
    headings: dict[str, None] = {}
    numbers: list[int] = []
    cells: list[str] = []
    broken: list[Broken] = []
    blank = 0
    row_no = 0
    with path.open(encoding=encoding, errors="surrogateescape", newline="\n") as stream:
        for line in bounded_lines(stream):
            if not line.strip("\ufeff \t\r\n\x1a\0"):
                blank += 1
                continue
            row_no += 1
            try:
                row = _row(line)
            except RowError as error:
                broken.append(Broken(row_no, cut(line.strip()), error.code, error.hint))
                continue
            headings.update(dict.fromkeys(row))
            numbers.append(row_no)
            cells.append(dumps(row))
            if len(numbers) == _PIECE_LINES:
                yield Piece(tuple(headings), cells_frame(numbers, cells), tuple(broken))
                numbers, cells, broken = [], [], []
    skipped = {"blank": blank} if blank else {}
    yield Piece(tuple(headings), cells_frame(numbers, cells), tuple(broken), skipped)


def _row(line: str) -> dict[str, str]:
    """Return the cells of one line."""
    if len(line) > LINE_CHARACTERS:
        raise RowError("line-too-long", f"lines of at most {LINE_CHARACTERS} characters")
    return row_cells(parse(line.strip("\ufeff\x1a\0")))
