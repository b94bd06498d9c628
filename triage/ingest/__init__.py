"""Stage 1, export files: files -> feed, raw_row, reject."""

import hashlib
import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Literal

import polars as pl

from triage.catalogue.feeds import FeedCatalogue
from triage.ingest.bulk import LEAST_BYTES, NotCleanError, store_bulk
from triage.ingest.files import Found, find, sha256_of, size_of
from triage.ingest.mapping import Mapping
from triage.ingest.memory import bounded_memory
from triage.ingest.preview import Preview, preview
from triage.ingest.readers import PLAIN, packed
from triage.ingest.reading import Account, Export, open_export
from triage.ingest.rows import Broken, FileError, Reader, cut
from triage.store import Connection, append, transaction, work_folder

__all__ = ["READERS", "FeedNote", "Preview", "preview", "run"]

# Bytes of files that go into the store together.
_GROUP_BYTES = 64 << 20

READERS: tuple[Reader, ...] = (*PLAIN, packed)

Outcome = Literal["new", "seen", "later", "rejected"]

_REJECT_SCHEMA = {
    "feed_id": pl.String, "row_no": pl.Int64, "field": pl.String, "scope": pl.String, "stage": pl.String,
    "value": pl.String, "code": pl.String, "hint": pl.String,
}  # fmt: skip


