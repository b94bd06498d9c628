"""Which files a night reads: folders walked in order, dates taken from paths, what is no feed left out."""

import hashlib
import os
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from triage.errors import USAGE, Problem, TriageError
from triage.ingest.rows import FileError

_DATE = re.compile(r"(?<!\d)(\d{4})-(\d{2})-(\d{2})(?!\d)")
_NO_FEEDS = {"readme.md"}


@dataclass(frozen=True)
class Found:
    """One file to read: where it is, how it is shown, the night it was saved, what is wrong with it already."""

    path: Path
    shown: str
    seen_on: date
    fault: FileError | None = None


def find(paths: Sequence[Path], as_of: date) -> list[Found]:
    """Return the files of the given files and folders, by date and then by path, each once.

    Raises:
        TriageError: A path does not exist, or nothing in the paths is an export; every such path is named.
    """
    lacking = [path for path in paths if not os.path.lexists(path)]
    if lacking:
        problems = [Problem(str(path), "no such file or folder", "an export or a folder") for path in lacking]
        raise TriageError(problems, USAGE)
    found: dict[str, Found] = {}
    for given in paths:
        walk = _in_folder(given, as_of) if given.is_dir() else iter([_file(given, printable(given), as_of)])
        for one in walk:
            found.setdefault(os.path.abspath(one.path), one)
    if paths and not found:
        raise TriageError([Problem(str(path), "no export in it", "at least one file") for path in paths], USAGE)
    return sorted(found.values(), key=lambda one: (one.seen_on, one.shown, str(one.path)))


def date_in(path: Path) -> date | None:
    """Return the date a path carries as YYYY-MM-DD; the component nearest to the file's name wins."""
    for part in reversed(path.parts):
        for year, month, day in reversed(_DATE.findall(part)):
            try:
                return date(int(year), int(month), int(day))
            except ValueError:
                continue
    return None


def printable(path: Path) -> str:
    """Return a path as text that can be stored and shown, whatever bytes its name is made of."""
    text = path.as_posix().encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")
    return "".join(c if c.isprintable() else f"\\x{ord(c):02x}" for c in text)


def sha256_of(path: Path) -> str:
    """Return the SHA-256 of a file's bytes, in hexadecimal.

    Raises:
        FileError: It can't be read.
    """
    try:
        with path.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError as error:
        raise FileError("unreadable", str(error.strerror or error), "a file that can be read") from error


def size_of(path: Path) -> int:
    """Return how many bytes a file has; 0 for one that can't be asked."""
    try:
        return path.stat().st_size
    except OSError:
        return 0


def head_of(path: Path, size: int) -> bytes:
    """Return the first bytes of a file.

    Raises:
        FileError: It can't be read.
    """
    try:
        with path.open("rb") as stream:
            return stream.read(size)
    except OSError as error:
        raise FileError("unreadable", str(error.strerror or error), "a file that can be read") from error


def _in_folder(folder: Path, as_of: date) -> Iterator[Found]:
    """Yield the files below a folder in order; hidden ones and README.md are no feeds."""
    root = folder.resolve()
    for place, folders, names in os.walk(folder):
        links = [name for name in folders if os.path.islink(os.path.join(place, name))]
        folders[:] = sorted(name for name in folders if not name.startswith(".") and name not in links)
        for name in sorted(names + links):
            if name.startswith(".") or name.lower() in _NO_FEEDS:
                continue
            path = Path(place, name)
            yield _file(path, printable(path.relative_to(folder)), as_of, root)


def _file(path: Path, shown: str, as_of: date, root: Path | None = None) -> Found:
    """Return one file with what can be seen from outside that keeps it from being read."""
    fault = None
    if root is not None and path.is_symlink() and not path.resolve().is_relative_to(root):
        fault = FileError("outside-folder", f"a link to {printable(path.resolve())}", "files inside the folder")
    elif path.is_symlink() and path.is_dir():
        fault = FileError("link-to-folder", f"a link to {printable(path.resolve())}", "a folder or a file")
    elif not path.is_file():
        fault = FileError("no-file", "a socket, pipe, device or dangling link", "a regular file")
    return Found(path, shown, date_in(path) or as_of, fault)
