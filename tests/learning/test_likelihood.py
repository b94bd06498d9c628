"""What was found, given what was said: the same sums as the night's own, and slopes that are slopes."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import approx_fprime

from triage.learning.likelihood import FIT, NOT_LOOKED_AT, UNFIT, WHOLE, Inspected, Lives, Numbers, Said, log_likelihood
from triage.prognosis.chances import STORAGE_NODES, Materials, Past, chances_after, storage_nodes
from triage.verdict.states import BITS, PARTS, Evidence, joint, marginals

SIGNS = 6


def some_pairs(seed: int, pairs: int = 5, candidates: int = 2, materials: int = 4) -> tuple[Inspected, Numbers]:
    """Return random pairs of one piece of material a part, and numbers; some parts are missing, some not looked at."""
    rng = np.random.default_rng(seed)
    rows = pairs * candidates
    has = rng.random((rows, WHOLE)) < 0.7
    # What was found is of parts that both candidates have.
    both = has.reshape(pairs, candidates, WHOLE).all(axis=1)
    found = np.where(both & (rng.random(both.shape) < 0.6), rng.integers(0, 2, both.shape), NOT_LOOKED_AT)
    candidate, part = np.nonzero(has)
    count = len(part)
    aged = rng.uniform(3, 40, (4, count))
    past = Past(
        rng.integers(0, materials, count), rng.choice([0.0, 0.6], count), rng.choice([1.0, 0.5], count),
        rng.choice([0.3, 0.45], count), aged, aged * rng.uniform(0, 1, count),
    )  # fmt: skip
    weight = rng.dirichlet(np.ones(candidates), pairs).ravel()
    # Decibans small enough for the bounds of a text to stay out of it.
    said = Said(
        np.sort(rng.integers(0, pairs, 12)), rng.integers(0, WHOLE + 1, 12), rng.integers(0, SIGNS, 12),
        rng.choice([0.5, 1.0], 12), np.zeros(12, dtype=bool),
    )  # fmt: skip
    inspected = Inspected(
        found.astype(np.int8), np.repeat(np.arange(pairs), candidates), weight, rng.normal(0, 2, (rows, WHOLE + 1)),
        has & (rng.random((rows, WHOLE)) < 0.5), Lives(past, np.arange(count), candidate, part, np.ones(count)), said,
    )  # fmt: skip
    numbers = Numbers(rng.normal(3, 0.3, materials), rng.normal(1, 0.2, materials), rng.normal(0, 5, SIGNS))
    return inspected, numbers


def as_the_night_has_them(inspected: Inspected, numbers: Numbers, known) -> Evidence:
    """Return the same pairs as evidence of the seventh stage, aged by the fifth with lives that have no spread."""
    keys = tuple(sorted(known.materials))[: len(numbers.ln_eta)]
    lives = {
        key: known.materials[key].model_copy(
            update={"eta_years": (np.exp(eta),) * 3, "beta": (np.exp(beta),) * 3, "rh_exponent": (0.0,) * 3}
        )
        for key, eta, beta in zip(keys, numbers.ln_eta, numbers.ln_beta, strict=True)
    }
    chance = np.zeros((len(inspected.pair), WHOLE, STORAGE_NODES))
    pieces = chances_after(
        inspected.lives.past, Materials(keys, lives, known.unknown), known.climates.climates["unknown"], 0.0
    )[1]
    chance[inspected.lives.candidate, inspected.lives.part] = pieces
    said = inspected.said
    sign_db = np.zeros((len(inspected.found), WHOLE + 1))
    np.add.at(sign_db, (said.pair, said.part), numbers.weight_db[said.weight] * said.factor)
    shape = len(inspected.found), -1
    return Evidence(
        inspected.weight.reshape(shape), storage_nodes()["weight"].to_numpy(),
        chance.reshape(*shape, WHOLE, STORAGE_NODES), inspected.rule_db[:, :WHOLE].reshape(*shape, WHOLE),
        sign_db[:, :WHOLE], inspected.rule_db[:, WHOLE].reshape(shape) + sign_db[:, WHOLE:],
        inspected.bears.reshape(*shape, WHOLE),
    )  # fmt: skip


@pytest.mark.parametrize("seed", range(20))
def test_the_chance_of_what_was_found_is_the_sum_over_the_joint_states(seed, known):
    inspected, numbers = some_pairs(seed)
    states = joint(as_the_night_has_them(inspected, numbers, known)).sum(axis=1)
    agrees = (inspected.found[:, None] == NOT_LOOKED_AT) | (inspected.found[:, None] == BITS)
    expected = np.log((states * agrees.all(axis=2)).sum(axis=1))
    assert log_likelihood(inspected, numbers)[0] == pytest.approx(expected, abs=1e-10)


def test_the_chance_of_one_part_unfit_is_what_the_night_says_of_it(known):
    inspected, numbers = some_pairs(99, pairs=30)
    has = np.zeros((len(inspected.pair), WHOLE), dtype=bool)
    has[inspected.lives.candidate, inspected.lives.part] = True
    everywhere = has.reshape(30, 2, WHOLE).all(axis=1)
    chance = marginals(as_the_night_has_them(inspected, numbers, known))[0]
    for part in range(len(PARTS)):
        one = np.full((30, WHOLE), NOT_LOOKED_AT, dtype=np.int8)
        one[:, part] = UNFIT
        found = np.exp(log_likelihood(replace(inspected, found=one), numbers)[0])
        assert found[everywhere[:, part]] == pytest.approx(chance[everywhere[:, part], part], abs=1e-10)


@pytest.mark.parametrize("seed", range(6))
def test_the_slopes_are_those_of_differences(seed):
    inspected, numbers = some_pairs(seed, pairs=20)
    # Pieces of one part that must all hold, and others of which one is the right one, in one stroke.
    lives = inspected.lives
    twice = Lives(
        Past(*(np.concatenate([one, one[..., ::-1]], axis=-1) for one in vars(lives.past).values())),
        np.repeat(lives.alternative, 2), lives.candidate, lives.part, lives.share,
    )  # fmt: skip
    shares = Lives(
        twice.past, np.arange(2 * len(lives.part)), np.repeat(lives.candidate, 2), np.repeat(lives.part, 2),
        np.tile([0.3, 0.7], len(lives.part)),
    )  # fmt: skip
    text = replace(inspected.said, text=np.arange(12) % 2 == 0)
    for some in (inspected, replace(inspected, lives=twice), replace(inspected, lives=shares, said=text)):
        flat = np.concatenate([numbers.ln_eta, numbers.ln_beta, numbers.weight_db])
        slope = log_likelihood(some, numbers)[1]

        def total(point, some=some):
            return log_likelihood(some, Numbers(*np.split(point, [4, 8])))[0].sum()

        expected = approx_fprime(flat, total, 1e-6)
        found = np.concatenate([slope.ln_eta, slope.ln_beta, slope.weight_db])
        assert found == pytest.approx(expected, rel=2e-4, abs=2e-4)


def test_a_text_beyond_its_bounds_says_no_more_and_moves_no_weight():
    inspected, numbers = some_pairs(3)
    pair, part = np.argwhere(inspected.found == FIT)[:1].T
    one = Said(pair, part, np.array([0]), np.ones(1), np.array([True]))
    heard = replace(inspected, said=one)
    at_17, at_30 = (log_likelihood(heard, replace(numbers, weight_db=np.full(SIGNS, db))) for db in (17.0, 30.0))
    assert at_30[0] == pytest.approx(at_17[0], abs=1e-12)
    assert at_30[1].weight_db[0] == 0
    answered = replace(heard, said=replace(one, text=np.array([False])))
    beyond = log_likelihood(answered, replace(numbers, weight_db=np.full(SIGNS, 30.0)))[0]
    assert beyond[pair[0]] < at_30[0][pair[0]]
