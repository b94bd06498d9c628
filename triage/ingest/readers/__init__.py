"""One small reader a format; each tells which files are its own and yields their rows as text."""

from pathlib import Path
from typing import cast

from triage.ingest.files import head_of
from triage.ingest.readers import csv, json, jsonl, page, parquet, sheet, syndication
from triage.ingest.rows import FileError, Reader
from triage.ingest.text import HEAD_BYTES

# To add a format: write a module beside these with NAME, claims and read, and name it here.
PLAIN = cast(tuple[Reader, ...], (jsonl, json, page, syndication, sheet, parquet, csv))


def claimed_by(path: Path, readers: tuple[Reader, ...] = PLAIN) -> Reader:
    """Return the one reader of a file.

    Raises:
        FileError: No reader claims it, or more than one does.
    """
    head = head_of(path, HEAD_BYTES)
    if not head:
        raise FileError("empty-file", "no bytes", "an export with rows")
    claiming = [reader for reader in readers if reader.claims(path, head)]
    names = ", ".join(reader.NAME for reader in claiming or readers)
    if not claiming:
        raise FileError("no-reader", f"first bytes {head[:16]!r}", f"a file one of these can read: {names}")
    if len(claiming) > 1:
        raise FileError("two-readers", f"claimed by {names}", "one reader a file: a fault of this program")
    return claiming[0]
