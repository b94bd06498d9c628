"""One user of a store at a time: a lock beside it that names its holder."""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

from filelock import FileLock, Timeout

from triage.errors import STORE_TROUBLE, fail


@contextmanager
def held(path: Path) -> Iterator[None]:
    """Hold the lock of a store; it goes with the process, however that ends.

    Raises:
        TriageError: Another run holds it, or none can be made there.
    """
    if not path.parent.is_dir():
        fail(f"--store {path}", f"no folder {path.parent}", "a file in a folder that exists")
    place = Path(f"{path}.lock")
    lock = FileLock(place, mode=0o600)
    try:
        lock.acquire(timeout=0)
        place.write_text(_me(), "utf-8")
    except Timeout:
        fail(
            str(path),
            f"another run holds the store: {_holder(place)}",
            "one run at a time: wait for it to end; nothing was changed",
            STORE_TROUBLE,
        )
    except OSError as error:
        lock.release()
        fail(str(place), str(error.strerror or error), "a folder this user may write to", STORE_TROUBLE)
    try:
        yield
    finally:
        lock.release()


def _me() -> str:
    command = " ".join(["triage", *sys.argv[1:2]])
    return f"{command}, process {os.getpid()}, since {datetime.now(UTC):%Y-%m-%d %H:%M:%S} UTC"


def _holder(place: Path) -> str:
    try:
        return place.read_text("utf-8", "replace")[:200].strip() or "it has not said which"
    except OSError:
        return "it can't be asked which"


# What the user's own mask was, the innermost last; a process has only one mask.
_USUAL: list[int] = []


@contextmanager
def private() -> Iterator[None]:
    """Make every new file readable by its owner alone: the store names sellers and holds what they answered."""
    _USUAL.append(os.umask(0o077))
    try:
        yield
    finally:
        os.umask(_USUAL.pop())


@contextmanager
def usual() -> Iterator[None]:
    """Within ``private``, make files with the modes the user asked for: reports are for whom they like."""
    if not _USUAL:
        yield
        return
    inner = os.umask(_USUAL[-1])
    try:
        yield
    finally:
        os.umask(inner)
