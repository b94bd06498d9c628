"""A world whose numbers are known, small: a refit finds them within its intervals, and its chances are better.

``python -m benchmarks.refit_truth`` does the same over a hundred worlds of 3,000 pairs.
"""

import numpy as np
import pytest
from scipy.stats import binom
from sklearn.metrics import brier_score_loss, log_loss

from tests.learning.world import chances_of, home_of, materials, world
from triage.learning.changes import refitted
from triage.learning.fitting import fit, interval, spoken_of
from triage.learning.likelihood import NOT_LOOKED_AT, UNFIT

SEEDS, PAIRS = (11, 12), 600


@pytest.fixture(scope="module")
def worlds(known):
    return [(one, fit(one.inspected, one.belief)) for one in (world(known, seed, PAIRS) for seed in SEEDS)]


def held(one, found, share: float) -> np.ndarray:
    """Return which of the true numbers that the pairs speak of lie in their interval."""
    low, high = interval(found, share)
    spoken = spoken_of(one.inspected, one.belief.middle)
    inside = []
    for name, which in zip(("ln_eta", "ln_beta", "weight_db"), spoken, strict=True):
        least, most, true = (getattr(each, name)[which] for each in (low, high, one.truth))
        inside.append((least <= true) & (true <= most))
    return np.concatenate(inside)


def test_the_intervals_hold_the_truth_as_often_as_they_say(worlds):
    for share in (0.5, 0.9):
        inside = np.concatenate([held(*one, share) for one in worlds])
        assert len(inside) > 180
        # Numbers are not quite independent of one another; 999 of 1,000 times so many would lie inside if they were.
        least, most = binom.interval(0.999, len(inside), share)
        assert least <= inside.sum() <= most, share


def test_the_middle_of_the_table_is_farther_from_the_truth(worlds):
    for one, found in worlds:
        for name in ("ln_eta", "ln_beta", "weight_db"):
            true = getattr(one.truth, name)
            sd = getattr(one.belief.sd, name)
            table, fitted = (
                np.square((getattr(of, name) - true) / sd).mean() for of in (one.belief.middle, found.numbers)
            )
            assert fitted < table, name


def test_chances_out_of_sample_are_better(worlds, known):
    for seed, (one, found) in zip(SEEDS, worlds, strict=True):
        later = world(known, seed + 500, PAIRS, truth=one.truth).inspected
        seen = later.found != NOT_LOOKED_AT
        unfit = later.found[seen] == UNFIT
        table = chances_of(later, materials(known), one.belief.middle.weight_db, home_of(known))[seen]
        fitted = chances_of(later, refitted(materials(known), found), found.numbers.weight_db, home_of(known))[seen]
        assert brier_score_loss(unfit, fitted) < brier_score_loss(unfit, table)
        assert log_loss(unfit, fitted) < log_loss(unfit, table)


def test_pairs_chosen_by_what_was_said_bias_nothing(known):
    # The truth is the table itself: refitted from pairs the table chose, no family of numbers leans to one side.
    one = world(known, 31, PAIRS)
    one = world(known, 31, PAIRS, truth=one.belief.middle)
    found = fit(one.inspected, one.belief)
    for name, which in zip(("ln_eta", "weight_db"), spoken_of(one.inspected, one.belief.middle)[::2], strict=True):
        off = (getattr(found.numbers, name) - getattr(one.truth, name))[which] / getattr(found.sd, name)[which]
        assert abs(off.mean()) < 3.3 / np.sqrt(which.sum()), name
