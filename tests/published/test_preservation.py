"""Published yardsticks of storage: the preservation index and isoperms."""

import pytest

from triage.prognosis.ageing import added_years, ageing_rate
from triage.prognosis.preservation import isoperm_ratio, preservation_index_years


@pytest.mark.parametrize(
    ("temp_c", "rh_pct", "years"),
    [
        (20, 70, 26), (23, 2.5, 102), (-13, 33, 7840), (27.5, 74, 9), (32.5, 80, 5), (23.5, 52.5, 25), (14, 30.5, 161),
        (19.44, 50, 47),
    ],
)  # fmt: skip
def test_preservation_index_is_within_ten_percent_of_the_published_lookup(temp_c, rh_pct, years):
    # Image Permanence Institute's look-up values, as an open-source package tests them, the last one from a 2001
    # archives list; the fit is Padfield 2004.
    assert preservation_index_years(temp_c, rh_pct) == pytest.approx(years, rel=0.10)


def celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32) / 1.8


def test_isoperm_from_73_f_and_50_percent_to_60_f_and_30_percent():
    # Sebera 1994: humidity by proportion; the factor of temperature from memory.
    assert isoperm_ratio((celsius(73), celsius(60)), (50, 30), 25) == pytest.approx(4.950, abs=1e-3)


def test_humidity_in_an_isoperm_is_plain_proportion_as_in_our_rate_with_n_of_one():
    assert isoperm_ratio((20, 20), (50, 40), 25) == pytest.approx(1.25)
    assert ageing_rate(20, 50, 100_000, 1) / ageing_rate(20, 40, 100_000, 1) == pytest.approx(1.25)


@pytest.mark.parametrize(
    ("call", "shown"),
    [
        (lambda: preservation_index_years(60, 50), "temp_c is 60"),
        (lambda: preservation_index_years(20, 120), "rh_pct is 120"),
        (lambda: isoperm_ratio((20, 15), (50, 0), 25), "rh_pct is 0"),
        (lambda: isoperm_ratio((20, 15), (50, 40), 104_600), "enthalpy_kcal_mol is 104600"),
        (lambda: added_years([(-1, 20, 50)], 75_000, 1), "years is -1"),
    ],
)
def test_a_value_out_of_range_is_refused_and_shown(call, shown):
    with pytest.raises(ValueError, match=shown):
        call()


def test_ten_days_at_60_c_stand_for_297_at_25_c_as_in_the_food_contact_regulation():
    # Regulation (EU) 10/2011, annex V: t2 = t1 exp(-9627 (1/T1 - 1/T2)), Ea 80 kJ/mol: 297 d worked by hand from it.
    days = added_years([(10, 60, 50)], 80_000, 0) / ageing_rate(25, 50, 80_000, 0)
    assert days == pytest.approx(297.3, rel=2e-3)


def test_a_warm_and_a_cool_half_year_age_more_than_a_year_at_their_mean():
    # Mean rate is not rate of mean (Jensen); 20 ± 10 °C, Ea 75 kJ/mol: by hand (2.7594 + 0.3374) / 2.
    both = added_years([(0.5, 30, 50), (0.5, 10, 50)], 75_000, 1)
    assert both == pytest.approx(1.5484, abs=5e-4)
    assert both > added_years([(1, 20, 50)], 75_000, 1) == pytest.approx(1)


def test_stays_add_up_in_any_order_and_however_they_are_cut():
    stays = [(3.0, 27, 68), (10.0, 21, 52), (4.5, 12, 75)]
    whole = added_years(stays, 75_000, 1)
    assert added_years(stays[::-1], 75_000, 1) == pytest.approx(whole)
    cut = [(1.0, 27, 68), (2.0, 27, 68), *stays[1:]]
    assert added_years(cut, 75_000, 1) == pytest.approx(whole)
    assert added_years([], 75_000, 1) == 0
