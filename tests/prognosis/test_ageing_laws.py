"""Laws of ageing that must hold for any input."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from triage.prognosis.ageing import (
    ageing_rate,
    ea_from_q10,
    normal_nodes,
    q10_acceleration,
    survival,
    unfit_after_proof,
)
from triage.prognosis.humidity import dew_point_c, saturation_pressure_pa

ETA, BETA = st.floats(2, 80), st.floats(1.2, 6)
YEARS = st.floats(0, 120)


@given(YEARS, YEARS, ETA, BETA)
def test_more_years_never_make_a_part_fitter(first, second, eta, beta):
    young, old = sorted((first, second))
    assert survival(old, eta, beta) <= survival(young, eta, beta) + 1e-12


@given(YEARS, YEARS, st.floats(0, 1), ETA, BETA)
def test_worn_without_failing_never_counts_against_a_pair(end, proof, trust, eta, beta):
    worn = min(proof, end)
    plain = unfit_after_proof(end, 0.0, 0.0, eta, beta)
    assert unfit_after_proof(end, worn, trust, eta, beta) <= plain + 1e-12


@given(YEARS, st.floats(0, 1), ETA, BETA)
def test_proof_at_the_horizon_itself_leaves_only_the_distrust(end, trust, eta, beta):
    plain = unfit_after_proof(end, 0.0, 0.0, eta, beta)
    assert unfit_after_proof(end, end, trust, eta, beta) == pytest.approx((1 - trust) * plain, abs=1e-9)


def test_conditional_failure_is_the_textbook_figure():
    # F(t + d | t) = 1 - exp((t/eta)^b - ((t+d)/eta)^b); worked by hand: b 3.5, eta 15, t 17.5, d 0.5 -> 0.1628.
    assert unfit_after_proof(18.0, 17.5, 1.0, 15.0, 3.5) == pytest.approx(0.1628, abs=5e-5)
    assert unfit_after_proof(21.0, 20.0, 1.0, 15.0, 3.5) == pytest.approx(0.3993, abs=5e-5)


@given(st.floats(-20, 55), st.floats(0, 20), st.floats(5, 100), st.floats(20_000, 150_000), st.floats(0, 2))
def test_a_warmer_store_never_ages_more_slowly(temp, warmer, rh, ea, n):
    assert ageing_rate(temp + warmer, rh, ea, n) >= ageing_rate(temp, rh, ea, n) * (1 - 1e-12)


def test_nodes_have_the_moments_of_a_normal_variable():
    nodes, weights = normal_nodes(7)
    moments = [float((weights * nodes**power).sum()) for power in range(7)]
    assert moments == pytest.approx([1, 0, 1, 0, 3, 0, 15], abs=1e-9)
    assert np.all(weights > 0)


@pytest.mark.parametrize(
    ("call", "shown"),
    [
        (lambda: survival(-1, 15, 3), "effective_years is -1"), (lambda: survival(5, 0, 3), "eta_years is 0"),
        (lambda: survival(np.array([5, np.nan]), 15, 3), "effective_years is nan"),
        (lambda: survival(5, 15, -2), "beta is -2"),
        (lambda: unfit_after_proof(5, -1, 0.5, 15, 3), "proof_years is -1"),
        (lambda: unfit_after_proof(5, 1, 1.5, 15, 3), "trust is 1.5"),
        (lambda: q10_acceleration(0, 55, 25), "q10 is 0"),
        (lambda: ea_from_q10(-2, 20), "q10 is -2"), (lambda: dew_point_c(20, 0), "rh_pct is 0"),
        (lambda: saturation_pressure_pa(293.15), "temp_c is 293.15"),
    ],
)  # fmt: skip
def test_a_number_out_of_range_is_refused_and_shown(call, shown):
    with pytest.raises(ValueError, match=shown):
        call()
