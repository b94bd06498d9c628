"""A bar for long work, on a terminal's error stream; elsewhere nothing is shown."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import count

Step = Callable[[str], None]


def silent(_: str) -> None:
    """Show nothing."""


@contextmanager
def steps(total: int, *, quiet: bool = False) -> Iterator[Step]:
    """Yield a function that is told the name of each step as it begins.

    Args:
        total: Number of steps.
        quiet: Show nothing on a terminal either.
    """
    if quiet or not sys.stderr.isatty():
        yield silent
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    name = TextColumn("{task.description:<28}", markup=False)
    with Progress(
        name, BarColumn(), MofNCompleteColumn(), TimeElapsedColumn(), console=Console(stderr=True), transient=True
    ) as shown:
        task = shown.add_task("", total=total)
        begun = count()

        def step(name: str) -> None:
            # At once: a step may be over before the bar is drawn again by itself.
            shown.update(task, completed=next(begun), description=name, refresh=True)

        yield step
