"""JSON Lines: one object a line (RFC 8259 texts, one a line); a broken line costs only itself."""

import re
from collections.abc import Iterator
from dataclasses import replace
from itertools import islice
from pathlib import Path

from triage.ingest.objects import texts_piece
from triage.ingest.rows import Piece, Settings
from triage.ingest.text import bounded_lines, detect

NAME = "jsonl"
_PIECE_LINES = 50_000
_PADDING = "\ufeff \t\r\n\x1a\0"
_TWO_OBJECTS = re.compile(rb"^\s*\{[^\n]*\}[ \t]*\r?\n\s*\{")


def claims(path: Path, head: bytes) -> bool:
    """Tell whether a file is JSON Lines: by its name, or by a second line that begins an object of its own."""
    start = head.removeprefix(b"\xef\xbb\xbf").lstrip()
    named = path.suffix.lower() in (".jsonl", ".ndjson")
    if not start.startswith(b"{"):
        return named and not start.startswith((b"[", b"<"))
    return named or bool(_TWO_OBJECTS.match(start))


def read(path: Path, settings: Settings) -> Iterator[Piece]:
    """Yield the objects of the lines, flattened to dotted headings."""
    encoding = settings.encoding or detect(path)
    row_no = 0
    with path.open(encoding=encoding, errors="surrogateescape", newline="\n") as stream:
        lines = bounded_lines(stream)
        while batch := list(islice(lines, _PIECE_LINES)):
            texts = [text for text in (line.strip(_PADDING) for line in batch) if text]
            blank = len(batch) - len(texts)
            yield replace(texts_piece(texts, row_no), skipped={"blank": blank} if blank else {})
            row_no += len(texts)
