"""A folder of files that appears whole or not at all."""

import ctypes
import os
import shutil
import sys
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from filelock import FileLock, Timeout

from triage.blocks import in_order
from triage.errors import STORE_TROUBLE, fail

Content = str | bytes | Iterable[bytes]

# From linux/fcntl.h and linux/fs.h: paths are relative to the working folder; the two names change places.
AT_FDCWD, RENAME_EXCHANGE = -100, 2

# Seconds. A report takes two, and some fifteen of a million verdicts; whoever holds it for longer hangs.
WAIT = 60.0


@contextmanager
def publishing(out: Path) -> Iterator[None]:
    """Hold a folder of reports: nights of several stores may share one, and ``write_whole`` has one place to work in.

    Args:
        out: Made when missing; the lock in it stays.

    Raises:
        TriageError: Another night has held it for a minute.
    """
    out.mkdir(parents=True, exist_ok=True)
    try:
        with FileLock(out / ".lock", timeout=WAIT):
            yield
    except Timeout:
        expected = "one that ends: stop it, then the same command again; the store has the night already"
        fail(str(out), f"another night has been publishing here for {WAIT:.0f} seconds", expected, STORE_TROUBLE)


def write_whole(folder: Path, files: Mapping[str, Content] | Iterable[tuple[str, Content]]) -> None:
    """Write a folder beside its place and move it there in one step, over what stood there before.

    Whenever the program is killed, the folder's name holds the old files or the new ones, never some of each. Where
    the system can't let two folders change places (anything but Linux), a kill between the two moves may leave none;
    the next run puts the old one back. Two at once in one parent folder want ``publishing`` around them.

    Args:
        folder: Where the files shall be; its parent is made when missing.
        files: Text or bytes by file name; what is longer than memory should hold comes in pieces. As pairs, files
            may be made when they are asked for: the ones before are written meanwhile.
    """
    pairs = files.items() if isinstance(files, Mapping) else files
    folder.parent.mkdir(parents=True, exist_ok=True)
    fresh, old = (folder.with_name(f".{folder.name}.{word}") for word in ("fresh", "old"))
    # A run that was ended between the two steps of a swap has left the old folder aside.
    if old.exists() and not folder.exists():
        os.replace(old, folder)
    for leftover in (fresh, old):
        shutil.rmtree(leftover, ignore_errors=True)
    fresh.mkdir()
    try:
        # What comes in pieces is made while it is written, of each file by a thread of its own.
        for _ in in_order(lambda file: _write(fresh / file[0], file[1]), pairs):
            pass
        swap(fresh, folder, old)
    finally:
        shutil.rmtree(fresh, ignore_errors=True)
    shutil.rmtree(old, ignore_errors=True)


def write_file(path: Path, text: str) -> None:
    """Write one file beside its place and move it there in one step."""
    path.parent.mkdir(parents=True, exist_ok=True)
    fresh = path.with_name(f".{path.name}.fresh")
    try:
        _write(fresh, text)
        os.replace(fresh, path)
    finally:
        fresh.unlink(missing_ok=True)


def _write(path: Path, content: Content) -> None:
    # On disk before the folder gets its name: after a power cut a name must not lead to empty files.
    with path.open("wb") as stream:
        for piece in (content,) if isinstance(content, str | bytes) else content:
            stream.write(piece.encode() if isinstance(piece, str) else piece)
        stream.flush()
        os.fsync(stream.fileno())


def swap(fresh: Path, folder: Path, old: Path) -> None:
    """Give a folder another's name; what had it is then called ``fresh`` or ``old``, or where it was on trouble."""
    if folder.exists() and _exchange(fresh, folder):
        return
    # A folder that is not empty can't be replaced, so the old one steps aside and comes back on trouble.
    if folder.exists():
        os.replace(folder, old)
    try:
        os.replace(fresh, folder)
    except OSError:
        if old.exists():
            os.replace(old, folder)
        raise


def _exchange(one: Path, other: Path) -> bool:
    """Let two folders change places in one step; return False where the system can't."""
    if sys.platform != "linux":
        return False
    rename = getattr(ctypes.CDLL(None, use_errno=True), "renameat2", None)
    return rename is not None and rename(AT_FDCWD, os.fsencode(one), AT_FDCWD, os.fsencode(other), RENAME_EXCHANGE) == 0
