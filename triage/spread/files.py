"""Parquet between one machine and many: written beside its place and moved there in one step, read by name.

A task that is done twice writes the same rows to the same place twice, and nobody ever reads half of a file. Files are
named, never looked for in a folder: what another machine wrote may be a while in showing up in a listing of it.
"""

import hashlib
import os
import pickle
from collections.abc import Iterable, Sequence
from pathlib import Path
from uuid import uuid4

import polars as pl

from triage.store import Connection


def aside(path: Path) -> Path:
    """Return where a file is written before it takes its place; no two attempts get the same."""
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    return path.with_name(f".{path.name}.{uuid4().hex}")


def write(store: Connection, query: str, path: Path) -> None:
    """Write the rows of a query."""
    fresh = aside(path)
    store.execute(f"COPY ({query}) TO {quoted(fresh)} (FORMAT parquet)")
    os.replace(fresh, path)


def write_frame(rows: pl.DataFrame, path: Path) -> None:
    """Write a frame."""
    fresh = aside(path)
    rows.write_parquet(fresh)
    os.replace(fresh, path)


def write_partitioned(store: Connection, query: str, folder: Path) -> dict[int, tuple[Path, ...]]:
    """Write the rows of a query to one folder for each number in its column ``share``; return the files of each."""
    folder.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    store.execute(f"COPY ({query}) TO {quoted(folder)} (FORMAT parquet, PARTITION_BY (share))")
    return {int(place.name.partition("=")[2]): tuple(sorted(place.iterdir())) for place in folder.glob("share=*")}


def rows_of(files: Iterable[Path]) -> str:
    """Return what stands behind FROM to read files."""
    names = ", ".join(quoted(path) for path in files)
    return f"read_parquet([{names}], hive_partitioning = false)"


def read_frames(files: Iterable[Path]) -> pl.DataFrame:
    """Return the rows of files that ``write_frame`` wrote, one file after the other."""
    return pl.concat([pl.read_parquet(path, use_statistics=False) for path in files])


def take(store: Connection, table: str, files: Sequence[Path], also: str = "") -> None:
    """Insert the rows of files into a contract table, listing by listing, each one's in the order they were written.

    Args:
        also: Columns of the files that the table has not.
    """
    if files:
        columns = f"* EXCLUDE ({also})" if also else "*"
        rows = f"SELECT {columns} FROM {rows_of(files)} ORDER BY listing_id, file_row_number"
        store.execute(f"INSERT INTO {table} BY NAME {rows}")


def quoted(path: Path) -> str:
    """Return a path as SQL text."""
    return "'" + str(path).replace("'", "''") + "'"


def write_pickle(content: object, folder: Path) -> str:
    """Write what workers need beside tables; return the file's name, which is the hash of what is in it."""
    packed = pickle.dumps(content)
    name = f"{hashlib.sha256(packed).hexdigest()}.pickle"
    fresh = aside(folder / name)
    fresh.write_bytes(packed)
    os.replace(fresh, folder / name)
    return name


def read_pickle(folder: Path, name: str) -> object:
    """Return what ``write_pickle`` wrote: the very same object for all tasks of a process, read once."""
    if name not in _READ:
        content = pickle.loads((folder / name).read_bytes())
        _READ.clear()
        _READ[name] = content
    return _READ[name]


_READ: dict[str, object] = {}
