"""The connection in which rules run: memory only, nothing to reach, nothing to change, bounds on time and memory."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import duckdb
import numpy.typing as npt
import polars as pl

from triage.blocks import slices
from triage.store import Connection, frame, registered

# Only memory, no files, no extensions. The bounds hold for one slice of the facts, so they do not grow with a night.
LOCKED: dict[str, str | bool | int | float | list[str]] = {
    "threads": 2, "memory_limit": "1GB", "temp_directory": "", "max_temp_directory_size": "0MB",
    "autoinstall_known_extensions": False, "autoload_known_extensions": False, "allow_community_extensions": False,
    "allow_unsigned_extensions": False, "allow_persistent_secrets": False, "python_enable_replacements": False,
}  # fmt: skip
MAX_SECONDS = 60.0
BATCH_ROWS = 16_384
BOUNDS = ("INTERRUPT Error", "Out of Memory Error")


class TooMuch(Exception):  # noqa: N818 - it reads as what it says
    """A query took more time or memory than a rule may take."""


def locked_connection(max_seconds: float = MAX_SECONDS) -> Connection:
    """Return an empty in-memory connection that can reach nothing and whose settings cannot be changed.

    Args:
        max_seconds: How long one query may run, in seconds.
    """
    connection = duckdb.connect(":memory:", config=LOCKED)
    connection.execute("SET enable_progress_bar = false")
    connection.execute(f"SET max_execution_time = {max(1, round(max_seconds * 1000))}")
    connection.execute("SET max_expression_depth = 200")
    # x / 0 is NULL, not known, and neither a fault nor an infinity that is above every bound.
    connection.execute("SET ieee_floating_point_ops = false")
    connection.execute("SET error_on_division_by_zero = false")
    connection.execute("SET enable_external_access = false")
    connection.execute("SET disabled_filesystems = 'LocalFileSystem'")
    connection.execute("SET lock_configuration = true")
    return connection


def computed(connection: Connection, rows: pl.DataFrame, query: str) -> pl.DataFrame:
    """Return a query over ``facts``, which stands for the rows, in the order of the rows.

    Raises:
        TooMuch: It ran into the bound on time or memory.
    """
    with _facts(connection, rows):
        return frame(connection, query)


def columns(connection: Connection, rows: pl.DataFrame, query: str) -> dict[str, npt.NDArray[Any]]:
    """Return what ``computed`` does as arrays by column, masked where some cell is NULL.

    A query of a hundred expressions is planned once so, and twice on its way into a frame.

    Raises:
        TooMuch: It ran into the bound on time or memory.
    """
    with _facts(connection, rows):
        return connection.execute(query).fetchnumpy()


@contextmanager
def _facts(connection: Connection, rows: pl.DataFrame) -> Iterator[None]:
    # Both threads read a frame of several pieces; DuckDB keeps the order of the rows.
    pieces = [rows[some] for some in slices(rows.height, BATCH_ROWS)]
    try:
        with registered(connection, "facts", pl.concat(pieces, rechunk=False) if pieces else rows):
            yield
    except (duckdb.InterruptException, duckdb.OutOfMemoryException, pl.exceptions.ComputeError) as error:
        # A fault in the middle of the stream reaches us by way of Polars, with its class in its text only.
        if not any(bound in str(error) for bound in BOUNDS):
            raise
        raise TooMuch(str(error).splitlines()[0]) from None
