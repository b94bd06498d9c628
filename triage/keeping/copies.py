"""Copies of the store: made whole, checked before they count, kept to a number, brought back on demand.

A copy is ``<store>.backups/NUMBER-DATE-WHY.duckdb`` with its SHA-256 beside it, as ``sha256sum -c`` reads it. The
number counts up and decides which copy is the newest, so a clock that jumps does no harm. All functions want the lock
held and the store closed.
"""

import glob
import hashlib
import os
import re
import shutil
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import duckdb

from triage.errors import STORE_TROUBLE, Problem, TriageError, fail
from triage.keeping.opening import Connection, log_of, open_file, tell

KEEP = 14
_NAME = re.compile(r"(\d{6})-\d{4}-\d{2}-\d{2}-([a-z0-9-]+)\.duckdb")
# Copies that no later one stands for; they are never taken away by number.
_FOR_GOOD = re.compile(r"version-\d+|replaced|unreadable")


@dataclass(frozen=True)
class Copy:
    """One copy: its file, number, why it was made, and the SHA-256 it had then."""

    path: Path
    number: int
    why: str
    sha256: str | None


def folder_of(store: Path) -> Path:
    """Return where the copies of a store are."""
    return store.with_name(f"{store.name}.backups")


def fresh_of(path: Path) -> Path:
    """Return where a file is made before it takes its place; nothing is there."""
    fresh = path.with_name(f".{path.name}.fresh")
    for leftover in (fresh, log_of(fresh)):
        leftover.unlink(missing_ok=True)
    return fresh


def put(fresh: Path, path: Path) -> None:
    """Move a finished file to its place in one step, and see it on the disk."""
    _to_disk(fresh)
    os.replace(fresh, path)
    _to_disk(path.parent)


def sweep(store: Path) -> None:
    """Take away what a run that was killed left half-made."""
    fresh_of(store)
    shutil.rmtree(work_folder(store), ignore_errors=True)
    for drill in store.parent.glob(f"{glob.escape(drill_prefix(store))}*"):
        shutil.rmtree(drill, ignore_errors=True)
    folder = folder_of(store)
    if folder.is_dir():
        for leftover in folder.glob(".*.fresh*"):
            leftover.unlink(missing_ok=True)
        for sums in folder.glob("*.sha256"):
            if not sums.with_suffix("").exists():
                sums.unlink(missing_ok=True)


def work_folder(store: Path) -> Path:
    """Return where DuckDB and stage 1 put rows that wait; gone when no run is on."""
    return store.with_name(f"{store.name}.tmp")


def drill_prefix(store: Path) -> str:
    """Return how the name of a folder begins in which a copy is brought back for a try."""
    return f".{store.name}.drill-"


def copies_of(store: Path) -> list[Copy]:
    """Return the copies of a store, the newest first."""
    folder = folder_of(store)
    found = []
    for path in folder.iterdir() if folder.is_dir() else ():
        if parts := _NAME.fullmatch(path.name):
            sums = path.with_name(f"{path.name}.sha256")
            sha256 = sums.read_text("utf-8", "replace").split(" ")[0] if sums.is_file() else None
            found.append(Copy(path, int(parts[1]), parts[2], sha256))
    return sorted(found, key=lambda one: one.number, reverse=True)


def name_next(store: Path, why: str) -> Path:
    """Return the path of the next copy."""
    number = max((one.number for one in copies_of(store)), default=0) + 1
    return folder_of(store) / f"{number:06d}-{datetime.now(UTC):%Y-%m-%d}-{why}.duckdb"


def backup(store: Path, why: str, keep: int | None = None) -> Path:
    """Copy a store, see that the copy is sound, and return its path; a store that has not changed has its copy.

    Args:
        why: before, after, asked or version-N; part of the name.
        keep: How many copies stay, the newest; None: all of them.

    Raises:
        TriageError: The store or its copy is damaged; no copy was made.
        OSError: The disk is full or read-only; no copy was made.
    """
    made = _backup(store, why)
    if keep is not None:
        _prune(store, keep)
    return made


