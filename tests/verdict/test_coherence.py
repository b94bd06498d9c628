"""Laws that must hold for any input: of chances, of evidence and of the worth of asking."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.verdict.asking import AnswerModel, Floor, SignQuestion, answer_model, best_sets, perfect_value, single_gains
from triage.verdict.states import PARTS, Evidence, joint, part_chances, wearable_chance

SEEDS = st.integers(0, 10**6)


def evidence(rng: np.random.Generator, pairs: int = 3, candidates: int = 3, nodes: int = 5) -> Evidence:
    present = rng.random((pairs, candidates, 8, 1)) < 0.8
    return Evidence(
        rng.dirichlet(np.ones(candidates), pairs),
        rng.dirichlet(np.ones(nodes)),
        # A harsher store ages every part more: chances rise from node to node.
        np.sort(rng.uniform(0.001, 0.999, (pairs, candidates, 8, nodes)), axis=3) * present,
        rng.uniform(-3, 5, (pairs, candidates, 8)),
        rng.uniform(-9, 17, (pairs, 8)),
        rng.uniform(-5, 13, (pairs, candidates)),
        (rng.random((pairs, candidates, 8)) < 0.5) & present[..., 0],
    )


@given(SEEDS)
def test_chances_of_all_states_sum_to_one(seed):
    states = joint(evidence(np.random.default_rng(seed)))
    assert states.sum(axis=(1, 2)) == pytest.approx(1)
    assert np.all(states >= 0)


@given(SEEDS, st.integers(0, 7), st.floats(0, 20))
def test_a_risk_sign_never_raises_the_chance_of_wearable(seed, part, decibans):
    # With one candidate: with several, a sign may also speak for a release that bears less.
    one = evidence(np.random.default_rng(seed), candidates=1)
    louder = one.sign_db.copy()
    louder[:, part] += decibans
    before = wearable_chance(joint(one), one.bears)
    after = wearable_chance(joint(replace(one, sign_db=louder)), one.bears)
    assert np.all(after <= before + 1e-12)


@given(SEEDS)
def test_more_ageing_never_raises_the_chance_of_wearable(seed):
    rng = np.random.default_rng(seed)
    one = evidence(rng, candidates=1)
    silent = replace(one, sign_db=np.zeros_like(one.sign_db), whole_db=np.zeros_like(one.whole_db))
    older = replace(silent, chance=np.where(one.chance > 0, one.chance + (1 - one.chance) * rng.random(), 0))
    assert np.all(wearable_chance(joint(older), one.bears) <= wearable_chance(joint(silent), one.bears) + 1e-12)


@given(SEEDS)
def test_one_more_candidate_of_weight_nought_changes_nothing(seed):
    rng = np.random.default_rng(seed)
    one = evidence(rng)
    more = Evidence(
        np.concatenate([one.weight, np.zeros((3, 1))], axis=1),
        one.node_weight,
        np.concatenate([one.chance, rng.random((3, 1, 8, 5))], axis=1),
        np.concatenate([one.rule_db, rng.uniform(-9, 9, (3, 1, 8))], axis=1),
        one.sign_db,
        np.concatenate([one.whole_db, rng.uniform(-9, 9, (3, 1))], axis=1),
        np.concatenate([one.bears, rng.random((3, 1, 8)) < 0.5], axis=1),
    )
    assert part_chances(joint(more)) == pytest.approx(part_chances(joint(one)), abs=1e-12)


@given(SEEDS)
def test_one_candidate_and_no_storage_spread_is_prior_plus_decibans(seed):
    # db(p) = db(F) + signs + rules, part by part, where nothing is said of the pair as a whole.
    rng = np.random.default_rng(seed)
    one = evidence(rng, candidates=1, nodes=1)
    one = replace(one, whole_db=np.zeros_like(one.whole_db))
    prior = one.chance[:, 0, :, 0]
    some = prior > 0
    db = 10 * np.log10(prior[some] / (1 - prior[some])) + one.rule_db[:, 0][some] + one.sign_db[some]
    after = part_chances(joint(one))[some]
    assert 10 * np.log10(after / (1 - after)) == pytest.approx(db, abs=1e-6)


def decision(seed: int) -> tuple[np.ndarray, list[SignQuestion], AnswerModel]:
    rng = np.random.default_rng(seed)
    mass = rng.dirichlet(np.ones(2 * 2 * 512), 4).reshape(4, 2, 2, 512)
    surplus = mass * rng.uniform(-200, 150, mass.shape)
    questions = [
        SignQuestion(
            f"q{i}", int(rng.integers(0, 9)), f"g{i}", float(rng.uniform(0.5, 15)), -float(rng.uniform(0.5, 9))
        )
        for i in range(12)
    ]
    model = answer_model(questions, np.zeros((4, 12)))
    return surplus, questions, model


@settings(max_examples=25, deadline=None)
@given(SEEDS)
def test_an_answer_is_never_worth_less_than_nothing_nor_more_than_knowing_all(seed):
    surplus, questions, model = decision(seed)
    total = surplus.sum(axis=(1, 2))
    now = np.maximum(total.sum(axis=1), 0)
    alone = single_gains(total, questions, model)
    best = best_sets(pairs_last(surplus), model, questions, 0.0)
    assert np.all(alone >= now[:, None] - 1e-9)
    assert np.all(best.evsi >= alone.max(axis=1) - 1e-9)
    assert np.all(best.evsi <= perfect_value(np.ones_like(surplus), surplus) + 1e-9)


def pairs_last(values: np.ndarray) -> np.ndarray:
    return np.moveaxis(values, 0, -1)


@settings(max_examples=15, deadline=None)
@given(SEEDS, st.floats(0, 1))
def test_a_floor_never_makes_asking_worth_more_and_none_at_all_changes_nothing(seed, least):
    surplus, questions, model = decision(seed)
    rng = np.random.default_rng(seed)
    mass = rng.dirichlet(np.ones(2 * 2 * 512), 4).reshape(4, 2, 2, 512)
    floor = Floor(np.ones(4, dtype=bool), pairs_last(mass * (rng.random(mass.shape) - least)))
    free = best_sets(pairs_last(surplus), model, questions, 0.0)
    held = best_sets(pairs_last(surplus), model, questions, 0.0, floor)
    assert np.all(held.evsi <= free.evsi + 1e-9)
    open_to_all = replace(floor, binds=np.zeros(4, dtype=bool))
    assert best_sets(pairs_last(surplus), model, questions, 0.0, open_to_all).evsi == pytest.approx(free.evsi)


@settings(max_examples=25, deadline=None)
@given(SEEDS)
def test_a_question_that_tells_nothing_gains_nothing(seed):
    surplus, questions, model = decision(seed)
    total = surplus.sum(axis=(1, 2))
    even = AnswerModel(np.full_like(model.yes_if_fit, 0.5), np.full_like(model.yes_if_fit, 0.5), model.usable)
    assert single_gains(total, questions, even) == pytest.approx(
        np.repeat(np.maximum(total.sum(axis=1), 0)[:, None], 12, axis=1), abs=1e-9
    )
    assert len(PARTS) == 8


def test_what_was_said_already_is_not_worth_asking_again():
    # The group already carries more than a yes or a no of this question could.
    question = SignQuestion("springy", 0, "press", -6.0, 10.0)
    assert not answer_model([question], np.array([[12.0]])).usable[0, 0]
    assert answer_model([question], np.array([[0.0]])).usable[0, 0]
