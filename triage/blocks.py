"""Work on blocks of rows, two at a time, results in their order."""

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from itertools import chain, islice
from typing import TypeVar

CORES = 2

Block = TypeVar("Block")
Result = TypeVar("Result")


def in_order(
    work: Callable[[Block], Result], blocks: Iterable[Block], cores: int = CORES, few: bool = True
) -> Iterator[Result]:
    """Yield what ``work`` makes of each block, in the blocks' order.

    NumPy, Polars and DuckDB work outside the interpreter's lock, so blocks are worked on while the next one is made
    and a result is used; whichever is done first, they come back in their order. Blocks are made, and results used,
    in the caller's thread: a stage whose blocks are read from the store and whose results go into it needs no lock.

    Args:
        cores: How many blocks are worked on at once.
        few: Whether there may well be one block alone, which is then worked on in the caller's thread: another would
            take longer to begin than a single pair takes. It is known only when a second one could have been made.
    """
    blocks = iter(blocks)
    first = list(islice(blocks, 2)) if few else []
    if few and len(first) < 2:
        yield from map(work, first)
        return
    waiting: deque[Future[Result]] = deque()
    with ThreadPoolExecutor(cores) as threads:
        for block in chain(first, blocks):
            waiting.append(threads.submit(work, block))
            if len(waiting) > cores:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()


def slices(count: int, most: int) -> Iterator[slice]:
    """Yield the rows 0 to ``count`` in slices of at most ``most``."""
    for start in range(0, count, most):
        yield slice(start, min(start + most, count))
