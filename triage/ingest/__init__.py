"""Stage 1, export files: files -> feed, raw_row, reject."""

import hashlib
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Literal, cast

import polars as pl

from triage.catalogue.feeds import FeedCatalogue, FeedMap
from triage.ingest.files import Found, find, sha256_of
from triage.ingest.mapping import Mapping, feed_map_of, map_headings
from triage.ingest.readers import PLAIN, claimed_by, packed
from triage.ingest.rows import Broken, FileError, Piece, Reader, Settings, cut
from triage.store import Connection, append, transaction

READERS = (*PLAIN, cast(Reader, packed))

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
) -> list[FeedNote]:
    """Read every file not read before into ``feed``, ``raw_row`` and ``reject``; one transaction a file.

    Args:
        paths: Files and folders; a folder is walked.
        as_of: The night; files dated later are left out.

    Returns:
        One note a file, in the order they were read.

    Raises:
        TriageError: A path does not exist.
    """
    notes = []
    for found in find(paths, as_of):
        if found.seen_on > as_of:
            notes.append(FeedNote(found.shown, "later", found.seen_on))
        else:
            notes.append(_one_file(store, feeds, found, readers))
    return notes


def _one_file(store: Connection, feeds: FeedCatalogue, found: Found, readers: tuple[Reader, ...]) -> FeedNote:
    """Read one file, or store why it can't be read."""
    # A file that can't even be hashed still needs a feed to hang its reject on.
    sha256 = hashlib.sha256(f"unread {found.shown}".encode()).hexdigest()
    try:
        if found.fault is not None:
            raise found.fault
        sha256 = sha256_of(found.path)
        if _seen_before(store, sha256[:16]):
            return FeedNote(found.shown, "seen", found.seen_on, sha256[:16])
        _forget(store, sha256[:16])
        with transaction(store):
            return _store_rows(store, feeds, found, sha256, readers)
    except FileError as refused:
        _forget(store, sha256[:16])
        with transaction(store):
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
    """Take out what an earlier refusal of this file left."""
    with transaction(store):
        for table in ("reject", "raw_row", "feed"):
            store.execute(f"DELETE FROM {table} WHERE feed_id = ?", [feed_id])


def _store_rows(
    store: Connection, feeds: FeedCatalogue, found: Found, sha256: str, readers: tuple[Reader, ...]
) -> FeedNote:
    """Store the rows of a file piece by piece, then its ledger line; a refusal undoes it all."""
    feed_map = feed_map_of(feeds, found.path)
    reader = claimed_by(found.path, readers)
    settings = settings_for(feeds, feed_map)
    feed_id = sha256[:16]
    headings: dict[str, None] = {}
    skipped: dict[str, int] = {}
    notes: list[str] = []
    rows_read = rows_rejected = 0
    for piece in pieces_of(reader, found.path, settings):
        headings.update(dict.fromkeys(piece.headings))
        append(store, "raw_row", piece.rows.with_columns(feed_id=pl.lit(feed_id)))
        append(store, "reject", _rejects(feed_id, piece.broken))
        rows_read += piece.rows.height + len(piece.broken)
        rows_rejected += len(piece.broken)
        for what, count in piece.skipped.items():
            skipped[what] = skipped.get(what, 0) + count
        notes += piece.notes
    mapping = map_headings(feed_map, feeds.words, tuple(headings), found.path)
    if mapping.missing:
        notes.append(f"headings of the feed map not in this export: {', '.join(mapping.missing)}")
    note = FeedNote(
        found.shown, "new", found.seen_on, feed_id, reader.NAME, mapping.feed_map, mapping.source,
        rows_read, rows_rejected, tuple(sorted(skipped.items())), tuple(notes),
    )  # fmt: skip
    append(store, "feed", _feed_row(note, sha256, mapping))
    return note


def pieces_of(reader: Reader, path: Path, settings: Settings) -> Iterator[Piece]:
    """Yield a reader's pieces; whatever goes wrong inside a reader rejects that file and no other.

    Raises:
        FileError: The file can't be read.
    """
    try:
        yield from reader.read(path, settings)
    except (FileError, GeneratorExit):
        raise
    except (Exception, pl.exceptions.PanicException) as error:
        shown = cut(f"{type(error).__name__}: {error}")
        raise FileError("reader-failed", shown, f"a file the {reader.NAME} reader can read") from error


def settings_for(feeds: FeedCatalogue, feed_map: FeedMap | None) -> Settings:
    """Return what is known of a file before it is opened."""
    if feed_map is None:
        return Settings(feeds.words)
    return Settings(
        words=feeds.words,
        encoding=feed_map.encoding,
        delimiter=feed_map.delimiter,
        header=feed_map.header,
        expected=tuple(feed_map.columns.values()),
    )


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
