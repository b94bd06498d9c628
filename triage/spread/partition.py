"""A partition of the night: some listings in a store of their own, with the same contract as the large one."""

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
    """What all partitions of a night know."""

    catalogue: Catalogue
    ground: Ground


@dataclass(frozen=True)
class Partition:
    """Some listings of a night, or a bucket of keys in a reduction.

    Attributes:
        folder: What all workers see under the same path.
        number: From 0.
        partitions, buckets: How many partitions of listings there are, and how many buckets of keys.
        kit: File of what all partitions know.
        given: Files of the store's own tables by table, of the listings of this partition.
        made_by: The versions of the program that shared the work out.
    """

    folder: Path
    number: int
    partitions: int
    buckets: int
    as_of: date
    kit: str
    made_by: tuple[str, ...]
    given: Mapping[str, Sequence[Path]]

    def file(self, table: str) -> Path:
        """Return where this partition's rows of a table are."""
        return self.folder / table / f"{self.number}.parquet"

    def scattered(self, name: str, bucket: int) -> Path:
        """Return where this partition's rows of a bucket are."""
        return self.folder / name / f"{bucket}-{self.number}.parquet"

    def gathered(self, name: str) -> list[Path]:
        """Return the files of all partitions for this bucket, those of the listings that stay as they are first."""
        return [self.folder / name / f"{self.number}-{number}.parquet" for number in range(-1, self.partitions)]

    def reduced(self, name: str) -> list[Path]:
        """Return the files of all buckets."""
        return [self.folder / name / f"{number}.parquet" for number in range(self.buckets)]


@contextmanager
def at_work(partition: Partition) -> Iterator[Kit]:
    """Yield what all partitions know, once this process has nothing else to do.

    Raises:
        TriageError: This worker does not see the folder, or has other versions.
    """
    with ONE_AT_A_TIME:
        place = f"worker {os.getpid()} on {socket.gethostname()}"
        if not partition.folder.is_dir():
            fail(place, f"doesn't see {partition.folder}", "a store in a folder that all workers see so", STORE_TROUBLE)
        if made_by() != partition.made_by:
            expected = ", ".join(partition.made_by)
            fail(place, f"has {', '.join(made_by())}", f"{expected}, as where the night was begun", STORE_TROUBLE)
        kit = read_pickle(partition.folder, partition.kit)
        assert isinstance(kit, Kit)
        yield kit


@contextmanager
def store_of(partition: Partition, given: Sequence[str], found: Sequence[str] = ()) -> Iterator[Connection]:
    """Yield a store in memory that holds the listings of a partition, all of them in ``todo``.

    Args:
        given: Tables as they were in the large store.
        found: Tables that earlier tasks wrote of this partition.
    """
    store = connect()
    try:
        # As many threads as this worker was given for Polars.
        store.execute(f"SET threads TO {pl.thread_pool_size()}")
        # No listing at all where few sellers are shared out over many partitions.
        listed = partition.given["listing"]
        take(store, "listing", listed, also="own")
        store.execute("CREATE TEMP TABLE todo (listing_id VARCHAR)")
        if listed:
            own = f"SELECT listing_id FROM {rows_of(listed)} WHERE own ORDER BY listing_id"
            store.execute(f"INSERT INTO todo {own}")
        store.execute(f"INSERT INTO construction BY NAME FROM {rows_of([partition.folder / 'construction.parquet'])}")
        for table in given:
            take(store, table, partition.given.get(table, ()))
        for table in found:
            take(store, table, [partition.file(table)])
        yield store
    finally:
        store.close()


def keep(store: Connection, partition: Partition, tables: Sequence[str]) -> None:
    """Write this partition's rows of tables, in the order they stand in."""
    for table in tables:
        write(store, f"SELECT * FROM {table} ORDER BY rowid", partition.file(table))


def scatter(store: Connection, partition: Partition, name: str, key: str) -> None:
    """Write the rows of a TEMP table to one file a bucket of a key."""
    for bucket in range(partition.buckets):
        query = f"SELECT * FROM {name} WHERE hash({key}) % {partition.buckets} = {bucket} ORDER BY ALL"
        write(store, query, partition.scattered(name, bucket))
