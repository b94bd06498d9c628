"""What must hold for any input, law by law, and where each is tested.

``LAWS`` names the tests; those here go through the public functions of the stage with random beliefs, values, terms
and buyers, or through the whole chain for every release of the demo table.
"""

import ast
from dataclasses import replace
from datetime import date
from itertools import pairwise
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.conftest import AS_OF
from tests.verdict.test_coherence import SEEDS, decision, evidence
from triage import batch, catalogue
from triage.verdict.asking import AnswerModel, SignQuestion, answer_model, best_sets, perfect_value, single_gains
from triage.verdict.calls import ASK, BUY, Calls, Scene, decide, sensible_offer
from triage.verdict.mending import mend
from triage.verdict.money import Terms, landed_cost
from triage.verdict.offers import Offer, offer_to
from triage.verdict.plans import Valued
from triage.verdict.states import BITS, joint, odds_ratio, unwearable

TESTS = Path(__file__).parents[1]
LAWS = {
    "more years never raise the chance of wearable": (
        "verdict/test_laws.py::test_no_release_is_likelier_wearable_eight_years_on",
        "verdict/test_coherence.py::test_more_ageing_never_raises_the_chance_of_wearable",
        "prognosis/test_stage_laws.py::test_an_older_part_is_never_fitter",
        "prognosis/test_ageing_laws.py::test_more_years_never_make_a_part_fitter",
        "rules/test_library.py::test_more_years_never_make_any_pair_of_the_cases_look_better",
    ),
    "a risk sign never raises it": (
        "verdict/test_laws.py::test_no_risk_that_is_told_makes_any_release_likelier_wearable",
        "verdict/test_coherence.py::test_a_risk_sign_never_raises_the_chance_of_wearable",
        "rules/test_library.py::test_affirming_a_risk_never_makes_any_pair_of_the_cases_look_better",
    ),
    "an extra question never has negative EVSI": (
        "verdict/test_laws.py::test_one_more_question_to_choose_from_never_makes_the_best_set_worth_less",
        "verdict/test_coherence.py::test_an_answer_is_never_worth_less_than_nothing_nor_more_than_knowing_all",
        "verdict/test_coherence.py::test_a_question_that_tells_nothing_gains_nothing",
    ),
    "EVSI <= EVPI": (
        "verdict/test_laws.py::test_what_asking_brings_lies_between_deciding_now_and_knowing_all",
        "verdict/test_coherence.py::test_an_answer_is_never_worth_less_than_nothing_nor_more_than_knowing_all",
    ),
    "EV falls in P": ("verdict/test_laws.py::test_what_is_left_over_falls_with_the_price",),
    "the highest sensible offer is where EV meets the margin": (
        "verdict/test_laws.py::test_the_highest_offer_is_the_last_price_at_which_margin_and_budget_hold",
        "verdict/test_landed_cost.py::test_the_highest_offer_is_what_a_scan_of_every_price_finds",
    ),
    "the mean of the answers' posteriors is the prior (1e-9)": (
        "verdict/test_laws.py::test_the_mean_of_what_is_believed_after_the_answers_is_what_is_believed_now",
        "published/test_exact_networks.py::test_what_is_expected_of_an_answer_is_what_is_believed_now",
    ),
    "forgetting a fact never flips a rule that fired": (
        "rules/test_findings.py::test_forgetting_a_fact_never_turns_a_rule_that_fired_into_one_that_clears",
        "rules/test_gate.py::test_forgetting_a_fact_never_turns_any_predicate_round",
    ),
    "one more candidate with weight 0 changes nothing": (
        "verdict/test_laws.py::test_one_more_release_of_weight_nought_changes_no_call",
        "verdict/test_coherence.py::test_one_more_candidate_of_weight_nought_changes_nothing",
    ),
    "currency and units change nothing": (
        "verdict/test_laws.py::test_cents_or_euros_make_no_other_calls",
        "verdict/test_laws.py::test_the_currency_a_price_was_stated_in_changes_nothing",
    ),
    # The check values of the decision itself; learning (Brier score, logistic regression) has its own stage to come.
    "oil wildcatter": ("published/test_exact_networks.py::test_the_oil_wildcatter_tests_first_for_22_and_a_half",),
    "exact posteriors on 200 random networks": (
        "published/test_exact_networks.py::"
        "test_posterior_of_parts_storage_and_signs_is_the_exact_one_on_200_random_networks",
    ),
    "exact EV, EVSI and EVPI on 500 random networks": (
        "published/test_exact_networks.py::"
        "test_ev_evsi_and_evpi_are_those_of_influence_diagrams_on_500_random_networks",
    ),
}


