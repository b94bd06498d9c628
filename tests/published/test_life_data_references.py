"""Fitting lives against a reference library, which computes the other side in each test."""

import lifelines
import numpy as np
import pytest

from triage.prognosis.fit import Found, fit_weibull, surviving


def test_kaplan_meier_of_both_arms_is_that_of_lifelines():
    # Remission times, Freireich et al. 1963, as lifelines carries them.
    from lifelines.datasets import load_leukemia

    for _, arm in load_leukemia().groupby("Rx"):
        years, share = surviving(arm["t"].to_numpy(), arm["status"].to_numpy())
        theirs = lifelines.KaplanMeierFitter().fit(arm["t"], arm["status"])
        assert share == pytest.approx(theirs.predict(years).to_numpy(), abs=1e-12)


def test_exact_and_right_censored_ages_are_fitted_as_lifelines_does():
    rng = np.random.default_rng(5)
    life, seen = 15 * rng.weibull(2.1, 200), rng.uniform(5, 30, 200)
    ours = fit_weibull(Found(np.minimum(life, seen), np.where(life <= seen, life, np.inf)))
    theirs = lifelines.WeibullFitter().fit(np.minimum(life, seen), life <= seen)
    assert (ours.eta_years, ours.beta) == pytest.approx((theirs.lambda_, theirs.rho_), rel=1e-4)
    assert ours.log_likelihood == pytest.approx(theirs.log_likelihood_, rel=1e-6)


@pytest.mark.parametrize("seed", range(10))
@pytest.mark.parametrize("looks", ["once", "twice"])
def test_current_status_and_interval_censoring_are_fitted_as_lifelines_does(seed, looks):
    # lifelines computes the other side. An inspection on arrival is one look; one look and a later one are an interval.
    rng = np.random.default_rng(seed)
    life = 15 * rng.weibull(3.0, 300)
    first = rng.uniform(3, 25, 300)
    if looks == "once":
        found = Found(np.where(life > first, first, 0.0), np.where(life > first, np.inf, first))
    else:
        later = first + rng.uniform(1, 6, 300)
        found = Found(
            np.select([life > later, life > first], [later, first], 0.0),
            np.select([life > later, life > first], [np.inf, later], first),
        )
    ours = fit_weibull(found)
    theirs = lifelines.WeibullFitter().fit_interval_censoring(found.fit_until, found.unfit_from)
    assert (ours.eta_years, ours.beta) == pytest.approx((theirs.lambda_, theirs.rho_), rel=1e-4)
    assert ours.log_likelihood >= theirs.log_likelihood_ - 1e-6
