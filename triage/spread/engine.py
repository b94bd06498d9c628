"""What runs tasks, wherever that is: the one seam between the night and an engine for many machines."""

from collections.abc import Callable, Sequence
from typing import Protocol, TypeVar

Task = TypeVar("Task")
Result = TypeVar("Result")


class Engine(Protocol):
    """Runs one function on many tasks."""

    @property
    def workers(self) -> int:
        """Return how many tasks it works on at once."""
        ...

    def map(self, work: Callable[[Task], Result], tasks: Sequence[Task]) -> list[Result]:
        """Return what ``work`` makes of each task, in the tasks' order.

        A task may be done twice, also at the same time: its worker died, or was only thought to have. So ``work`` is
        a function of its task alone, found by its name, and puts what it writes in place in one step.
        """
        ...


class Here:
    """This process, one task after the other."""

    workers = 1

    def map(self, work: Callable[[Task], Result], tasks: Sequence[Task]) -> list[Result]:
        """Return what ``work`` makes of each task."""
        return [work(task) for task in tasks]
