"""Landed cost has steps and the highest sensible offer sits right at them."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from triage.verdict.money import Terms, highest_price, landed_cost

MOST = 40_000.0


def terms(**given_terms: float) -> Terms:
    plain = {"premium": 0, "shipping": 0, "duty": 0, "duty_from": 0, "flat": 0, "flat_below": 0, "tax": 0, "fees": 0}
    return Terms(**{name: np.array([float(value)]) for name, value in {**plain, **given_terms}.items()})


ANY_TERMS = st.fixed_dictionaries(
    {
        "premium": st.floats(0, 0.3),
        "shipping": st.integers(0, 6000),
        "duty": st.floats(0, 0.4),
        "duty_from": st.integers(0, 30_000),
        "flat": st.integers(0, 2000),
        "flat_below": st.integers(0, 30_000),
        "tax": st.floats(0, 0.27),
        "fees": st.integers(0, 3000),
    }
).map(lambda values: terms(**values))


def test_a_parcel_from_abroad_costs_what_the_formula_says():
    # Worked by hand: ((180 + 25) x 1.169 + 0) x 1.19 + 6 = 291.18.
    abroad = terms(shipping=2500, duty=0.169, tax=0.19, fees=600)
    assert landed_cost(np.array([18_000.0]), abroad)[0] == np.float64((18_000 + 2_500) * 1.169 * 1.19 + 600)
    assert round(landed_cost(np.array([18_000.0]), abroad)[0] / 100) == 291


def test_the_highest_sensible_offer_of_the_worked_example_is_50():
    # States worth 320, 130, 110, 25 at 5, 70, 20, 5 %: 130.25 on average; margin 20 leaves 50 for the price.
    abroad = terms(shipping=2500, duty=0.169, tax=0.19, fees=600)
    offer = highest_price(lambda price: 13_025 - landed_cost(price, abroad) >= 2000, abroad, MOST)
    assert round(offer[0] / 100) == 50


def test_under_the_flat_charge_the_worked_example_is_59_and_a_half():
    flat = terms(shipping=2500, duty=0.169, duty_from=15_000, flat=300, flat_below=15_000, tax=0.19, fees=600)
    offer = highest_price(lambda price: 13_025 - landed_cost(price, flat) >= 2000, flat, MOST)
    assert abs(offer[0] / 100 - 59.6) < 0.05


@given(ANY_TERMS, st.integers(0, 60_000))
def test_the_highest_offer_is_what_a_scan_of_every_price_finds(one, value):
    offer = highest_price(lambda price: value - landed_cost(price, one) >= 0, one, MOST)[0]
    prices = np.arange(0, MOST + 1)
    wide = Terms(*(np.repeat(getattr(one, name), len(prices)) for name in Terms.__dataclass_fields__))
    good = prices[value - landed_cost(prices, wide) >= 0]
    assert offer == (good.max() if len(good) else 0)


@given(ANY_TERMS, st.integers(0, 30_000), st.integers(1, 5000))
def test_a_higher_price_never_lands_cheaper_on_one_side_of_a_threshold(one, price, more):
    bounds = {float(one.duty_from[0]), float(one.flat_below[0])}
    if not any(price < bound <= price + more for bound in bounds):
        assert landed_cost(np.array([price + more]), one)[0] >= landed_cost(np.array([float(price)]), one)[0]
