"""The two numbers that would move a call most, against what is left over when each is really moved."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.verdict.test_coherence import evidence
from triage import batch
from triage.verdict.beliefs import Beliefs
from triage.verdict.calls import decide
from triage.verdict.looks import Table
from triage.verdict.money import Terms, landed_cost
from triage.verdict.offers import Offer
from triage.verdict.plans import Mender, Worth
from triage.verdict.questions import Texts
from triage.verdict.scenes import Prices, Stakes, both_sides, cases_of
from triage.verdict.sensitivity import LEAST_SWING, MOST_NUMBERS, sensitivity_rows
from triage.verdict.states import PARTS, joint, marginals

PAIRS, CANDIDATES = 6, 3


@pytest.fixture(scope="module")
def mender(known):
    return Mender(list(known.repairs.values()), {}, known.buyers["bench"])


def stakes_at(seed: int, known, mender, returns: float = 0.3) -> Stakes:
    """Return what six random pairs may be worth to a buyer who wears, mends and shows."""
    rng = np.random.default_rng(seed)
    buyer = known.buyers["bench"].model_copy(update={"purposes": ("wear", "restore", "display"), "wearable_floor": 0.0})
    one = evidence(rng, PAIRS, CANDIDATES)
    low, high = one.chance * 0.5, one.chance + (1 - one.chance) * 0.5 * (one.chance > 0)
    present = one.chance.max(axis=(1, 3)) > 0
    beliefs = Beliefs(
        [f"p{i}" for i in range(PAIRS)], np.full((PAIRS, CANDIDATES), "X", dtype=object), one, low, high,
        one.chance.mean(axis=(1, 3)), present, {}, pl.DataFrame(schema={"listing_id": pl.String, "sign": pl.String}),
    )  # fmt: skip
    sound = rng.uniform(5_000, 20_000, (PAIRS, CANDIDATES)).round()
    worth = Worth(sound, sound * 0.5, sound * 0.1)
    many = np.ones(PAIRS)
    terms = Terms(0 * many, 600 * many, 0 * many, 1e6 * many, 0 * many, 0 * many, 0 * many, 0 * many)
    price, fits = rng.uniform(1_000, 9_000, PAIRS).round(), rng.choice([0.0, 0.5, 1.0], PAIRS)
    offer = Offer(
        pl.DataFrame(), price, terms, rng.random(PAIRS) < 0.5, fits,
        np.where(rng.random(PAIRS) < returns, 0.7, 0.0), 500 * many, many > 0,
    )  # fmt: skip
    mending = mender.of(beliefs.construction, one.bears)
    cases = cases_of(worth, mending, mender.mendings, buyer, known.values)
    prices = Prices(mender, one.bears, *cases, worth, mending, pl.Series(["x"] * PAIRS), np.full(PAIRS, 0.2))
    return Stakes(buyer, beliefs, offer, prices)


def left_over(stakes: Stakes, beliefs=None, offer=None, sides=None) -> np.ndarray:
    """Return what is left over, all worked out anew."""
    one = replace(stakes, beliefs=beliefs or stakes.beliefs, offer=offer or stakes.offer)
    scene = one.scene(slice(None))
    if sides is not None:
        scene = replace(scene, fitting=sides[0], other=sides[1])
    return scene.expected(one.offer.price) - landed_cost(one.offer.price, one.offer.terms)


@given(st.integers(0, 10**6))
@settings(max_examples=25, deadline=None)
def test_each_swing_is_what_moving_its_number_really_does(known, mender, seed):
    stakes = stakes_at(seed, known, mender)
    scene = stakes.scene(slice(None))
    ids = pl.Series("listing_id", stakes.beliefs.listing_ids)
    rows = sensitivity_rows(stakes, np.arange(PAIRS), scene, ids, known.values)
    place = {name: number for number, name in enumerate(stakes.beliefs.listing_ids)}
    for row in rows.to_dicts():
        at = place[row["listing_id"]]
        ends = [moved(stakes, mender, known.values, row["number"], at, end) for end in (0, 1)]
        assert row["at_low_minor"] == pytest.approx(ends[0], abs=0.51)
        assert row["at_high_minor"] == pytest.approx(ends[1], abs=0.51)
        assert abs(ends[1] - ends[0]) >= LEAST_SWING - 1


def moved(stakes: Stakes, mender: Mender, values, number: str, at: int, end: int) -> float:
    """Return what is left over of one pair with a number at one end of its range."""
    offer, beliefs, way = stakes.offer, stakes.beliefs, (-1, 1)[end]
    if number.startswith("p_unfit"):
        part = PARTS.index(number.split()[1])
        wanted = marginals(beliefs.with_chance((beliefs.low, beliefs.high)[end]))[0][at, part]
        now = marginals(beliefs.evidence)[0][at, part]
        shift = np.zeros_like(beliefs.evidence.sign_db)
        shift[at, part] = 10 * np.log10(wanted / (1 - wanted) * (1 - now) / now)
        heard = replace(beliefs.evidence, sign_db=beliefs.evidence.sign_db + shift)
        return left_over(stakes, beliefs=replace(beliefs, evidence=heard))[at]
    if number == "value_minor":
        prices = stakes.prices
        worth = prices.worth.times(1 + way * prices.doubt)
        sides = both_sides(worth, prices.mending, mender.mendings, stakes.buyer, values)
        return left_over(stakes, sides=sides)[at]
    if number == "repair_minor":
        sides = both_sides(stakes.prices.worth, stakes.prices.mending, mender.at((0, 2)[end]), stakes.buyer, values)
        return left_over(stakes, sides=sides)[at]
    if number == "shipping_minor":
        post = offer.terms.shipping * (1 + way * values.doubt.shipping)
        return left_over(stakes, offer=replace(offer, terms=replace(offer.terms, shipping=post)))[at]
    if number == "p_fits":
        return left_over(stakes, offer=replace(offer, fits=np.full(PAIRS, float(end))))[at]
    assert number == "construction_id"
    share = joint(beliefs.evidence)[at].sum(axis=1)
    alone = []
    for candidate in np.flatnonzero(share > 0.05):
        # To be sure of a release is to have its states alone.
        scene = stakes.scene(slice(None))
        states = np.zeros_like(scene.states)
        states[:, candidate] = scene.states[:, candidate]
        sure = replace(scene, states=states / states.sum(axis=(1, 2), keepdims=True))
        alone.append((sure.expected(offer.price) - landed_cost(offer.price, offer.terms))[at])
    return (min, max)[end](alone)


def test_no_pair_has_more_than_two_numbers_and_the_wider_swing_comes_first(known, mender):
    stakes = stakes_at(1, known, mender)
    ids = pl.Series("listing_id", stakes.beliefs.listing_ids)
    rows = sensitivity_rows(stakes, np.arange(PAIRS), stakes.scene(slice(None)), ids, known.values)
    assert rows.height > 0
    swing = (pl.col("at_high_minor") - pl.col("at_low_minor")).abs()
    for _, pair in rows.with_columns(swing=swing).group_by("listing_id"):
        assert pair["place"].to_list() == list(range(1, pair.height + 1))
        assert pair.height <= MOST_NUMBERS
        assert pair["swing"].is_sorted(descending=True)


def test_a_pair_without_a_price_has_none(known, mender):
    stakes = stakes_at(2, known, mender)
    stakes = replace(stakes, offer=replace(stakes.offer, price=np.full(PAIRS, np.nan)))
    ids = pl.Series("listing_id", stakes.beliefs.listing_ids)
    rows = sensitivity_rows(stakes, np.arange(PAIRS), stakes.scene(slice(None)), ids, known.values)
    assert rows.is_empty()


@given(st.integers(0, 10**6))
@settings(max_examples=25, deadline=None)
def test_weighing_only_the_parts_that_are_there_changes_no_call(known, mender, seed):
    # Half the pairs lack the last parts, and have a candidate less.
    stakes = stakes_at(seed, known, mender)
    one = stakes.beliefs.evidence
    there = np.arange(8) < 3 + seed % 5
    weight = np.where(np.arange(CANDIDATES) < CANDIDATES - seed % 2, one.weight, 0.0)
    one = replace(one, chance=one.chance * there[:, None], bears=one.bears & there, sign_db=one.sign_db * there,
                  weight=weight / weight.sum(axis=1, keepdims=True))  # fmt: skip
    beliefs = replace(stakes.beliefs, evidence=one, present=one.chance.max(axis=(1, 3)) > 0)
    mending = mender.of(beliefs.construction, one.bears)
    cases = cases_of(stakes.prices.worth, mending, mender.mendings, stakes.buyer, known.values)
    fitting, other, case = cases
    prices = replace(stakes.prices, mending=mending, fitting=fitting, other=other, case=case)
    stakes = replace(stakes, beliefs=beliefs, prices=prices)
    questions = batch.ground(known).questions()
    table = Table(stakes, pl.DataFrame(), questions, Texts({}, {}, [], {}), {}, known.values)
    rows = np.arange(PAIRS)
    _, few = table.decided(rows)
    current, unsaid = table.open_questions
    every = decide(stakes.scene(slice(None)), questions, current, unsaid)
    assert few.call.tolist() == every.call.tolist()
    for name in ("expected", "surplus", "offer", "after_plan", "ask_gain", "plan_chance", "plan_value"):
        assert getattr(few, name) == pytest.approx(getattr(every, name), abs=1e-6), name


@given(st.integers(0, 10**6))
@settings(max_examples=50, deadline=None)
def test_the_marginals_are_the_sums_over_all_states(seed):
    one = evidence(np.random.default_rng(seed))
    states = joint(one)
    parts, wearable = marginals(one)
    bits = (np.arange(256)[:, None] >> np.arange(8)) & 1
    bad = ((bits @ one.bears[..., None, :].swapaxes(-1, -2).astype(int)) > 0)[..., 0]
    assert parts == pytest.approx(states.sum(axis=1) @ bits, abs=1e-12)
    assert wearable == pytest.approx((states * ~bad).sum(axis=(1, 2)), abs=1e-12)
