"""Open a DuckDB file, and turn every fault of it into one line that says what is lost and what to do next."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NoReturn

import duckdb
import polars as pl

from triage.errors import STORE_TROUBLE, fail

Connection = duckdb.DuckDBPyConnection

# Nothing is ever fetched: by default DuckDB would try the network for an extension it lacks.
CONFIG: dict[str, str | bool | int | float | list[str]] = {
    "autoinstall_known_extensions": False,
    "autoload_known_extensions": False,
    "allow_community_extensions": False,
    "python_enable_replacements": False,
}
# A fault of the file or the machine has one of these classes, or the bare base class; a fault of ours never has.
_OF_THE_FILE = (
    duckdb.IOException, duckdb.FatalException, duckdb.SerializationException, duckdb.InternalException,
    duckdb.OutOfMemoryException,
)  # fmt: skip
_IN_TEXT = (
    "IO Error", "FATAL Error", "Serialization Error", "INTERNAL Error", "Out of Memory Error", "orrupt",
    "Failed to commit",
)  # fmt: skip
# What the text of a fault holds -> what was found, what was expected. The first that fits is told.
_KINDS: tuple[tuple[tuple[str, ...], str, str], ...] = (
    (("Conflicting lock", "Could not set lock"), "another program has the store open",
     "one program at a time: close it and run the same command again; nothing was changed"),
    (("newer version of DuckDB", "Trying to read a database file with version"),
     "written by a newer DuckDB than this one",
     "this program with that DuckDB or a newer one; nothing was changed"),
    (("No space left", "Disk quota", "File too large"), "no room on the disk",
     "free space, then run the same command again; what was committed is kept, nothing is half-written"),
    (("Read-only file system", "Permission denied", "read-only mode"), "may not be written",
     "a folder and a file this user may write to; nothing was changed"),
    (("Out of Memory",), "ran out of memory", "more memory, then the same command again; what was committed is kept"),
    ((" WAL ", "WAL file"), "its log (the .wal file beside it) can't be read",
     "'triage store recover' keeps what can be read of the log; lost is at most what the last run, which did not "
     "end, had committed: the next night reads its exports again, answers given in it have to be given again"),
)  # fmt: skip
_DAMAGED = (
    "damaged",
    "'triage store restore' to bring back the newest sound copy; lost is what was recorded after it: exports are read "
    "again by the next night, answers have to be given again",
)


def log_of(path: Path) -> Path:
    """Return where DuckDB keeps what was committed and not yet moved into the file."""
    return path.with_name(f"{path.name}.wal")


def open_file(path: Path | None, read_only: bool = False) -> Connection:
    """Return a connection to a file, or to an empty database in memory.

    Raises:
        TriageError: It can't be opened; the message names the next step.
    """
    place = ":memory:" if path is None else str(path)
    try:
        connection = duckdb.connect(place, read_only=read_only, config=CONFIG)
        connection.execute("SET enable_progress_bar = false")
    except (duckdb.Error, UnicodeDecodeError) as error:
        tell(place, error)
    return connection


@contextmanager
def faults_told(path: Path) -> Iterator[None]:
    """Tell a fault of the file or the disk that shows while the store is in use; let bugs through."""
    try:
        yield
    except duckdb.Error as error:
        if (
            isinstance(error, _OF_THE_FILE)
            or type(error) is duckdb.Error
            or any(word in str(error) for word in _IN_TEXT)
        ):
            tell(str(path), error)
        raise
    except pl.exceptions.ComputeError as error:
        # What DuckDB meets in the middle of a stream of rows reaches us by way of Polars, its class in the text.
        if any(word in str(error) for word in _IN_TEXT):
            tell(str(path), error)
        raise


def tell(place: str, error: BaseException) -> NoReturn:
    """Raise the one line for a fault of a store."""
    text = str(error)
    shown = text.splitlines()[0][:300] if text else type(error).__name__
    for words, found, expected in _KINDS:
        if any(word in text for word in words):
            fail(place, f"{found} ({shown})", expected, STORE_TROUBLE)
    fail(place, f"{_DAMAGED[0]} ({shown})", _DAMAGED[1], STORE_TROUBLE)