@dataclass(frozen=True)
class FeedNote:
    """What became of one file.

    Attributes:
        path: As shown to people, relative to the folder given.
        outcome: new; seen (the same bytes were read before); later (dated after as_of); rejected (whole).
        rows_read: Data rows, broken ones included.
        skipped: Lines that are no data, counted by what they are.
        notes: What a person should know; for a rejected file what was found and what was expected.
    """

    path: str
    outcome: Outcome
    seen_on: date
    feed_id: str | None = None
    reader: str | None = None
    feed_map: str | None = None
    source: str | None = None
    rows_read: int = 0
    rows_rejected: int = 0
    skipped: tuple[tuple[str, int], ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def lines_skipped(self) -> int:
        """Return the number of lines that are no data."""
        return sum(count for _, count in self.skipped)


def run(
    store: Connection,
    feeds: FeedCatalogue,
    paths: Sequence[Path],
    as_of: date,
    readers: tuple[Reader, ...] = READERS,
    then: Callable[[Sequence[str]], object] = lambda _: None,
) -> list[FeedNote]:
    """Read every file not read before into ``feed``, ``raw_row`` and ``reject``.

    A file's rows, refused rows and ledger line are in one transaction, with those of the small files beside it and
    with what ``then`` makes of them: all of a file is in the store, or nothing of it.

    Args:
        paths: Files and folders; a folder is walked.
        as_of: The night; files dated later are left out.
        then: Called in each transaction with the ids of the feeds in it that are new; a night makes their sightings.

    Returns:
        One note a file, in the order they were read.

    Raises:
        TriageError: A path does not exist.
    """
    notes = []
    for group in _groups(find(paths, as_of)):
        try:
            notes += _together(store, feeds, group, as_of, readers, then, LEAST_BYTES)
        except NotCleanError:
            notes += _together(store, feeds, group, as_of, readers, then, None)
    return notes


def _groups(files: Sequence[Found]) -> Iterator[list[Found]]:
    """Yield files that go into the store together: small ones beside each other, a long one alone.

    What a transaction holds waits in memory, and a long file that turns out odd is undone and read again.
    """
    group: list[Found] = []
    held = 0
    for found in files:
        size = size_of(found.path)
        weight = _GROUP_BYTES if size >= LEAST_BYTES else size
        if group and held + weight > _GROUP_BYTES:
            yield group
            group, held = [], 0
        group.append(found)
        held += weight
    if group:
        yield group


def _together(
    store: Connection,
    feeds: FeedCatalogue,
    group: Sequence[Found],
    as_of: date,
    readers: tuple[Reader, ...],
    then: Callable[[Sequence[str]], object],
    bulk_from: int | None,
) -> list[FeedNote]:
    """Read some files in one transaction.

    Raises:
        NotCleanError: A long table has to be read the slow way; nothing was stored.
    """
    with bounded_memory(store) as release, transaction(store):
        notes = [
            FeedNote(found.shown, "later", found.seen_on)
            if found.seen_on > as_of
            else _one_file(store, feeds, found, readers, bulk_from)
            for found in group
        ]
        new = [note.feed_id for note in notes if note.outcome == "new" and note.feed_id is not None]
        if new:
            release()
            then(new)
    return notes


def _one_file(
    store: Connection, feeds: FeedCatalogue, found: Found, readers: tuple[Reader, ...], bulk_from: int | None
) -> FeedNote:
    """Read one file, or store why it can't be read; the caller holds the transaction."""
    # A file that can't even be hashed still needs a feed to hang its reject on.
    sha256 = hashlib.sha256(f"unread {found.shown}".encode()).hexdigest()
    try:
        if found.fault is not None:
            raise found.fault
        sha256 = sha256_of(found.path)
        if _seen_before(store, sha256[:16]):
            return FeedNote(found.shown, "seen", found.seen_on, sha256[:16])
        _forget(store, sha256[:16])
        return _store_rows(store, open_export(found.path, feeds, readers), found, sha256, bulk_from)
    except FileError as refused:
        # What it brought before it was refused goes, and what an earlier refusal left.
        _forget(store, sha256[:16])
        return _store_refusal(store, found, sha256, refused)


def _seen_before(store: Connection, feed_id: str) -> bool:
    """Tell whether a file was read; one that was rejected whole is tried again, its map may be mended by now."""
    query = """
        SELECT 1 FROM feed
        WHERE feed_id = ?
          AND NOT EXISTS (SELECT 1 FROM reject WHERE reject.feed_id = feed.feed_id AND scope = 'file')
    """
    return bool(store.execute(query, [feed_id]).fetchall())


def _forget(store: Connection, feed_id: str) -> None:
    """Take out all of a file."""
    for table in ("reject", "raw_row", "feed"):
        store.execute(f"DELETE FROM {table} WHERE feed_id = ?", [feed_id])


def _store_rows(store: Connection, export: Export, found: Found, sha256: str, bulk_from: int | None) -> FeedNote:
    """Store the rows of a file piece by piece, then its ledger line."""
    account = Account()
    feed_id = sha256[:16]
    with TemporaryDirectory(prefix="triage-", dir=work_folder(store)) as folder:
        for piece in export.pieces(bulk_from, Path(folder)):
            if piece.bulk is not None:
                account.rows_read += store_bulk(store, feed_id, piece.bulk)
            append(store, "raw_row", piece.rows.with_columns(feed_id=pl.lit(feed_id)))
            append(store, "reject", _rejects(feed_id, piece.broken))
            account.add(piece)
    if sha256_of(found.path) != sha256:
        raise FileError(
            "changed-while-read", "other bytes at the end than at the start", "a file that is written whole"
        )
    mapping = export.mapping(account)
    note = FeedNote(
        path=found.shown,
        outcome="new",
        seen_on=found.seen_on,
        feed_id=feed_id,
        reader=export.reader.NAME,
        feed_map=mapping.feed_map,
        source=mapping.source,
        rows_read=account.rows_read,
        rows_rejected=account.rows_rejected,
        skipped=tuple(sorted(account.skipped.items())),
        notes=(*account.notes, *mapping.notes),
    )
    append(store, "feed", _feed_row(note, sha256, mapping))
    return note


def _rejects(feed_id: str, broken: Sequence[Broken]) -> pl.DataFrame:
    """Return broken rows as rejects."""
    columns = {
        "row_no": [one.row_no for one in broken],
        "value": [one.value.encode("utf-8", "backslashreplace").decode() for one in broken],
        "code": [one.code for one in broken],
        "hint": [one.hint for one in broken],
    }
    fixed = {"feed_id": pl.lit(feed_id), "field": pl.lit(""), "scope": pl.lit("row"), "stage": pl.lit("ingest")}
    return pl.DataFrame(columns, schema_overrides=_REJECT_SCHEMA).with_columns(**fixed)


def _feed_row(note: FeedNote, sha256: str, mapping: Mapping | None) -> pl.DataFrame:
    """Return a file's ledger line."""
    row = {
        "feed_id": sha256[:16],
        "path": note.path,
        "sha256": sha256,
        "reader": note.reader,
        "source": note.source,
        "feed_map": note.feed_map,
        "mapping": None if mapping is None else json.dumps(mapping.columns, ensure_ascii=False),
        "settings": None if mapping is None else json.dumps(mapping.settings, ensure_ascii=False),
        "seen_on": note.seen_on,
        "rows_read": note.rows_read,
        "rows_rejected": note.rows_rejected,
        "lines_skipped": note.lines_skipped,
    }
    texts = dict.fromkeys(("reader", "source", "feed_map", "mapping", "settings"), pl.String)
    return pl.DataFrame([row], schema_overrides=texts)


def _store_refusal(store: Connection, found: Found, sha256: str, refused: FileError) -> FeedNote:
    """Store a file that can't be used: its ledger line without rows, and the reason."""
    feed_id = sha256[:16]
    note = FeedNote(
        found.shown, "rejected", found.seen_on, feed_id,
        notes=(f"{refused.code}: {refused.found}; expected {refused.expected}",),
    )  # fmt: skip
    append(store, "feed", _feed_row(note, sha256, None))
    reject = {
        "feed_id": feed_id, "row_no": None, "field": "", "scope": "file", "stage": "ingest",
        "value": cut(refused.found), "code": refused.code, "hint": refused.expected,
    }  # fmt: skip
    append(store, "reject", pl.DataFrame([reject], schema=_REJECT_SCHEMA))
    return note
