"""A log that can't be read: keep what can be, set the whole of it aside, say how much was lost."""

import os
import shutil
from dataclasses import dataclass
from pathlib import Path

from triage.errors import STORE_TROUBLE, TriageError, fail
from triage.keeping.copies import folder_of, fresh_of, name_next, put, scan
from triage.keeping.opening import log_of, open_file


@dataclass(frozen=True)
class Recovered:
    """How many bytes of the log were kept, of how many, and where the whole of it is now."""

    kept: int
    of: int
    aside: Path


def recover(store: Path) -> Recovered | None:
    """Take over as much of a store's log as can be read; None when nothing was wrong with it.

    A log that is cut anywhere gives what was committed before the cut, so the longest part that opens ends just before
    what is damaged, and halving finds it.

    Raises:
        TriageError: The store itself is damaged; it is as it was.
    """
    log = log_of(store)
    if not log.exists():
        scan(store)
        return None
    whole = log.read_bytes()
    if _opens(store, whole):
        open_file(store).close()
        return None
    if not _opens(store, b""):
        expected = "'triage store restore' to bring back the newest sound copy; both are kept among the copies"
        fail(str(store), "damaged, and not only its log", expected, STORE_TROUBLE)
    good, bad = 0, len(whole)
    while bad - good > 1:
        middle = (good + bad) // 2
        good, bad = (middle, bad) if _opens(store, whole[:middle]) else (good, middle)
    aside = _set_aside(store, log)
    fresh = fresh_of(log)
    fresh.write_bytes(whole[:good])
    put(fresh, log)
    open_file(store).close()
    return Recovered(good, len(whole), aside)


def _opens(store: Path, log: bytes) -> bool:
    """Tell whether a store opens with that log, on a second name of it that is only read."""
    probe = fresh_of(store)
    os.link(store, probe)
    log_of(probe).write_bytes(log)
    try:
        open_file(probe, read_only=True).close()
    except TriageError:
        return False
    finally:
        fresh_of(store)
    return True


def _set_aside(store: Path, log: Path) -> Path:
    """Keep the store as it is now, and its log."""
    folder_of(store).mkdir(mode=0o700, exist_ok=True)
    aside = name_next(store, "unreadable")
    shutil.copyfile(store, aside)
    shutil.copyfile(log, log_of(aside))
    for path in (aside, log_of(aside)):
        path.chmod(0o600)
    return aside
