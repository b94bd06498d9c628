"""What is odd about rules that all may run: seen in the rules alone, and in what they do to a store's listings."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

import numpy as np
import numpy.typing as npt
import polars as pl

from triage.rules.expressions import Compiled
from triage.rules.findings import fired_by

Severity = Literal["warning", "hint"]
# So many listings before what they have in common is said of a rule (our judgement).
FEWEST_TOGETHER = 5
FEWEST_LISTINGS = 100
MOST_DB = 15.0
AGEING_CHANCE = "_p"


@dataclass(frozen=True, order=True)
class Remark:
    """One oddity: where, how bad, what was found and what to do. A fault that stops is a Problem instead."""

    place: str
    severity: Severity
    found: str
    advice: str

    def __str__(self) -> str:
        return f"{self.place}: {self.severity}: {self.found}; {self.advice}"


def lint(facts: pl.DataFrame, compiled: Sequence[Compiled]) -> list[Remark]:
    """Return what is odd about the rules, by file and line.

    Args:
        facts: Facts of a store; without rows only the rules themselves are looked at.

    Raises:
        TriageError: Rules took more time or memory than they may.
    """
    remarks = [remark for one in compiled for remark in _alone(one)]
    remarks.extend(_twins(compiled))
    if facts.height and compiled:
        fired = fired_by(facts, compiled).astype(np.float32)
        remarks.extend(_idle(compiled, fired))
        remarks.extend(_together(compiled, fired))
    return sorted(set(remarks))


def _alone(one: Compiled) -> Iterator[Remark]:
    rule = one.rule
    if isinstance(rule.weight, float | int) and rule.weight == 0:
        yield Remark(one.place, "warning", f"{rule.id} has a weight of 0", "give it one, or take it away")
    if isinstance(rule.weight, float | int) and abs(rule.weight) > MOST_DB:
        yield Remark(one.place, "warning", f"{rule.id} weighs {rule.weight:g} decibans",
                     f"more than {MOST_DB:g} is odds of 30 and more from a rule of thumb")  # fmt: skip
    unseen = sorted(set(one.because.facts) - set(one.when.facts))
    if unseen:
        yield Remark(one.place, "hint", f"{rule.id} shows {', '.join(unseen)}, which its when doesn't look at",
                     "where it is not known the reason has a gap")  # fmt: skip
    leaning = sorted(name for name in one.facts if name.endswith(AGEING_CHANCE))
    if leaning:
        yield Remark(one.place, "warning", f"{rule.id} looks at {', '.join(leaning)}",
                     "that is the ageing the rule comes on top of: it would count twice")  # fmt: skip


def _twins(compiled: Sequence[Compiled]) -> Iterator[Remark]:
    """Yield rules that say the same of the same part, by the expression itself."""
    for first, second in combinations(compiled, 2):
        if first.when.sql != second.when.sql or first.rule.part != second.rule.part:
            continue
        names = f"{second.rule.id} has the when and the part of {first.rule.id}"
        if first.weight.sql == second.weight.sql:
            yield Remark(second.place, "warning", f"{names}, and its weight", "it would count twice: keep one")
        else:
            yield Remark(second.place, "warning", f"{names} with another weight", "make one rule of the two")


def _idle(compiled: Sequence[Compiled], fired: npt.NDArray[np.float32]) -> Iterator[Remark]:
    rows = len(fired)
    if rows < FEWEST_LISTINGS:
        return
    for one, count in zip(compiled, fired.sum(axis=0), strict=True):
        if count == 0:
            yield Remark(one.place, "hint", f"{one.rule.id} fires on none of {rows} candidates",
                         "look whether its facts are ever known")  # fmt: skip
        elif count == rows:
            yield Remark(one.place, "warning", f"{one.rule.id} fires on all of {rows} candidates",
                         "what holds for all tells nothing of one")  # fmt: skip


def _together(compiled: Sequence[Compiled], fired: npt.NDArray[np.float32]) -> Iterator[Remark]:
    """Yield couples of one part that fire on the same candidates, every time."""
    both, own = fired.T @ fired, fired.sum(axis=0)
    for first, second in combinations(range(len(compiled)), 2):
        one, other = compiled[first], compiled[second]
        count = int(both[first, second])
        same_place = one.rule.part == other.rule.part or "whole" in (one.rule.part, other.rule.part)
        if count < FEWEST_TOGETHER or count < max(own[first], own[second]) or not same_place:
            continue
        if one.rule.group is not None and one.rule.group == other.rule.group and one.rule.part == other.rule.part:
            continue
        names = f"{other.rule.id} and {one.rule.id} fire on the same {count} candidates"
        if _towards_fit(one) is not _towards_fit(other):
            yield Remark(
                other.place, "warning", f"{names} and contradict each other", "say in when which of them holds"
            )
        else:
            yield Remark(other.place, "warning", names, "if they say the same, give them one group")


def _towards_fit(one: Compiled) -> bool:
    """Whether a rule speaks for the pair; a computed weight does when it starts with a minus."""
    return str(one.rule.weight).lstrip().startswith("-")
