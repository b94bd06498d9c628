"""Work on few rows inside a step of Polars: the same results and faults, on the thread that asked for it."""

import threading

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from triage.desk.inline import inline

ROWS = pl.DataFrame({"key": ["b", "a", "c", "a"], "number": [1, 2, 3, 4]})


def worked(rows: pl.DataFrame, most: int) -> pl.DataFrame:
    sums = rows.group_by("key").agg(pl.col("number").sum().alias("total"))
    return rows.join(sums, on="key", maintain_order="left").filter(pl.col("total") <= most).sort("key", "number")


def test_the_result_is_that_of_the_work():
    assert_frame_equal(inline(worked)(ROWS, most=6), worked(ROWS, most=6))
    assert inline(worked)(ROWS, most=0).is_empty()


def test_work_inside_work_is_done_once_each():
    done: list[int] = []

    @inline
    def inner(number: int) -> int:
        done.append(number)
        return number + 1

    assert inline(lambda: inner(1) + inner(2))() == 5
    assert done == [1, 2]


def test_it_runs_on_the_thread_that_asked_for_it():
    # A lock that this thread holds is held in the work too.
    assert inline(threading.get_ident)() == threading.get_ident()


@pytest.mark.parametrize("fault", [KeyError("nobody"), pl.exceptions.ColumnNotFoundError("none"), KeyboardInterrupt()])
def test_a_fault_is_the_one_that_was_raised(fault):
    def fails() -> None:
        raise fault

    with pytest.raises(type(fault)) as told:
        inline(fails)()
    assert told.value is fault
