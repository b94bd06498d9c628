"""Parquet files: every value as the text DuckDB gives it, nested values under dotted headings."""

from collections.abc import Iterator
from itertools import islice
from pathlib import Path

from triage.ingest.apart import lines_apart
from triage.ingest.objects import texts_piece
from triage.ingest.rows import Piece, Settings

NAME = "parquet"
_PIECE_ROWS = 50_000


def claims(path: Path, head: bytes) -> bool:
    """Tell whether a file is Parquet by its first bytes."""
    return head.startswith(b"PAR1")


def read(path: Path, settings: Settings) -> Iterator[Piece]:
    """Yield the rows of a file."""
    lines = lines_apart("parquet", path)
    row_no = 0
    while texts := list(islice(lines, _PIECE_ROWS)):
        yield texts_piece(texts, row_no)
        row_no += len(texts)
