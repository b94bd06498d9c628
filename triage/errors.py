"""The one exception tree: a fault the user can mend, with every place it was found.

A bad row or value never raises: it becomes a ``reject`` row. A bad rule, table, map, option or
store raises one ``TriageError`` that lists every problem. Anything else is a bug and shows a traceback.
"""

import errno
import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import NoReturn

USAGE = 2
WRONG_RULES = 3
STORE_TROUBLE = 4

# Faults of the disk and of rights, which the user can mend.
OF_THE_DISK = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EROFS, errno.EACCES, errno.EPERM, errno.EIO)
ROOM = "room there and leave to write; then the same command again: what was committed is kept, nothing is half-written"


@dataclass(frozen=True)
class Problem:
    """One fault in something the user wrote: where it is, what was found, what was expected.

    ``place`` is a file and line (``rules/penalties/odd.toml:3``), an option (``--as-of``) or a file.
    """

    place: str
    found: str
    expected: str

    def __str__(self) -> str:
        return f"{self.place}: {self.found}; expected {self.expected}"


class TriageError(Exception):
    """Every problem of one kind, reported together before any data is touched."""

    def __init__(self, problems: Iterable[Problem], exit_code: int = WRONG_RULES) -> None:
        self.problems = tuple(sorted(problems, key=_as_read))
        self.exit_code = exit_code
        super().__init__("\n".join(str(problem) for problem in self.problems))

    def __reduce__(self) -> tuple[type["TriageError"], tuple[tuple[Problem, ...], int]]:
        """Return how it is made again where it is raised in one process and told by another."""
        return type(self), (self.problems, self.exit_code)


def _as_read(problem: Problem) -> tuple[list[str | int], str, str]:
    """Return what problems are ordered by: as a file is read, so that line 84 comes before line 192."""
    pieces = re.split(r"([0-9]+)", problem.place)
    numbered: list[str | int] = [int(piece) if at % 2 else piece for at, piece in enumerate(pieces)]
    return numbered, problem.found, problem.expected


def fail(place: str, found: str, expected: str, exit_code: int = USAGE) -> NoReturn:
    """Raise a ``TriageError`` with a single problem."""
    raise TriageError([Problem(place, found, expected)], exit_code)
