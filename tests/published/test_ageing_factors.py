"""Ageing factors against published worked examples and formulas."""

import numpy as np
import pytest

from triage.prognosis.ageing import ageing_rate, ea_from_q10, q10_acceleration


@pytest.mark.parametrize(
    ("q10", "temp_c", "reference_c", "factor", "tolerance"),
    [
        # ASTM F1980 method; a public worked example citing it: 55 °C against 25 °C is 8 times as fast.
        (2, 55, 25, 8.0, 1e-12),
        # The same formula, AAF = Q10^((T - T_ref)/10), worked by hand.
        (2, 55, 22, 9.849, 1e-3),
        (2, 60, 22, 13.93, 5e-3),
    ],
)
def test_accelerated_ageing_factor_is_that_of_astm_f1980(q10, temp_c, reference_c, factor, tolerance):
    assert q10_acceleration(q10, temp_c, reference_c) == pytest.approx(factor, abs=tolerance)


def test_730_days_at_25_c_pass_in_91_and_a_quarter_days_at_55_c():
    # ASTM F1980, public worked example.
    assert 730 / q10_acceleration(2, 55, 25) == pytest.approx(91.25)


def test_q10_of_two_near_room_temperature_is_an_activation_energy_of_51_kj():
    # Arrhenius between 20 and 30 °C; with that energy the rate doubles exactly.
    ea = ea_from_q10(2, 20)
    assert ea == pytest.approx(51_210, rel=1e-3)
    assert ageing_rate(30, 50, ea, 0) / ageing_rate(20, 50, ea, 0) == pytest.approx(2)


# "Double the life for each five-degree drop, more than double the life for each halving of relative
# humidity", ICOM-CC 13th Triennial Meeting, Rio de Janeiro 2002, I:66-72: life = (50/RH)^1.3
# exp(Ea/R (1/T - 1/293.15)), Ea 100 kJ/mol for paper, 70 for varnish.
@pytest.mark.parametrize(
    ("temp_c", "rh_pct", "ea_j_mol", "life"),
    [(15, 50, 100_000, 2.038), (20, 25, 100_000, 2.462), (25, 50, 100_000, 0.5025), (25, 50, 70_000, 0.6178)],
)
def test_lifetime_multiplier_is_that_of_the_icom_cc_paper(temp_c, rh_pct, ea_j_mol, life):
    assert 1 / ageing_rate(temp_c, rh_pct, ea_j_mol, 1.3) == pytest.approx(life, rel=5e-4)


def test_a_five_degree_drop_doubles_life_and_half_the_humidity_more_than_doubles_it():
    # The paper's title, read as inequalities.
    drop = ageing_rate(20, 50, 100_000, 1.3) / ageing_rate(15, 50, 100_000, 1.3)
    halved = ageing_rate(20, 50, 100_000, 1.3) / ageing_rate(20, 25, 100_000, 1.3)
    assert drop == pytest.approx(2, rel=0.03)
    assert halved > 2


def test_lifetime_multiplier_is_not_the_one_of_a_known_faulty_implementation():
    # One public implementation has exponent 1/3 and the sign of Ea reversed; its documented example
    # 21.8 °C, 36.8 % gives 1.11. The formula gives 1.160.
    life = 1 / ageing_rate(21.8, 36.8, 100_000, 1.3)
    assert life == pytest.approx(1.160, abs=5e-4)
    assert life != pytest.approx((50 / 36.8) ** (1 / 3), abs=0.02)


@pytest.mark.parametrize(
    ("arguments", "shown"),
    [((-41, 50, 7e4, 1), "-41"), ((20, 0, 7e4, 1), "0"), ((20, 50, 75, 1), "75"), ((20, 50, 7e4, 3), "3")],
)
def test_a_value_out_of_range_is_refused_and_shown(arguments, shown):
    # 75 is what somebody gives who means kJ/mol.
    with pytest.raises(ValueError, match=rf"is {shown}"):
        ageing_rate(*arguments)


def test_rate_rises_with_temperature_and_with_humidity():
    temps = np.linspace(-20, 60, 81)
    assert np.all(np.diff(ageing_rate(temps, 50, 75_000, 1.0)) > 0)
    damps = np.linspace(1, 100, 100)
    assert np.all(np.diff(ageing_rate(20, damps, 75_000, 1.0)) > 0)
    assert np.allclose(ageing_rate(20, damps, 75_000, 0.0), 1.0)
