"""What each column of an export would become, without storing anything."""

import json
from dataclasses import dataclass
from pathlib import Path

from triage.catalogue.feeds import FeedCatalogue
from triage.ingest.files import printable
from triage.ingest.readers import PLAIN, packed
from triage.ingest.reading import Account, Export, open_export
from triage.ingest.rows import FileError, Reader, cut

_EXAMPLES = 3


@dataclass(frozen=True)
class Column:
    """One column: its heading, the listing field it fills (None: kept, not used), and its first filled cells."""

    heading: str
    field: str | None
    examples: tuple[str, ...]


@dataclass(frozen=True)
class Preview:
    """How an export would be read.

    Attributes:
        rows_read: Data rows in the part looked at: the first 16 million characters of a long table.
        rejected: Row number, code and hint of broken rows.
        refusal: Why the file would be rejected whole, with a map to edit; None when it would be read.
    """

    path: str
    reader: str | None = None
    feed_map: str | None = None
    source: str | None = None
    columns: tuple[Column, ...] = ()
    rows_read: int = 0
    rejected: tuple[tuple[int, str, str], ...] = ()
    skipped: tuple[tuple[str, int], ...] = ()
    notes: tuple[str, ...] = ()
    refusal: str | None = None


def preview(path: Path, feeds: FeedCatalogue, readers: tuple[Reader, ...] = (*PLAIN, packed)) -> Preview:
    """Return how an export would be read, judged by its first piece; nothing is stored."""
    try:
        return _looked_at(open_export(path, feeds, readers))
    except FileError as error:
        return Preview(printable(path), refusal=f"{error.code}: {error}")


def _looked_at(export: Export) -> Preview:
    account = Account()
    first = next(export.pieces())
    account.add(first)
    fields: dict[str, str] = {}
    source = refusal = None
    try:
        mapping = export.mapping(account)
        fields = {heading: name for name, heading in mapping.columns.items()}
        source = mapping.source
        account.notes += mapping.notes
    except FileError as error:
        refusal = f"{error.code}: {error}"
    rows = [json.loads(cells) for cells in account.sample]
    return Preview(
        path=printable(export.path),
        reader=export.reader.NAME,
        feed_map=export.feed_map.id if export.feed_map else None,
        source=source,
        columns=tuple(Column(name, fields.get(name), _examples(rows, name)) for name in account.headings),
        rows_read=account.rows_read,
        rejected=tuple((one.row_no, one.code, one.hint) for one in first.broken),
        skipped=tuple(sorted(account.skipped.items())),
        notes=tuple(account.notes),
        refusal=refusal,
    )


def _examples(rows: list[dict[str, str]], heading: str) -> tuple[str, ...]:
    """Return the first filled cells of a column."""
    filled = (cut(row[heading]) for row in rows if (row.get(heading) or "").strip())
    return tuple(text for text, _ in zip(filled, range(_EXAMPLES), strict=False))