@pytest.mark.parametrize("law", LAWS)
def test_every_law_has_its_tests(law):
    for name in LAWS[law]:
        path, _, function = name.partition("::")
        tree = ast.parse((TESTS / path).read_text("utf-8"))
        assert function in {node.name for node in tree.body if isinstance(node, ast.FunctionDef)}, name


PAIRS, CANDIDATES = 5, 2
KNOWN = catalogue.load()
QUESTIONS = batch.ground(KNOWN).questions()


def random_offer(rng: np.random.Generator, buyer) -> Offer:
    """Return terms of real routes for random listings, some with returns, some without price or post."""
    some = rng.random
    lengths = [262.0 if some() < 0.8 else None for _ in range(PAIRS)]
    rows = pl.DataFrame(
        {
            "listing_id": [f"L{n}" for n in range(PAIRS)],
            "source": "attic board",
            "ships_from": rng.choice(["DE", "FR", "GB", "US", "JP"], PAIRS).tolist(),
            "price_base_minor": [int(p) if some() < 0.9 else None for p in rng.uniform(0, 22_000, PAIRS)],
            "shipping_base_minor": [int(p) if some() < 0.7 else None for p in rng.uniform(0, 4_000, PAIRS)],
            "price_kind": rng.choice(["fixed", "bid"], PAIRS).tolist(),
            "foot_mm_lo": lengths,
            "foot_mm_hi": [None if low is None else low + float(rng.uniform(1, 20)) for low in lengths],
            "returns_ok": (rng.random(PAIRS) < 0.4).tolist(),
            "firm": (rng.random(PAIRS) < 0.3).tolist(),
            "category": rng.choice(["running", "boots", None], PAIRS).tolist(),
            "premium_rate": [0.2 if some() < 0.2 else None for _ in range(PAIRS)],
        },
        schema_overrides={
            "category": pl.String,
            "premium_rate": pl.Float64,
            "price_base_minor": pl.Int64,
            "shipping_base_minor": pl.Int64,
            "foot_mm_lo": pl.Float64,
            "foot_mm_hi": pl.Float64,
        },
    )
    return offer_to(buyer, rows, KNOWN.costs, AS_OF)


def random_scene(seed: int) -> Scene:
    """Return a scene of random beliefs, values and terms: any value of any state, no repairs."""
    rng = np.random.default_rng(seed)
    traits = {
        "purposes": ("wear", "restore", "display"), "foot_mm": float(rng.uniform(260, 280)),
        "budget_minor": int(rng.uniform(5_000, 30_000)), "margin_minor": int(rng.uniform(0, 4_000)),
        "wearable_floor": float(rng.choice([0.0, 0.5, 0.8])), "haggle_share": float(rng.uniform(0, 0.4)),
        "ask_cost_minor": int(rng.uniform(0, 400)), "reply_chance": float(rng.uniform(0.3, 1)),
        "loss_chance": float(rng.uniform(0, 0.5)), "return_chance": float(rng.uniform(0, 1)),
    }  # fmt: skip
    buyer = KNOWN.buyers["daily"].model_copy(update=traits)
    shape = (PAIRS, CANDIDATES, len(BITS))
    told = evidence(rng, PAIRS, CANDIDATES)
    none = np.zeros(shape[:2], dtype=np.int64)

    def valued(least: float, most: float) -> Valued:
        value, plan = rng.uniform(least, most, shape), rng.integers(0, 4, shape).astype(np.int8)
        return Valued(value, plan, np.zeros(shape, dtype=np.int16), np.zeros(shape), none, (mend([], 0, buyer),))

    fitting, other = valued(0, 30_000), valued(0, 8_000)
    return Scene(buyer, random_offer(rng, buyer), joint(told), told.bears, fitting, other)


