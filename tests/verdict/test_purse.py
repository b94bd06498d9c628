"""The set of buys for one budget: against every subset, and against a solver of integer programmes."""

from itertools import combinations

import numpy as np
import polars as pl
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp

from triage.verdict.purse import best_set, numbered_pairs


def whole(values) -> np.ndarray:
    return np.array(values, dtype=np.int64)


def every_subset(spend, gain, pair, purse) -> tuple[int, ...]:
    """Return the best set by trying all: most gain, then least spent, then the earliest buys."""
    best = (0, 0, ())
    for size in range(len(spend) + 1):
        for chosen in combinations(range(len(spend)), size):
            cost, worth = sum(spend[i] for i in chosen), sum(gain[i] for i in chosen)
            allowed = cost <= purse and len({pair[i] for i in chosen}) == size and all(gain[i] > 0 for i in chosen)
            if allowed and (-worth, cost) < (-best[0], best[1]):
                best = (worth, cost, chosen)
    return best[2]


@settings(max_examples=400, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 40), st.integers(-5, 30), st.integers(0, 5)), max_size=9),
    st.integers(0, 120),
)
def test_it_is_the_best_of_all_subsets(buys, purse):
    spend, gain, pair = (whole(column) for column in zip(*buys, strict=True)) if buys else (whole([]),) * 3
    found = best_set(spend, gain, pair, purse)
    best = list(every_subset(spend.tolist(), gain.tolist(), pair.tolist(), purse))
    assert (gain[found].sum(), spend[found].sum()) == (gain[best].sum(), spend[best].sum())
    assert spend[found].sum() <= purse
    assert len(set(pair[found])) == len(found)


def test_ties_go_to_the_cheapest_and_then_to_the_earliest():
    assert best_set(whole([10, 9, 9, 9]), whole([5, 5, 5, 5]), whole([0, 1, 2, 3]), 9).tolist() == [1]
    # Two of four alike fit: the first two, whatever the order of the pairs' numbers.
    assert best_set(whole([5] * 4), whole([3] * 4), whole([3, 2, 1, 0]), 10).tolist() == [0, 1]
    # Of two listings of one pair, alike, the first.
    assert best_set(whole([5, 5]), whole([3, 3]), whole([7, 7]), 10).tolist() == [0]


def test_greed_would_miss_it():
    # By gain a unit the first comes first and blocks the two that together bring more.
    assert best_set(whole([60, 50, 50]), whole([66, 50, 50]), whole([0, 1, 2]), 100).tolist() == [1, 2]


def test_a_hundred_buys_in_cents_bring_what_a_solver_finds():
    for seed in range(6):
        draw = np.random.default_rng(seed)
        spend = draw.integers(1500, 30_000, 100)
        gain = draw.integers(500, 9000, 100) if seed % 2 else spend // 4 + draw.integers(0, 300, 100)
        pair = draw.integers(0, 80, 100)
        purse = int(draw.integers(20_000, 400_000))
        found = best_set(spend, gain, pair, purse)
        of_pair = (pair[None, :] == np.unique(pair)[:, None]).astype(float)
        solved = milp(
            -gain.astype(float), integrality=np.ones(100), bounds=Bounds(0, 1),
            constraints=[LinearConstraint(spend[None, :], ub=purse), LinearConstraint(of_pair, ub=1)],
            options={"mip_rel_gap": 0.0},
        )  # fmt: skip
        assert solved.success
        assert gain[found].sum() == round(-solved.fun)
        assert spend[found].sum() <= purse
        assert len(set(pair[found])) == len(found)


def test_a_twins_twin_is_the_same_pair():
    couples = [("a", "b"), ("b", "a"), ("b", "c"), ("c", "b"), ("x", "y"), ("y", "x")]
    table = pl.DataFrame(couples, schema=["listing_id", "twin_id"], orient="row")
    a, c, d, x = numbered_pairs(pl.Series(["a", "c", "d", "x"]), table).tolist()
    assert a == c
    assert len({a, d, x}) == 3
    assert len(set(numbered_pairs(pl.Series(["p", "q"]), table.clear()).tolist())) == 2
