"""What is noted between two nights: one append-only file beside the store, a checksummed JSON line a note.

The page writes it while a night may hold the store, and the night takes it over; neither waits for the other longer
than a line takes to write. A note is on the disk before it is acknowledged. Nothing is taken out but what is forgotten
for good: after an older copy of the store is restored the next night takes over again what that copy had not seen.
"""

import hashlib
import json
import os
from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any, Literal, get_args

from filelock import FileLock, Timeout

from triage.errors import STORE_TROUBLE, fail
from triage.keeping import copies
from triage.keeping.held import private

Kind = Literal["look", "answer", "asked", "no_reply", "sold", "open", "bought", "received"]
KINDS: tuple[Kind, ...] = get_args(Kind)
# A line is written in milliseconds; who holds the lock longer is stuck.
WAIT_SECONDS = 10.0
MOST_BYTES = 200_000
# Lines that are known again: the file grows for years, and the page reads it at every note.
LINES = 20_000


@dataclass(frozen=True)
class Note:
    """One note.

    Attributes:
        key: The same key again is the same note: a form that is sent twice is noted once.
        kind: look (own look at the photos), answer, asked, no_reply, sold, open (not sold after all), bought, received.
        listing_id: The listing.
        on: The day it is for.
        content: What was noted, by kind.
        written_at: When, UTC.
    """

    key: str
    kind: Kind
    listing_id: str
    on: date
    content: Mapping[str, Any]
    written_at: datetime


@dataclass(frozen=True)
class Journal:
    """Every sound note in order, and what was wrong with other lines."""

    notes: tuple[Note, ...]
    faults: tuple[str, ...]


def path_of(store: Path) -> Path:
    """Return where the journal of a store is."""
    return store.with_name(f"{store.name}.journal")


def key_of(form: str, kind: Kind, listing_id: str, content: Mapping[str, Any]) -> str:
    """Return the key of what a form says: the same form sent again is the same, changed and sent again it is not."""
    told = json.dumps([form, kind, listing_id, content], sort_keys=True, default=str)
    return hashlib.sha256(told.encode("utf-8", "replace")).hexdigest()[:32]


def add(store: Path, note: Note) -> bool:
    """Write a note and see it on the disk; return False where the journal has it already.

    Raises:
        TriageError: It can't be written, or somebody else holds the journal.
    """
    line = _line(note)
    if len(line) > MOST_BYTES:
        fail(str(path_of(store)), f"a note of {len(line)} bytes", f"at most {MOST_BYTES}; nothing was noted")
    with _locked(store) as path:
        held = path.read_bytes() if path.exists() else b""
        if any(note.key == one.key for one in _read(held, path).notes):
            return False
        is_new = not path.exists()
        # A line that a crash cut short ends here, so that it spoils no other.
        lead = b"" if not held or held.endswith(b"\n") else b"\n"
        with private(), path.open("ab") as stream:
            stream.write(lead + line)
            stream.flush()
            os.fsync(stream.fileno())
        if is_new:
            _sync_folder(path.parent)
    return True


def read(store: Path) -> Journal:
    """Return the notes of a store's journal; a line that is torn or changed is told and left out."""
    if not path_of(store).exists():
        return Journal((), ())
    with _locked(store) as path:
        held = path.read_bytes()
    return _read(held, path)


def forget(store: Path, listings: Collection[str]) -> int:
    """Take out every note on some listings for good, and every line that can't be read; return how many lines went."""
    if not path_of(store).exists():
        return 0
    with _locked(store) as path, private():
        lines = path.read_bytes().splitlines(keepends=True)
        kept = [line for line in lines if (note := _note(line)) is not None and note.listing_id not in listings]
        fresh = copies.fresh_of(path)
        fresh.write_bytes(b"".join(kept))
        copies.put(fresh, path)
    return len(lines) - len(kept)


def _read(held: bytes, path: Path) -> Journal:
    notes: dict[str, Note] = {}
    faults = []
    for number, line in enumerate(held.split(b"\n"), 1):
        if not line:
            continue
        note = _note(line)
        if note is None:
            faults.append(f"{path}:{number}: cut short or changed ({len(line)} bytes); left out")
        else:
            notes.setdefault(note.key, note)
    return Journal(tuple(notes.values()), tuple(faults))


def _line(note: Note) -> bytes:
    told = {
        "key": note.key, "kind": note.kind, "listing": note.listing_id, "on": note.on.isoformat(),
        "at": note.written_at.isoformat(), "content": dict(note.content),
    }  # fmt: skip
    return json.dumps({"sum": _sum(told), "note": told}).encode("ascii") + b"\n"


@lru_cache(LINES)
def _note(line: bytes) -> Note | None:
    """Return the note of a line; None where it is not what was written."""
    try:
        held = json.loads(line)
        told = held["note"]
        if held["sum"] != _sum(told) or told["kind"] not in KINDS:
            return None
        return Note(
            told["key"], told["kind"], told["listing"], date.fromisoformat(told["on"]), told["content"],
            datetime.fromisoformat(told["at"]),
        )  # fmt: skip
    except (ValueError, KeyError, TypeError):
        return None


def _sum(told: object) -> str:
    return hashlib.sha256(json.dumps(told, sort_keys=True).encode("ascii")).hexdigest()[:16]


@contextmanager
def _locked(store: Path) -> Iterator[Path]:
    path = path_of(store)
    lock = FileLock(path.with_name(f"{path.name}.lock"), mode=0o600)
    try:
        with lock.acquire(timeout=WAIT_SECONDS):
            yield path
    except Timeout:
        fail(str(path), f"held by another program for {WAIT_SECONDS:.0f} s", "the same again later", STORE_TROUBLE)


def _sync_folder(folder: Path) -> None:
    if os.name == "posix":  # elsewhere a folder can't be opened
        place = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(place)
        finally:
            os.close(place)


def now() -> datetime:
    """Return the time a note is written."""
    return datetime.now(UTC).replace(microsecond=0)
