"""Fits against reference libraries where the problem is flat enough for both to be the same problem."""

import numpy as np
import pytest
import statsmodels.api as sm
from lifelines import WeibullFitter
from sklearn.linear_model import LogisticRegression

from triage.learning.fitting import BETA_RANGE, LEAST_DB, Belief, fit, interval
from triage.learning.likelihood import NATS_PER_DB, NOT_LOOKED_AT, WHOLE, Inspected, Lives, Numbers, Said
from triage.prognosis.ageing import unfit_after_proof
from triage.prognosis.chances import Past
from triage.prognosis.fit import Belief as LifeBelief
from triage.prognosis.fit import Found, fit_weibull

# A belief this firm is knowledge, one this vague is none.
FIRM, VAGUE = 1e-6, 10.0
NOBODY = Said(*(np.zeros(0, dtype=np.int64) for _ in range(3)), np.zeros(0), np.zeros(0, dtype=bool))


def one_part_each(years, unfit, said=NOBODY, proof=None, trust=None) -> Inspected:
    """Return pairs of one part and one material, stored in places that do not differ."""
    count = len(years)
    ones, zeros = np.ones(count), np.zeros(count)
    proof, trust = zeros if proof is None else proof, zeros if trust is None else trust
    found = np.full((count, WHOLE), NOT_LOOKED_AT, dtype=np.int8)
    found[:, 0] = unfit
    past = Past(np.zeros(count, dtype=np.int64), trust, ones, zeros, np.tile(years, (4, 1)), np.tile(proof, (4, 1)))
    rows = np.arange(count)
    lives = Lives(past, rows, rows, np.zeros(count, dtype=np.int64), ones)
    bears = np.zeros((count, WHOLE), dtype=bool)
    return Inspected(found, rows, ones, np.zeros((count, WHOLE + 1)), bears, lives, said)


def belief(eta=15.0, eta_sd=VAGUE, beta=3.0, beta_sd=VAGUE, db=(), db_sd=VAGUE) -> Belief:
    db = np.array(db, dtype=float)
    middle = Numbers(np.log([eta]), np.log([beta]), db)
    return Belief(middle, Numbers(np.array([eta_sd]), np.array([beta_sd]), np.zeros_like(db) + db_sd))


def looks(seed: int, count: int = 400):
    """Return ages at which parts were looked at, and which were unfit by then."""
    rng = np.random.default_rng(seed)
    years = rng.uniform(3, 25, count)
    return years, 15 * rng.weibull(3.0, count) < years


@pytest.mark.parametrize("seed", range(5))
def test_without_storage_or_signs_the_life_is_that_of_interval_censoring_in_lifelines(seed):
    # lifelines computes the other side: current status is an interval from 0 or to infinity.
    years, unfit = looks(seed)
    found = fit(one_part_each(years, unfit), belief())
    theirs = WeibullFitter().fit_interval_censoring(np.where(unfit, 0, years), np.where(unfit, years, np.inf))
    life = np.exp([found.numbers.ln_eta[0], found.numbers.ln_beta[0]])
    assert life == pytest.approx([theirs.lambda_, theirs.rho_], rel=1e-4)
    # Delta method on theirs: sd of ln x is sd of x over x.
    theirs_sd = theirs.summary["se(coef)"].to_numpy() / [theirs.lambda_, theirs.rho_]
    assert [found.sd.ln_eta[0], found.sd.ln_beta[0]] == pytest.approx(theirs_sd, rel=2e-3)


def test_with_a_belief_the_life_is_that_of_the_stage_s_own_fit():
    years, unfit = looks(3, 60)
    found = fit(one_part_each(years, unfit), belief(20.0, 0.2, 4.0, 0.25))
    other = fit_weibull(
        Found(np.where(unfit, 0, years), np.where(unfit, years, np.inf)), LifeBelief(20.0, 0.2, 4.0, 0.25)
    )
    assert np.exp([found.numbers.ln_eta[0], found.numbers.ln_beta[0]]) == pytest.approx(
        [other.eta_years, other.beta], rel=1e-5
    )


def test_signs_alone_are_the_logistic_regression_of_scikit_learn():
    # Every part as likely fit as not, so no offset; a normal prior about 0 is scikit-learn's L2 with C = sd squared.
    rng = np.random.default_rng(8)
    count, signs = 600, 4
    said = rng.random((count, signs)) < 0.4
    true_db = np.array([4.0, 7.0, 2.0, 5.0])
    unfit = rng.random(count) < 1 / (1 + np.exp(-(said @ true_db) * NATS_PER_DB))
    pair, sign = np.nonzero(said)
    heard = Said(pair, np.zeros(len(pair), dtype=np.int64), sign, np.ones(len(pair)), np.zeros(len(pair), dtype=bool))
    even = 15 * np.log(2) ** (1 / 3.0)
    inspected = one_part_each(np.full(count, even), unfit, heard)
    sd = 3.0
    found = fit(inspected, belief(15.0, FIRM, 3.0, FIRM, [1e-9] * signs, sd))
    theirs = LogisticRegression(C=(sd * NATS_PER_DB) ** 2, fit_intercept=False, tol=1e-10, max_iter=1000)
    theirs.fit(said.astype(float), unfit)
    assert found.numbers.weight_db * NATS_PER_DB == pytest.approx(theirs.coef_[0], abs=1e-6)


