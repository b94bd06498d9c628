"""The DuckDB file: open it under a lock, lay out the contract, move frames in and out."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from importlib.resources import files
from pathlib import Path
from typing import Any

import duckdb
import polars as pl
from filelock import FileLock, Timeout

from triage.errors import STORE_TROUBLE, fail

Connection = duckdb.DuckDBPyConnection

# Nothing is ever fetched: by default DuckDB would try the network for an extension it lacks.
CONFIG: dict[str, str | bool | int | float | list[str]] = {
    "autoinstall_known_extensions": False,
    "autoload_known_extensions": False,
    "allow_community_extensions": False,
    "python_enable_replacements": False,
}


class _Stream:
    """Hand a Polars frame to DuckDB through the Arrow C stream, without pyarrow."""

    def __init__(self, frame: pl.DataFrame) -> None:
        self._frame = frame

    def __arrow_c_stream__(self, requested_schema: object = None) -> object:
        return self._frame.__arrow_c_stream__(requested_schema)


def connect(path: Path | None = None) -> Connection:
    """Return a connection to a store file, or to an empty store in memory, with the contract laid out.

    Raises:
        TriageError: The file is no store, damaged, of a newer version or held by another process.
    """
    place = ":memory:" if path is None else str(path)
    try:
        connection = duckdb.connect(place, config=CONFIG)
        connection.execute("SET enable_progress_bar = false")
        connection.execute(files("triage").joinpath("contract.sql").read_text("utf-8"))
    except duckdb.Error as error:
        first_line = str(error).splitlines()[0]
        fail(place, first_line, "a store made by this program and not in use elsewhere", STORE_TROUBLE)
    return connection


@contextmanager
def open_store(path: Path) -> Iterator[Connection]:
    """Open the store as its only user and close it at the end.

    Raises:
        TriageError: Another run holds the lock, or the file can't be opened.
    """
    if not path.parent.is_dir():
        fail(f"--store {path}", f"no folder {path.parent}", "a file in a folder that exists")
    lock = FileLock(f"{path}.lock")
    try:
        lock.acquire(timeout=0)
    except Timeout:
        fail(str(path), "another run holds the store", "one run at a time: wait for it to end", STORE_TROUBLE)
    try:
        connection = connect(path)
        try:
            yield connection
        finally:
            connection.close()
    finally:
        lock.release()


@contextmanager
def transaction(connection: Connection) -> Iterator[None]:
    """Commit everything done inside, or nothing of it."""
    connection.execute("BEGIN TRANSACTION")
    try:
        yield
    except BaseException:
        connection.execute("ROLLBACK")
        raise
    connection.execute("COMMIT")


def frame(connection: Connection, query: str, values: Sequence[Any] = ()) -> pl.DataFrame:
    """Return the rows of a query as a Polars frame."""
    return pl.DataFrame(connection.sql(query, params=list(values) or None))


def register(connection: Connection, name: str, rows: pl.DataFrame) -> None:
    """Make a frame readable as a view called ``name`` on this connection."""
    connection.register(name, _Stream(rows))


def append(connection: Connection, table: str, rows: pl.DataFrame) -> None:
    """Insert a frame into a contract table, columns by name; columns left out get their default."""
    if rows.is_empty():
        return
    register(connection, "incoming", rows)
    columns = ", ".join(rows.columns)
    connection.execute(f"INSERT INTO {table} ({columns}) SELECT {columns} FROM incoming")
    connection.unregister("incoming")


def replace(connection: Connection, table: str, rows: pl.DataFrame) -> None:
    """Replace the rows of every listing in ``todo`` by a frame's rows."""
    connection.execute(f"DELETE FROM {table} WHERE listing_id IN (SELECT listing_id FROM todo)")
    append(connection, table, rows)
