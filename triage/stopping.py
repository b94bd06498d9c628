"""SIGTERM and SIGINT end a run the way a fault does: transactions are undone, the store is closed, one line is said."""

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType


class Stopped(BaseException):
    """A signal asked the run to end. No ``except Exception`` of a library may take it for a fault."""


class Asked:
    """The signal that asked, once one has."""

    number: int | None = None

    @property
    def said(self) -> str:
        """Return the one line."""
        name = signal.Signals(self.number or signal.SIGTERM).name
        return f"stopped by {name}: what was committed is kept, nothing is half-written; run the same command again"


@contextmanager
def stoppable() -> Iterator[Asked]:
    """Turn the first SIGTERM or SIGINT into ``Stopped``; a second one ends the process at once.

    DuckDB asks for signals while a query runs and raises a RuntimeError of its own, so ask ``Asked.number`` as well. A
    library that swallows ``Stopped`` makes the run go on to its end, which is as good.
    """
    asked = Asked()

    def stop(number: int, frame: FrameType | None) -> None:
        asked.number = number
        for one in before:
            signal.signal(one, signal.SIG_DFL)
        raise Stopped

    before = {one: signal.signal(one, stop) for one in (signal.SIGTERM, signal.SIGINT)}
    try:
        yield asked
    finally:
        for one, handler in before.items():
            signal.signal(one, handler)
