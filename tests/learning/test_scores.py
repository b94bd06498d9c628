"""Scores against reference libraries and published intervals."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binomtest
from sklearn.metrics import brier_score_loss
from sklearn.metrics import log_loss as sklearn_log_loss

from triage.learning.scores import brier, brier_parts, clustered_half, log_loss, wilson

SEEDS = range(5)


def drawn(seed: int, of: int = 400) -> tuple[np.ndarray, np.ndarray]:
    """Return chances, some of them certain, and what was found, that follows them loosely."""
    rng = np.random.default_rng(seed)
    chance = np.concatenate([rng.beta(0.7, 0.7, of), [0.0, 1.0]])
    unfit = (rng.random(of + 2) < chance**1.4).astype(float)
    return chance, unfit


@pytest.mark.parametrize("seed", SEEDS)
def test_brier_score_and_log_loss_are_those_of_scikit_learn(seed):
    chance, unfit = drawn(seed)
    assert brier(chance, unfit) == pytest.approx(brier_score_loss(unfit, chance), abs=1e-12)
    assert log_loss(chance, unfit) == pytest.approx(sklearn_log_loss(unfit, chance), abs=1e-6)


def test_a_certain_chance_that_was_wrong_costs_a_finite_loss_as_in_scikit_learn():
    chance, unfit = np.array([0.0, 1.0, 0.5]), np.array([1.0, 1.0, 0.0])
    assert log_loss(chance, unfit) == pytest.approx(sklearn_log_loss(unfit, chance), rel=1e-9)


@given(
    rows=st.lists(st.tuples(st.floats(0, 1), st.booleans(), st.integers(0, 12)), min_size=1, max_size=60),
)
@settings(max_examples=200, deadline=None)
def test_the_parts_add_up_to_the_brier_score_whatever_the_bins(rows):
    chance, unfit = np.array([row[0] for row in rows]), np.array([float(row[1]) for row in rows])
    parts = brier_parts(chance, unfit, np.array([row[2] for row in rows]))
    assert parts.score == pytest.approx(brier(chance, unfit), abs=1e-12)


@pytest.mark.parametrize("seed", SEEDS)
def test_with_one_chance_a_bin_nothing_is_left_within_as_murphy_has_it(seed):
    chance, unfit = drawn(seed)
    rounded = np.round(chance, 1)
    parts = brier_parts(rounded, unfit, np.round(rounded * 10).astype(np.int64))
    assert parts.within == pytest.approx(0, abs=1e-12)
    assert parts.reliability - parts.resolution + parts.uncertainty == pytest.approx(
        brier_score_loss(unfit, rounded), abs=1e-12
    )
    # Every term from its definition, bin by bin (Murphy 1973), written out another way.
    bins = [unfit[rounded == value] for value in np.unique(rounded)]
    weights = [len(found) / len(unfit) for found in bins]
    off = [(found.mean() - value) ** 2 for found, value in zip(bins, np.unique(rounded), strict=True)]
    apart = [(found.mean() - unfit.mean()) ** 2 for found in bins]
    assert parts.reliability == pytest.approx(np.dot(weights, off), abs=1e-12)
    assert parts.resolution == pytest.approx(np.dot(weights, apart), abs=1e-12)
    assert parts.uncertainty == pytest.approx(np.var(unfit), abs=1e-12)


# R. G. Newcombe, Two-sided confidence intervals for the single proportion, Statistics in Medicine 17:857 (1998),
# table I, method 3 (score without continuity correction); values from memory.
NEWCOMBE = [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)]


@pytest.mark.parametrize(("hits", "of", "low", "high"), NEWCOMBE)
def test_intervals_are_the_published_ones(hits, of, low, high):
    lo, hi = wilson(np.array([float(hits)]), np.array([float(of)]))
    assert (round(lo[0], 4), round(hi[0], 4)) == (low, high)


def test_intervals_are_those_of_scipy_for_every_count_up_to_30():
    counts = [(hits, of) for of in range(1, 31) for hits in range(of + 1)]
    lo, hi = wilson(*(np.array(column, dtype=float) for column in zip(*counts, strict=True)))
    for at, (hits, of) in enumerate(counts):
        expected = binomtest(hits, of).proportion_ci(0.95, method="wilson")
        assert (lo[at], hi[at]) == pytest.approx((expected.low, expected.high), abs=1e-9), (hits, of)


def test_nothing_at_all_leaves_every_share_possible():
    lo, hi = wilson(np.array([0.0]), np.array([0.0]))
    assert (lo[0], hi[0]) == (0.0, 1.0)


def test_the_interval_of_a_mean_covers_what_it_says_though_parts_of_a_pair_go_together():
    """700 made-up stores of 60 pairs: scores of a pair share a shift, as parts share its storage."""
    rng = np.random.default_rng(3)
    pair = np.repeat(np.arange(60), 6)
    covered, naive = 0, 0
    for _ in range(700):
        scores = 0.2 + rng.normal(0, 0.1, 60)[pair] + rng.normal(0, 0.1, len(pair))
        half = clustered_half(scores, pair)
        covered += abs(scores.mean() - 0.2) <= half
        naive += abs(scores.mean() - 0.2) <= 1.96 * scores.std() / np.sqrt(len(scores))
    # 700 draws of 0.95 leave 0.92 to 0.97; of parts taken as independent the interval is far too narrow.
    assert 0.92 <= covered / 700 <= 0.97
    assert naive / 700 < 0.85


def test_with_one_part_a_pair_it_is_the_usual_interval_of_a_mean():
    scores = np.array([0.1, 0.4, 0.25, 0.9])
    assert clustered_half(scores, np.arange(4)) == pytest.approx(1.959964 * scores.std(ddof=1) / 2, rel=1e-6)


def test_one_pair_has_no_interval():
    assert clustered_half(np.array([0.1, 0.2]), np.array([0, 0])) is None
