"""JSON documents (RFC 8259): a list of objects, or one such list inside wrapping objects."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from triage.ingest.objects import RowError, objects_piece, parse
from triage.ingest.readers import jsonl
from triage.ingest.rows import FileError, Piece, Settings
from triage.ingest.text import read_text

NAME = "json"
LIMIT_BYTES = 256 << 20


def claims(path: Path, head: bytes) -> bool:
    """Tell whether a file is one JSON document."""
    start = head.removeprefix(b"\xef\xbb\xbf").lstrip()
    named = path.suffix.lower() == ".json" and start[:1] != b"<"
    return (start[:1] in (b"[", b"{") or named) and not jsonl.claims(path, head)


def read(path: Path, settings: Settings) -> Iterator[Piece]:
    """Yield the objects of the document's list, flattened to dotted headings."""
    try:
        document = parse(read_text(path, LIMIT_BYTES, settings.encoding).strip("\ufeff\x1a\0"))
    except RowError as error:
        raise FileError(error.code, "the document", error.hint) from None
    yield objects_piece(_listings(document, settings))


def _listings(document: Any, settings: Settings) -> list[Any]:
    """Return the list of listings of a document.

    Raises:
        FileError: There is none, or several and none of them stands out by its headings.
    """
    if isinstance(document, list):
        return document
    found = list(_lists(document, "", 0)) if isinstance(document, dict) else []
    if len(found) > 1:
        named = [(name, rows) for name, rows in found if settings.words.known(list(rows[0])) >= 2]
        found = named or found
    if len(found) == 1:
        return found[0][1]
    if found:
        names = ", ".join(name for name, _ in found)
        raise FileError("several-lists", f"lists of objects at {names}", "one list of listings")
    if isinstance(document, dict) and settings.words.known(list(document)) >= 2:
        return [document]
    raise FileError("no-list", f"a JSON {type(document).__name__}", "a list of objects, one a listing")


def _lists(value: dict[str, Any], prefix: str, level: int) -> Iterator[tuple[str, list[Any]]]:
    """Yield dotted place and rows of every list of objects that is not inside another list."""
    for key, inner in value.items():
        if isinstance(inner, list) and inner and isinstance(inner[0], dict):
            yield f"{prefix}{key}", inner
        elif isinstance(inner, dict) and level < 8:
            yield from _lists(inner, f"{prefix}{key}.", level + 1)