def decided(scene: Scene) -> Calls:
    count = len(scene.states)
    return decide(scene, QUESTIONS, np.zeros((count, len(QUESTIONS))), np.ones((count, len(QUESTIONS)), dtype=bool))


def left_over(scene: Scene, price: np.ndarray) -> np.ndarray:
    return scene.expected(price) - landed_cost(price, scene.offer.terms)


@settings(max_examples=40, deadline=None)
@given(SEEDS, st.lists(st.integers(0, 40_000), min_size=2, max_size=12))
def test_what_is_left_over_falls_with_the_price(seed, prices):
    scene = random_scene(seed)
    curve = np.array([left_over(scene, np.full(PAIRS, float(price))) for price in sorted(set(prices))])
    # With tables as they are: what customs take above a threshold is more than the flat charge below it.
    assert np.all(np.diff(curve, axis=0) < 0)


@settings(max_examples=40, deadline=None)
@given(SEEDS)
def test_the_highest_offer_is_the_last_price_at_which_margin_and_budget_hold(seed):
    scene = random_scene(seed)
    repair = np.random.default_rng(seed).uniform(0, 4_000, PAIRS)

    def holds(price: np.ndarray) -> np.ndarray:
        landed = landed_cost(price, scene.offer.terms)
        within = landed + repair <= scene.buyer.budget_minor
        return (left_over(scene, price) >= scene.buyer.margin_minor) & within

    offer = sensible_offer(scene, repair)
    assert np.all(holds(offer) | (offer == 0))
    assert not np.any(holds(offer + 1))


@settings(max_examples=30, deadline=None)
@given(SEEDS)
def test_a_buy_keeps_margin_budget_floor_and_offer_and_an_ask_gains_something(seed):
    scene = random_scene(seed)
    calls = decided(scene)
    buys, price = calls.call == BUY, scene.offer.price
    assert np.all(calls.surplus[buys] >= scene.buyer.margin_minor)
    assert np.all(calls.landed[buys] + calls.repair_minor[buys] <= scene.buyer.budget_minor)
    assert np.all(price[buys] <= calls.offer[buys])
    asks = (calls.call == ASK) & ~np.isnan(price)
    assert np.all(calls.ask_gain[asks] > 0)


@settings(max_examples=30, deadline=None)
@given(SEEDS)
def test_what_asking_brings_lies_between_deciding_now_and_knowing_all(seed):
    scene = random_scene(seed)
    scene = replace(scene, buyer=scene.buyer.model_copy(update={"wearable_floor": 0.0}))
    calls = decided(scene)
    searched = np.isfinite(calls.ask_gain) & (calls.asked.evsi > 0) & ~np.isnan(scene.offer.price)
    refund = scene.offer.refund(np.nan_to_num(scene.offer.price))[:, None, None]
    landed = np.nan_to_num(calls.landed)[:, None, None]
    fits = scene.offer.fits[:, None, None]
    parts = [
        scene.states * share * (np.maximum(valued.value, refund) - landed)
        for share, valued in ((fits, scene.fitting), (1 - fits, scene.other))
    ]
    every = np.stack(parts, axis=2)
    most = perfect_value(np.ones_like(every), every)
    now = np.maximum(calls.surplus, 0)
    assert np.all(calls.asked.evsi[searched] >= now[searched] - 1e-6)
    assert np.all(calls.asked.evsi[searched] <= most[searched] + 1e-6)


