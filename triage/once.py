"""Work that hangs on the rules alone, done once for them: a page that weighs a pair at every click can't do it anew."""

from collections.abc import Callable
from functools import wraps
from typing import ParamSpec, TypeVar

# Results kept: a page's own rules, and those of what is supposed of one buyer after the other.
KEPT = 8

Given = ParamSpec("Given")
Result = TypeVar("Result")


def once(work: Callable[Given, Result]) -> Callable[Given, Result]:
    """Return a function that keeps its last results and gives them again for the very same objects.

    Sameness is identity, and equality only of text: what rules are made of has no hash, and comparing it would cost
    more than the work. Nobody changes them after they were read.
    """
    kept: list[tuple[tuple[object, ...], Result]] = []

    @wraps(work)
    def again(*given: Given.args, **named: Given.kwargs) -> Result:
        these = (*given, *named.items())
        for those, result in kept:
            if len(those) == len(these) and all(map(_same, those, these)):
                return result
        result = work(*given, **named)
        # Replaced in one step: two threads may both do the work, neither gets half of it.
        kept[:] = [(these, result), *kept[: KEPT - 1]]
        return result

    return again


def _same(one: object, other: object) -> bool:
    return one is other or (isinstance(one, str) and one == other)
