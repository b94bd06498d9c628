"""The cheapest set of repairs for every state of a pair's parts, by construction and buyer."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt

from triage.catalogue.buyers import Buyer
from triage.catalogue.repairs import Repair
from triage.verdict.states import PARTS, STATES, Array, Flags

MOST_REPAIRS = 3
NO_SET = -1
MASKS = np.arange(STATES)


@dataclass(frozen=True)
class Mending:
    """For one construction and buyer, per state: cost and what is left unfit.

    Attributes:
        bears: Load-bearing parts, as a state.
        sets: The sets of repairs, as ids.
        full, full_cost: Cheapest set that makes every unfit part fit, index into ``sets`` or -1.
        least, least_cost: Cheapest set that makes every load-bearing part fit.
        left: Parts that ``least`` leaves unfit, as a state.
        keeps: Per set: nothing original is lost.
    """

    bears: int
    sets: tuple[tuple[str, ...], ...]
    full: npt.NDArray[np.int64]
    full_cost: Array
    least: npt.NDArray[np.int64]
    least_cost: Array
    left: npt.NDArray[np.int64]
    keeps: Flags


def mask_of(parts: Sequence[str]) -> int:
    """Return parts as a state in which they are unfit."""
    return sum(1 << PARTS.index(part) for part in parts)


def repair_cost(repair: Repair, buyer: Buyer, end: int = 1) -> float:
    """Return what a repair costs a buyer, minor units: paid, or done at home when that is cheaper.

    Args:
        end: 0, 1, 2 for the lo, mid and hi figure.
    """
    paid = repair.cost_minor[end]
    if buyer.does_own_repairs and repair.diy_cost_minor is not None:
        return min(paid, repair.diy_cost_minor[end] + repair.hours[end] * buyer.hour_minor)
    return paid


def possible(repair: Repair, materials: Mapping[str, str], buyer: Buyer) -> bool:
    """Return whether a buyer would have a repair done on a construction.

    Args:
        materials: Part to material keys joined by ``;``, empty where there is no such part.
    """

    def has(part: str, keys: Sequence[str]) -> bool:
        return not set(keys).isdisjoint(materials.get(part, "").split(";"))

    return (
        repair.allowed_by(buyer.repair_tolerance)
        and all(has(part, keys) for part, keys in repair.only_if.items())
        and not any(has(part, keys) for part, keys in repair.not_if.items())
    )


def mend(repairs: Sequence[Repair], bears: int, buyer: Buyer, end: int = 1) -> Mending:
    """Return the cheapest repairs for each of the 256 states.

    A set of up to three repairs will do when it covers the parts and when no part that it needs fit
    is left unfit: no regluing onto rotten foam.

    Args:
        repairs: Those that are possible.
        bears: Load-bearing parts, as a state.
        end: 0, 1, 2 for what the repairs cost at least, in the middle and at most.
    """
    groups = [(), *(group for size in range(1, MOST_REPAIRS + 1) for group in combinations(repairs, size))]
    covers = np.array([_union(mask_of(r.covers) for r in group) for group in groups])
    needs = np.array([_union(mask_of(r.needs_fit) for r in group) for group in groups])
    cost = np.array([sum(repair_cost(r, buyer, end) for r in group) for group in groups], dtype=np.float64)
    left = MASKS[:, None] & ~covers
    holds = (left & needs) == 0
    full, full_cost = _cheapest(np.where(holds & (left == 0), cost, np.inf))
    least, least_cost = _cheapest(np.where(holds & ((left & bears) == 0), cost, np.inf))
    return Mending(
        bears,
        tuple(tuple(repair.id for repair in group) for group in groups),
        full,
        full_cost,
        least,
        least_cost,
        MASKS & ~covers[np.maximum(least, 0)],
        np.array([all(repair.keeps_original for repair in group) for group in groups]),
    )


def _union(masks: object) -> int:
    total = 0
    for mask in masks:  # type: ignore[attr-defined]
        total |= mask
    return total


def _cheapest(cost: Array) -> tuple[npt.NDArray[np.int64], Array]:
    index = cost.argmin(axis=1)
    least = cost.min(axis=1)
    return np.where(np.isfinite(least), index, NO_SET), least