def test_signs_beside_ageing_are_a_penalised_logistic_with_the_ageing_as_offset():
    # statsmodels computes the other side: a binomial GLM whose offset is the log-odds of ageing and of the prior mean.
    rng = np.random.default_rng(2)
    count = 500
    years, proof = rng.uniform(4, 25, count), rng.uniform(0, 15, count)
    proof, trust = np.minimum(proof, years), rng.choice([0.0, 0.6], count)
    aged = unfit_after_proof(years, proof, trust, 15.0, 3.0)
    offset = np.log(aged / (1 - aged))
    said = (rng.random((count, 3)) < 0.5) * rng.choice([0.5, 1.0], (count, 3))
    unfit = rng.random(count) < 1 / (1 + np.exp(-offset - said @ np.array([9.0, -6.0, 3.0]) * NATS_PER_DB))
    pair, sign = np.nonzero(said)
    heard = Said(
        pair, np.zeros(len(pair), dtype=np.int64), sign, said[pair, sign], np.zeros(len(pair), dtype=bool)
    )  # fmt: skip
    middle, sd = np.array([12.5, -4.0, 2.0]), np.array([2.7, 1.2, 0.7])
    found = fit(one_part_each(years, unfit, heard, proof, trust), belief(15.0, FIRM, 3.0, FIRM, middle, sd))
    model = sm.GLM(
        unfit.astype(float), said, family=sm.families.Binomial(), offset=offset + said @ middle * NATS_PER_DB
    )
    theirs = model.fit_regularized(alpha=1 / (sd * NATS_PER_DB) ** 2 / count, L1_wt=0.0, opt_method="bfgs")
    assert found.numbers.weight_db == pytest.approx(middle + theirs.params / NATS_PER_DB, abs=2e-3)
    # Laplace: the curvature of the penalised likelihood.
    chance = 1 / (1 + np.exp(-offset - said @ found.numbers.weight_db * NATS_PER_DB))
    curve = (said * (chance * (1 - chance))[:, None]).T @ said * NATS_PER_DB**2 + np.diag(sd**-2)
    assert found.sd.weight_db == pytest.approx(np.sqrt(np.diag(np.linalg.inv(curve))), rel=1e-3)


def test_nothing_found_leaves_the_belief_as_it_was():
    before = belief(15.0, 0.23, 3.5, 0.27, [12.5], 2.7)
    nothing = one_part_each(np.zeros(0), np.zeros(0, dtype=bool))
    after = fit(nothing, before)
    assert (after.numbers.ln_eta, after.numbers.weight_db) == (before.middle.ln_eta, before.middle.weight_db)
    low, high = interval(after, 0.8)
    assert np.exp([low.ln_eta[0], high.ln_eta[0]]) == pytest.approx(
        15 * np.exp([-0.23 * 1.2816, 0.23 * 1.2816]), rel=1e-4
    )


def test_one_part_moves_a_life_little_and_towards_what_was_found():
    for unfit in (True, False):
        after = fit(one_part_each(np.array([15.0]), np.array([unfit])), belief(15.0, 0.23, 3.5, 0.27))
        moved = np.exp(after.numbers.ln_eta[0]) - 15
        assert (moved < 0) == unfit
        assert 0.05 < abs(moved) < 2.0


def test_a_weight_never_changes_sides_and_a_shape_never_falls_below_one():
    # Told as good, found bad every time; and failures that come the sooner the younger.
    years = np.full(60, 15.0)
    rows = np.arange(60)
    said = Said(rows, np.zeros(60, dtype=np.int64), np.zeros(60, dtype=np.int64), np.ones(60), np.zeros(60, dtype=bool))
    turned = fit(one_part_each(years, np.ones(60, dtype=bool), said), belief(40.0, FIRM, 3.0, FIRM, [-1.0], 2.0))
    assert turned.numbers.weight_db[0] == pytest.approx(-LEAST_DB)
    fell = fit(one_part_each(np.linspace(3, 30, 60), rows < 30), belief(15.0, 1.0, 3.0, 1.0))
    assert np.exp(fell.numbers.ln_beta[0]) == pytest.approx(BETA_RANGE[0])
