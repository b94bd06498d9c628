"""Work on blocks of rows, two at a time, results in their order."""

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from itertools import chain, islice
from typing import TypeVar

CORES = 2

Block = TypeVar("Block")
Result = TypeVar("Result")


def in_order(work: Callable[[Block], Result], blocks: Iterable[Block]) -> Iterator[Result]:
    """Yield what ``work`` makes of each block, in the blocks' order.

    NumPy and Polars work outside the interpreter's lock, so two blocks are worked on while a third
    result is used; whichever is done first, they come back in their order.
    """
    blocks = iter(blocks)
    first = list(islice(blocks, 2))
    if len(first) < 2:
        # A thread would take longer to begin than a single pair takes.
        yield from map(work, first)
        return
    waiting: deque[Future[Result]] = deque()
    with ThreadPoolExecutor(CORES) as cores:
        for block in chain(first, blocks):
            waiting.append(cores.submit(work, block))
            if len(waiting) > CORES:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()


def slices(count: int, most: int) -> Iterator[slice]:
    """Yield the rows 0 to ``count`` in slices of at most ``most``."""
    for start in range(0, count, most):
        yield slice(start, min(start + most, count))