@settings(max_examples=15, deadline=None)
@given(SEEDS)
def test_one_more_question_to_choose_from_never_makes_the_best_set_worth_less(seed):
    surplus, questions, model = decision(seed)
    order = np.random.default_rng(seed).permutation(len(questions))
    worth = [np.maximum(surplus.sum(axis=(1, 2, 3)), 0)]
    for count in (0, 1, 2, 3, 6, 12):
        usable = np.isin(np.arange(len(questions)), order[:count])[None] & model.usable
        some = AnswerModel(model.yes_if_fit, model.yes_if_unfit, usable)
        # Between alike questions of one bit the better alone is taken, which need not be the better of a set:
        # so each bit is given one question only.
        first = {questions[number].bit: number for number in order[:count][::-1]}
        single = np.isin(np.arange(len(questions)), list(first.values()))[None]
        some = replace(some, usable=some.usable & single)
        worth.append(best_sets(np.moveaxis(surplus, 0, -1), some, questions, 0.0).evsi)
        alone = single_gains(surplus.sum(axis=(1, 2)), questions, model)
        assert np.all(alone >= worth[0][:, None] - 1e-9)
    for fewer, more in pairwise(worth):
        assert np.all(more >= fewer - 1e-9)


@given(SEEDS, st.integers(0, 8), st.floats(0.1, 17), st.floats(0.1, 12), st.booleans())
def test_the_mean_of_what_is_believed_after_the_answers_is_what_is_believed_now(seed, bit, plus, minus, risk):
    now = evidence(np.random.default_rng(seed))
    yes_db, no_db = (plus, -minus) if risk else (-plus, minus)
    model = answer_model([SignQuestion("q", bit, "g", yes_db, no_db)], np.zeros((1, 1)))
    states = joint(now)
    unfit = BITS[:, bit] if bit < 8 else unwearable(now.bears)
    yes_given = np.where(unfit == 1, model.yes_if_unfit[0, 0], model.yes_if_fit[0, 0])
    yes = (states * yes_given).sum(axis=(1, 2))[:, None, None]

    def after(decibans: float) -> np.ndarray:
        if bit == 8:
            return joint(replace(now, whole_db=now.whole_db + decibans))
        told = now.sign_db.copy()
        told[:, bit] += decibans
        return joint(replace(now, sign_db=told))

    # Belief is moved by decibans and the answers' chances come from the same weights: they must agree.
    assert yes * after(yes_db) + (1 - yes) * after(no_db) == pytest.approx(states, abs=1e-9)
    assert odds_ratio(np.array(yes_db)) == pytest.approx(model.yes_if_unfit[0, 0] / model.yes_if_fit[0, 0], rel=1e-9)


def widened(scene: Scene) -> Scene:
    """Return the scene with one more candidate that nobody believes in."""
    rng = np.random.default_rng(9)

    def more(values: np.ndarray, extra: object) -> np.ndarray:
        return np.concatenate([values, np.broadcast_to(extra, values[:, :1].shape).astype(values.dtype)], axis=1)

    def valued(one: Valued) -> Valued:
        return Valued(more(one.value, rng.uniform(0, 1e6)), more(one.plan, 0), more(one.repair, 0),
                      more(one.spent, 0), more(one.mending, 0), one.mendings)  # fmt: skip

    return replace(
        scene, states=more(scene.states, 0.0), bears=more(scene.bears, True), fitting=valued(scene.fitting),
        other=valued(scene.other),
    )  # fmt: skip


def assert_alike(one: Calls, other: Calls, times: float = 1.0) -> None:
    """Compare two sets of calls; money of the second is ``times`` that of the first."""
    assert one.call.tolist() == other.call.tolist()
    assert one.plan.tolist() == other.plan.tolist()
    for name in ("landed", "expected", "surplus", "repair_minor", "ask_gain"):
        assert getattr(one, name) * times == pytest.approx(getattr(other, name), rel=1e-9, abs=1e-6, nan_ok=True)
    assert one.after_plan == pytest.approx(other.after_plan, abs=1e-12)
    # An offer is a whole number of minor units: in finer units it may be finer by less than one of the coarser.
    assert np.all(np.abs(one.offer * times - other.offer) <= max(times - 1, 1e-6))


@settings(max_examples=20, deadline=None)
@given(SEEDS)
def test_one_more_release_of_weight_nought_changes_no_call(seed):
    scene = random_scene(seed)
    assert_alike(decided(scene), decided(widened(scene)))