def _backup(store: Path, why: str) -> Path:
    digest = sha256_of(store)
    # A copy for good is made even when another is the same: that one may go.
    newest = next(iter(copies_of(store)), None)
    if newest is not None and newest.sha256 == digest and not _FOR_GOOD.fullmatch(why):
        return newest.path
    folder_of(store).mkdir(mode=0o700, exist_ok=True)
    path = name_next(store, why)
    fresh = fresh_of(path)
    shutil.copyfile(store, fresh)
    fresh.chmod(0o600)
    _to_disk(fresh)
    if sha256_of(fresh) != digest:
        fail(str(path), "the copy is not what was copied", "a disk that keeps what is written", STORE_TROUBLE)
    scan(fresh, store)
    sums = path.with_name(f"{path.name}.sha256")
    sums.write_text(f"{digest}  {path.name}\n", "utf-8")
    put(fresh, path)
    return path


def _prune(store: Path, keep: int) -> None:
    for old in [one for one in copies_of(store) if not _FOR_GOOD.fullmatch(one.why)][keep:]:
        old.path.unlink(missing_ok=True)
        old.path.with_name(f"{old.path.name}.sha256").unlink(missing_ok=True)


def scan(path: Path, shown: Path | None = None) -> int:
    """Read every row of every table of a file and return how many there are; DuckDB checks each block it reads.

    Raises:
        TriageError: Something can't be read.
    """
    place = str(shown or path)
    connection = open_file(path, read_only=True)
    try:
        return scan_open(connection)
    except duckdb.Error as error:
        tell(place, error)
    finally:
        connection.close()


def scan_open(connection: Connection) -> int:
    """Read every row of every table of an open database and return how many there are."""
    tables = connection.execute("SELECT schema_name, table_name FROM duckdb_tables() WHERE NOT internal").fetchall()
    rows = 0
    for schema, table in tables:
        count, _ = connection.execute(f'SELECT count(*), bit_xor(hash(t)) FROM "{schema}"."{table}" t').fetchall()[0]
        rows += int(count)
    return rows


def restore(store: Path, name: str | None = None, place: Path | None = None) -> tuple[Copy, Path | None]:
    """Bring a copy back, the newest sound one unless one is named.

    Args:
        place: Where to; the store itself when left out. What stood there is set aside among the copies.

    Returns:
        The copy, and where what was replaced is now; None when nothing was.

    Raises:
        TriageError: There is no sound copy, or no room; the store is as it was.
    """
    target = place or store
    chosen, fresh = _sound_copy(store, name, target)
    aside = _set_aside(store) if target == store else None
    put(fresh, target)
    # The log belongs to what was replaced; it is set aside with it.
    log_of(target).unlink(missing_ok=True)
    return chosen, aside


def _sound_copy(store: Path, name: str | None, target: Path) -> tuple[Copy, Path]:
    """Return a copy and its bytes beside the target, read through and found sound."""
    # What was set aside may be damaged and has no SHA-256: it comes back only by name.
    wanted = [one for one in copies_of(store) if one.path.name == name or (name is None and one.sha256 is not None)]
    if not wanted:
        found = f"no copy {name} in it" if name else "no copy in it"
        fail(str(folder_of(store)), found, "a copy that 'triage nightly' or 'triage store backup' made", STORE_TROUBLE)
    faults: list[Problem] = []
    for one in wanted:
        fresh = fresh_of(target)
        try:
            shutil.copyfile(one.path, fresh)
            fresh.chmod(0o600)
            if one.sha256 is not None and sha256_of(fresh) != one.sha256:
                fail(str(one.path), "not what was copied once: its SHA-256 differs", "a sound copy", STORE_TROUBLE)
            scan(fresh, one.path)
        except TriageError as error:
            faults += error.problems
            continue
        return one, fresh
    fresh_of(target)
    raise TriageError(faults, STORE_TROUBLE)


def _set_aside(store: Path) -> Path | None:
    """Keep what a copy is about to replace, and its log, under a second name."""
    if not store.exists():
        return None
    folder_of(store).mkdir(mode=0o700, exist_ok=True)
    aside = name_next(store, "replaced")
    os.link(store, aside)
    if log_of(store).exists():
        os.link(log_of(store), log_of(aside))
    return aside


def sha256_of(path: Path) -> str:
    """Return the SHA-256 of a file's bytes, in hexadecimal."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _to_disk(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
