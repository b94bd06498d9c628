"""Many small steps of Polars one after the other, without waking a thread for each."""

from collections.abc import Callable
from functools import wraps
from typing import ParamSpec, TypeVar

import polars as pl

Given = ParamSpec("Given")
Result = TypeVar("Result")


def inline(work: Callable[Given, Result]) -> Callable[Given, Result]:
    """Return a function that does its work inside a step of Polars.

    What runs inside a step Polars does there and then, on one thread: on a few rows it takes a fraction of the time, of
    which ``benchmarks/desk.py`` prints both. On many rows the threads are missed. Nothing but time hangs on it.
    """

    @wraps(work)
    def done(*given: Given.args, **named: Given.kwargs) -> Result:
        results: list[Result] = []
        faults: list[BaseException] = []

        def step(rows: pl.DataFrame) -> pl.DataFrame:
            try:
                results.append(work(*given, **named))
            except BaseException as fault:
                faults.append(fault)
            return rows

        pl.LazyFrame({"row": [0]}).map_batches(step).collect()
        if faults:
            raise faults[0]
        (result,) = results
        return result

    return done