@settings(max_examples=20, deadline=None)
@given(SEEDS, st.sampled_from([10, 100]))
def test_cents_or_euros_make_no_other_calls(seed, times):
    scene = random_scene(seed)
    # An offer is a whole number of units; so that it lies near enough to a price or not in either unit, what is near
    # must be a whole number too: a quarter below a price that is a multiple of four.
    scene = replace(
        scene,
        buyer=scene.buyer.model_copy(update={"haggle_share": 0.25}),
        offer=replace(scene.offer, price=np.round(scene.offer.price / 4) * 4),
    )
    money = ("budget_minor", "margin_minor", "ask_cost_minor", "return_post_minor")
    buyer = scene.buyer.model_copy(update={name: times * getattr(scene.buyer, name) for name in money})
    terms = scene.offer.terms
    amounts = ("shipping", "duty_from", "flat", "flat_below", "fees")
    finer = replace(terms, **{name: times * getattr(terms, name) for name in amounts})
    assert {*amounts, "premium", "duty", "tax"} == set(Terms.__dataclass_fields__)
    offer = replace(
        scene.offer, price=times * scene.offer.price, terms=finer, refund_post=times * scene.offer.refund_post
    )
    fitting, other = (replace(one, value=times * one.value) for one in (scene.fitting, scene.other))
    assert_alike(decided(scene), decided(replace(scene, buyer=buyer, offer=offer, fitting=fitting, other=other)), times)


def test_the_currency_a_price_was_stated_in_changes_nothing(weigh):
    said = {"title": "Haldrassen Torquellan High HDN-12-1914", "body": "Worn a few times.", "condition": "worn"}
    found = weigh(
        euro=said,
        yen={**said, "currency": "JPY", "price_minor": 8_500, "shipping_minor": 1_020},
        dollar={**said, "currency": "USD", "price_minor": 5_410, "shipping_minor": 649},
    )
    query = (
        "SELECT buyer, call, plan, value_minor, expected_minor, landed_minor, surplus_minor, offer_minor, "
        "ask_gain_minor, p_wearable, reason FROM verdict WHERE listing_id = ? ORDER BY buyer"
    )
    euro, yen, dollar = (found.connection.execute(query, [name]).fetchall() for name in ("euro", "yen", "dollar"))
    assert len(euro) == len(KNOWN.buyers)
    assert euro == yen == dollar


def every_release() -> dict[str, dict]:
    """Return a listing that says nothing but its release, for every release of the demo table."""
    table = KNOWN.constructions.table.select("model_id", "maker", "model", "style_numbers")
    return {
        row["model_id"].replace("-", ""): {"title": f"{row['maker']} {row['model']} {first}", "body": "A pair."}
        for row in table.to_dicts()
        if (first := "".join(row["style_numbers"][:1] if isinstance(row["style_numbers"], list) else
                             row["style_numbers"].split(";")[0]))
    }  # fmt: skip


def test_no_release_is_likelier_wearable_eight_years_on(weigh):
    listings = every_release()
    assert len(listings) >= 40
    nights = [weigh(as_of=date(year, 11, 25), **listings) for year in (2018, 2026, 2034)]
    for name in listings:
        chances = [night.wearable(name) for night in nights]
        assert all(later <= earlier + 1e-9 for earlier, later in pairwise(chances)), (
            name,
            chances,
        )


def test_no_risk_that_is_told_makes_any_release_likelier_wearable(weigh):
    some = {name: one for name, one in every_release().items() if name in ("BL01", "PV08", "HD02", "OV03", "BL05")}
    risks = [sign.id for sign in KNOWN.signs.values() if sign.polarity == "risk" and "answer" in sign.weight]
    assert len(risks) > 25
    found = weigh(**{f"{name}_{sign}": one for name, one in some.items() for sign in ["silent", *risks]})
    found.connection.executemany(
        "INSERT INTO answer (listing_id, sign, answered_on, said_by, state) VALUES (?, ?, ?, 'answer', 'affirmed')",
        [(f"{name}_{sign}", sign, AS_OF) for name in some for sign in risks],
    )
    batch.weigh(found.connection, KNOWN, AS_OF)
    for name in some:
        silent = found.wearable(f"{name}_silent")
        for sign in risks:
            assert found.wearable(f"{name}_{sign}") <= silent + 1e-9, (name, sign)
