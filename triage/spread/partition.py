"""A part of the night: some listings in a store of their own, with the same contract as the large one."""

import os
import socket
import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from importlib.metadata import version
from pathlib import Path

import polars as pl

from triage import __version__
from triage.catalogue import Catalogue
from triage.errors import STORE_TROUBLE, fail
from triage.spread.files import read_pickle, rows_of, take, write
from triage.store import Connection, connect
from triage.verdict import Ground

# Stages use all threads they may have and keep one connection for all rules: a process works on one task at a time,
# however many its worker would begin.
ONE_AT_A_TIME = threading.RLock()
# Other versions of these might round a last bit the other way.
DECISIVE = ("polars", "duckdb", "numpy", "scipy", "rapidfuzz")


def made_by() -> tuple[str, ...]:
    """Return the versions on which a last bit may hang."""
    return (f"triage {__version__}", *(f"{name} {version(name)}" for name in DECISIVE))


@dataclass(frozen=True)
class Kit:
    """What all parts of a night know."""

    catalogue: Catalogue
    ground: Ground


@dataclass(frozen=True)
class Part:
    """Some listings of a night, or a bucket of keys in a reduction.

    Attributes:
        folder: What all workers see under the same path.
        number: From 0.
        parts, buckets: How many parts of listings there are, and how many buckets of keys.
        kit: File of what all parts know.
        given: Files of the store's own tables by table, of the listings of this part.
        made_by: The versions of the program that shared the work out.
    """

    folder: Path
    number: int
    parts: int
    buckets: int
    as_of: date
    kit: str
    made_by: tuple[str, ...]
    given: Mapping[str, Sequence[Path]]

    def file(self, table: str) -> Path:
        """Return where this part's rows of a table are."""
        return self.folder / table / f"{self.number}.parquet"

    def scattered(self, name: str, bucket: int) -> Path:
        """Return where this part's rows of a bucket are."""
        return self.folder / name / f"{bucket}-{self.number}.parquet"

    def gathered(self, name: str) -> list[Path]:
        """Return the files of all parts for this bucket, those of the listings that stay as they are first."""
        return [self.folder / name / f"{self.number}-{number}.parquet" for number in range(-1, self.parts)]

    def reduced(self, name: str) -> list[Path]:
        """Return the files of all buckets."""
        return [self.folder / name / f"{number}.parquet" for number in range(self.buckets)]


@contextmanager
def at_work(part: Part) -> Iterator[Kit]:
    """Yield what all parts know, once this process has nothing else to do.

    Raises:
        TriageError: This worker does not see the folder, or has other versions.
    """
    with ONE_AT_A_TIME:
        place = f"worker {os.getpid()} on {socket.gethostname()}"
        if not part.folder.is_dir():
            fail(place, f"doesn't see {part.folder}", "a store in a folder that all workers see so", STORE_TROUBLE)
        if made_by() != part.made_by:
            expected = ", ".join(part.made_by)
            fail(place, f"has {', '.join(made_by())}", f"{expected}, as where the night was begun", STORE_TROUBLE)
        kit = read_pickle(part.folder, part.kit)
        assert isinstance(kit, Kit)
        yield kit


@contextmanager
def store_of(part: Part, given: Sequence[str], found: Sequence[str] = ()) -> Iterator[Connection]:
    """Yield a store in memory that holds the listings of a part, all of them in ``todo``.

    Args:
        given: Tables as they were in the large store.
        found: Tables that earlier tasks wrote of this part.
    """
    store = connect()
    try:
        # As many threads as this worker was given for Polars.
        store.execute(f"SET threads TO {pl.thread_pool_size()}")
        listed = part.given["listing"]
        take(store, "listing", listed, also="own")
        store.execute(
            f"CREATE TEMP TABLE todo AS SELECT listing_id FROM {rows_of(listed)} WHERE own ORDER BY listing_id"
        )
        store.execute(f"INSERT INTO construction BY NAME FROM {rows_of([part.folder / 'construction.parquet'])}")
        for table in given:
            take(store, table, part.given.get(table, ()))
        for table in found:
            take(store, table, [part.file(table)])
        yield store
    finally:
        store.close()


def keep(store: Connection, part: Part, tables: Sequence[str]) -> None:
    """Write this part's rows of tables, in the order they stand in."""
    for table in tables:
        write(store, f"SELECT * FROM {table} ORDER BY rowid", part.file(table))


def scatter(store: Connection, part: Part, name: str, key: str) -> None:
    """Write the rows of a TEMP table to one file a bucket of a key."""
    for bucket in range(part.buckets):
        query = f"SELECT * FROM {name} WHERE hash({key}) % {part.buckets} = {bucket} ORDER BY ALL"
        write(store, query, part.scattered(name, bucket))
