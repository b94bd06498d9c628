"""Work on the next parts while the caller writes the last one."""

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TypeVar

Part = TypeVar("Part")
Done = TypeVar("Done")

CORES = 2


def ahead(work: Callable[[Part], Done], parts: Iterable[Part]) -> Iterator[Done]:
    """Yield what ``work`` returns for each part, in their order; most of it must run without the interpreter's lock.

    Args:
        work: Called in other threads, ``CORES`` at a time; a part more than that is held at most.
        parts: Taken as they are needed.
    """
    waiting: deque[Future[Done]] = deque()
    with ThreadPoolExecutor(CORES) as cores:
        for part in parts:
            waiting.append(cores.submit(work, part))
            if len(waiting) > CORES:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()
