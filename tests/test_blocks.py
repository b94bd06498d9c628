"""Blocks come back in their order, whichever is done first; the caller's thread makes them and uses the results."""

import random
import threading
import time
from collections.abc import Iterator

import pytest

from triage.blocks import in_order

BLOCKS = 40


@pytest.mark.parametrize("cores", [1, 2, 3])
@pytest.mark.parametrize("few", [True, False])
def test_results_come_in_the_order_of_the_blocks_whichever_is_done_first(cores: int, few: bool):
    pauses = random.Random(5).choices([0.0, 0.001, 0.004], k=BLOCKS)
    at_work, most = 0, 0
    lock = threading.Lock()

    def work(block: int) -> tuple[int, threading.Thread]:
        nonlocal at_work, most
        with lock:
            at_work += 1
            most = max(most, at_work)
        time.sleep(pauses[block])
        with lock:
            at_work -= 1
        return block, threading.current_thread()

    made: list[threading.Thread] = []

    def blocks() -> Iterator[int]:
        for block in range(BLOCKS):
            made.append(threading.current_thread())
            yield block

    found = list(in_order(work, blocks(), cores, few))
    assert [block for block, _ in found] == list(range(BLOCKS))
    assert set(made) == {threading.current_thread()}
    assert threading.current_thread() not in {thread for _, thread in found}
    assert most == cores


def test_of_many_blocks_no_more_are_made_than_are_worked_on_used_and_wait():
    made = []

    def blocks() -> Iterator[int]:
        for block in range(BLOCKS):
            made.append(block)
            yield block

    for used, _ in enumerate(in_order(lambda block: block, blocks(), 2), start=1):
        assert len(made) <= used + 3


def test_a_block_alone_is_worked_on_in_the_callers_thread_and_none_gives_none():
    alone = in_order(lambda _: threading.current_thread(), iter([1]))
    assert list(alone) == [threading.current_thread()]
    assert list(in_order(str, [])) == list(in_order(str, [], few=False)) == []


def test_a_fault_is_the_callers_and_no_more_is_begun_than_what_was_next():
    begun = []

    def work(block: int) -> int:
        begun.append(block)
        time.sleep(0.01)
        if block == 4:
            raise ValueError("block 4")
        return block

    with pytest.raises(ValueError, match="block 4"):
        list(in_order(work, range(BLOCKS), 1))
    # The thread takes the next block while the caller learns of the fault.
    assert begun in ([0, 1, 2, 3, 4], [0, 1, 2, 3, 4, 5])


def test_whoever_stops_waits_for_what_has_begun_and_for_no_more():
    begun, go_on = [], threading.Event()

    def work(block: int) -> int:
        begun.append(block)
        if block:
            go_on.wait(10)
        return block

    results = in_order(work, range(BLOCKS), 1)
    assert next(results) == 0
    while begun != [0, 1]:
        time.sleep(0.001)
    threading.Timer(0.05, go_on.set).start()
    results.close()
    time.sleep(0.05)
    assert begun == [0, 1]
