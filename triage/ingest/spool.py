"""Rows of a long file wait outside the store, and go into it in one statement.

One transaction with many inserts keeps all its rows in memory (measured: 2.2 GB for a file of 1 GB); one insert
of the same rows writes them as they come.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import polars as pl

from triage.store import Connection, append

# What DuckDB may keep of a store that is a file; the rest of a night's memory is the pieces being read.
_MEMORY = "800MB"


@contextmanager
def bounded_memory(store: Connection) -> Iterator[Callable[[], None]]:
    """Let DuckDB write to disk what it would keep in memory, where the store is a file; yield what ends that sooner.

    It goes around a transaction: inside one that failed no setting can be changed back.
    """
    in_file = store.execute("SELECT 1 FROM duckdb_databases() WHERE NOT internal AND path IS NOT NULL").fetchall()
    if in_file:
        store.execute(f"SET memory_limit = '{_MEMORY}'")

    def release() -> None:
        if in_file:
            store.execute("RESET memory_limit")

    try:
        yield release
    finally:
        release()


class Spool:
    """The rows of one feed on their way into ``raw_row``."""

    def __init__(self, store: Connection, feed_id: str, folder: Path) -> None:
        self._store = store
        self._feed_id = feed_id
        self._folder = folder
        self._first: pl.DataFrame | None = None
        self._files: list[str] = []

    def add(self, rows: pl.DataFrame) -> None:
        """Take some rows; only those of a short file are kept in memory."""
        if rows.is_empty():
            return
        if self._first is None and not self._files:
            self._first = rows
            return
        if self._first is not None:
            self._write(self._first)
            self._first = None
        self._write(rows)

    def close(self) -> None:
        """Store all rows taken."""
        if self._first is not None:
            append(self._store, "raw_row", self._first.with_columns(feed_id=pl.lit(self._feed_id)))
        if self._files:
            query = """
                INSERT INTO raw_row (feed_id, row_no, cells)
                SELECT ?, row_no, cells FROM read_parquet(?)
            """
            self._store.execute(query, [self._feed_id, self._files])

    def _write(self, rows: pl.DataFrame) -> None:
        path = self._folder / f"{len(self._files):06d}.parquet"
        rows.write_parquet(path, compression="lz4")
        self._files.append(str(path))
