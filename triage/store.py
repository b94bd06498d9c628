"""The DuckDB file: open it under a lock, lay out the contract, move frames in and out."""

import logging
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from functools import lru_cache
from pathlib import Path
from typing import Any

import duckdb
import polars as pl

from triage.blocks import slices
from triage.errors import STORE_TROUBLE, fail
from triage.keeping import copies, versions
from triage.keeping.held import held, private
from triage.keeping.opening import Connection, faults_told, log_of, open_file

__all__ = [
    "Connection",
    "append",
    "connect",
    "file_of",
    "frame",
    "open_store",
    "pieces",
    "registered",
    "replace",
    "transaction",
    "work_folder",
]

LOG = logging.getLogger(__name__)

# To make a frame readable takes longer than to hand over so few cells as values, or so few rows as lists.
FEW_CELLS, FEW_ROWS = 36, 64
# Queries of a pair that is weighed again and again.
RELATIONS = 64
# Not by rowid: of rows that a transaction has not committed yet it begins anywhere.
PIECE = "CREATE OR REPLACE TEMP TABLE piece AS SELECT listing_id FROM todo ORDER BY listing_id LIMIT $1 OFFSET $2"


class _Stream:
    """Hand a Polars frame to DuckDB through the Arrow C stream, without pyarrow."""

    def __init__(self, frame: pl.DataFrame) -> None:
        self.frame = frame

    def __arrow_c_stream__(self, requested_schema: object = None) -> object:
        return self.frame.__arrow_c_stream__(requested_schema)


def connect(comments: bool = False) -> Connection:
    """Return a connection to an empty store in memory, with the contract laid out.

    Args:
        comments: As ``versions.lay_out`` has it.
    """
    connection = open_file(None)
    versions.lay_out(connection, comments)
    return connection


@contextmanager
def open_store(path: Path, keep: int = 0) -> Iterator[Connection]:
    """Open the store as its only user and close it at the end; a new one is made, an old one brought up to date.

    Args:
        keep: Copies to keep; one is made before and one after. 0: none is made.

    Raises:
        TriageError: Another run holds the lock, or the file can't be opened, or shows a fault while it is in use.
    """
    with held(path), private():
        copies.sweep(path)
        is_new = not path.exists()
        if is_new:
            _begin(path)
        elif log_of(path).exists():
            LOG.warning(
                "%s: the last run did not end; what its log holds is being taken over, what it had not committed is "
                "gone; run the night again to finish its work",
                path,
            )
        for file in (path, log_of(path)):
            if file.exists():
                file.chmod(0o600)
        versions.bring_up(path)
        if keep and not is_new:
            copies.backup(path, "before", keep)
        with faults_told(path):
            connection = open_file(path)
            try:
                yield connection
            finally:
                connection.close()
                copies.sweep(path)
        if keep:
            copies.backup(path, "after", keep)


def _begin(path: Path) -> None:
    """Make a new store, unless one was there."""
    kept = copies.copies_of(path)
    if kept:
        fail(
            str(path),
            f"gone, but {copies.folder_of(path)} holds {len(kept)} copies of it",
            "'triage store restore' to bring the newest back, or that folder moved away to begin anew",
            STORE_TROUBLE,
        )
    versions.make_new(path)


def work_folder(connection: Connection) -> Path | None:
    """Return the folder for rows that wait, beside the store; the next start sweeps what a killed run leaves in it.

    None for a store in memory: the system's own.
    """
    path = file_of(connection)
    if path is None:
        return None
    folder = copies.work_folder(path)
    folder.mkdir(mode=0o700, exist_ok=True)
    return folder


def file_of(connection: Connection) -> Path | None:
    """Return the file of a store; None for a store in memory."""
    path = connection.execute("SELECT path FROM duckdb_databases() WHERE database_name = current_database()").fetchall()
    return Path(path[0][0]) if path and path[0][0] is not None else None


@contextmanager
def transaction(connection: Connection) -> Iterator[None]:
    """Commit everything done inside, or nothing of it."""
    connection.execute("BEGIN TRANSACTION")
    try:
        yield
    except BaseException:
        # A connection that a fault of the disk has ended can't roll back and needn't; the fault is what is told.
        with suppress(duckdb.Error):
            connection.execute("ROLLBACK")
        raise
    connection.execute("COMMIT")


def frame(connection: Connection, query: str, values: Sequence[Any] = ()) -> pl.DataFrame:
    """Return the rows of a query as a Polars frame."""
    if values:
        return pl.DataFrame(connection.sql(query, params=list(values)))
    kept = _relations(connection, query)
    if kept:
        return pl.DataFrame(kept[0])
    relation = connection.sql(query)
    # What runs when it is asked for, and not at each reading, stands for rows and no longer for its words.
    if relation.sql_query() == query.strip():
        kept.append(relation)
    return pl.DataFrame(relation)


def rows_of(table: str, of: str) -> str:
    """Return the query for the rows of a table whose listings stand in another, all columns.

    By their places: a join would read every column of every row before it leaves most out.
    """
    return f"SELECT * FROM {table} WHERE rowid IN (SELECT {table}.rowid FROM {table} SEMI JOIN {of} USING (listing_id))"


@lru_cache(RELATIONS)
def _relations(connection: Connection, query: str) -> list[duckdb.DuckDBPyRelation]:
    """Return the place where a query's relation is kept: to ask for it anew plans it once more than reading does."""
    return []


@contextmanager
def registered(connection: Connection, name: str, rows: pl.DataFrame) -> Iterator[None]:
    """Let a frame be read as a view called ``name`` on this connection."""
    stream = _Stream(rows)
    connection.register(name, stream)
    try:
        yield
    finally:
        # In a transaction that failed nothing can be taken back but all of it; the fault is what is told.
        with suppress(duckdb.Error):
            connection.unregister(name)
        # DuckDB holds on to what was registered until the transaction ends: a night's frames would fill the memory.
        stream.frame = rows.clear()


def append(connection: Connection, table: str, rows: pl.DataFrame) -> None:
    """Insert a frame into a contract table, columns by name; columns left out get their default."""
    if rows.is_empty():
        return
    columns = ", ".join(rows.columns)
    if rows.height * rows.width <= FEW_CELLS:
        row = f"({', '.join('?' * rows.width)})"
        cells = [cell for one in rows.iter_rows() for cell in one]
        connection.execute(f"INSERT INTO {table} ({columns}) VALUES {', '.join([row] * rows.height)}", cells)
        return
    if rows.height <= FEW_ROWS:
        lists = [column.to_list() for column in rows]
        connection.execute(f"INSERT INTO {table} ({columns}) SELECT {', '.join(['unnest(?)'] * rows.width)}", lists)
        return
    with registered(connection, "incoming", rows):
        connection.execute(f"INSERT INTO {table} ({columns}) SELECT {columns} FROM incoming")


def replace(connection: Connection, table: str, rows: pl.DataFrame) -> None:
    """Replace the rows of every listing in ``todo`` by a frame's rows."""
    connection.execute(f"DELETE FROM {table} WHERE listing_id IN (SELECT listing_id FROM todo)")
    append(connection, table, rows)


def pieces(connection: Connection, most: int) -> Iterator[str]:
    """Yield the name of a table with the next listings of ``todo``, at most so many: itself where they are few."""
    ((count,),) = connection.execute("SELECT count(*) FROM todo").fetchall()
    if count <= most:
        yield "todo"
        return
    for rows in slices(count, most):
        connection.execute(PIECE, [most, rows.start])
        yield "piece"
    connection.execute("DROP TABLE piece")
