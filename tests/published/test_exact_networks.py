"""Beliefs and the worth of asking against exact solvers and a textbook decision."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pyagrum as gum
import pytest

from triage.verdict.asking import (
    CELL_BITS,
    WHOLE,
    AnswerModel,
    SignQuestion,
    answer_model,
    best_sets,
    cells_of,
    perfect_value,
    single_gains,
)
from triage.verdict.states import PARTS, Evidence, joint, odds_ratio, part_chances, unwearable

# pyAgrum (exact inference) computes the other side in each test.


def random_evidence(rng: np.random.Generator, parts: int, nodes: int) -> Evidence:
    """Return one pair with one candidate, random chances for the first parts and random weights."""
    chance = np.zeros((1, 1, len(PARTS), nodes))
    chance[0, 0, :parts] = rng.uniform(0.01, 0.99, (parts, nodes))
    sign = np.zeros((1, len(PARTS)))
    sign[0, :parts] = rng.uniform(-10, 15, parts)
    bears = np.zeros((1, 1, len(PARTS)), dtype=bool)
    bears[0, 0, :parts] = rng.random(parts) < 0.7
    weight = rng.dirichlet(np.ones(nodes))
    return Evidence(np.ones((1, 1)), weight, chance, np.zeros((1, 1, 8)), sign, rng.uniform(-5, 10, (1, 1)), bears)


def as_network(evidence: Evidence, parts: int) -> gum.BayesNet:
    """Return the same pair as a Bayesian network: storage -> parts -> signs, parts -> pair -> sign of the pair."""
    net = gum.BayesNet()
    nodes = len(evidence.node_weight)
    storage = net.add(gum.LabelizedVariable("storage", "", nodes))
    net.cpt(storage)[:] = evidence.node_weight
    pair = net.add(gum.LabelizedVariable("pair", "", 2))
    bearing = []
    for j in range(parts):
        part = net.add(gum.LabelizedVariable(f"part{j}", "", 2))
        net.addArc(storage, part)
        for k in range(nodes):
            unfit = evidence.chance[0, 0, j, k]
            net.cpt(part)[{"storage": k}] = [1 - unfit, unfit]
        sign = net.add(gum.LabelizedVariable(f"sign{j}", "", 2))
        net.addArc(part, sign)
        # Any pair of likelihoods with the right ratio will do; both must be at most 1.
        ratio = float(odds_ratio(evidence.sign_db[0, j]))
        base = 0.5 / max(ratio, 1)
        net.cpt(sign)[{f"part{j}": 0}] = [1 - base, base]
        net.cpt(sign)[{f"part{j}": 1}] = [1 - base * ratio, base * ratio]
        if evidence.bears[0, 0, j]:
            net.addArc(part, pair)
            bearing.append(j)
    table = net.cpt(pair)
    for state in np.ndindex(*([2] * len(bearing))):
        bad = int(any(state))
        values = [1 - bad, bad]
        if bearing:
            table[{f"part{j}": s for j, s in zip(bearing, state, strict=True)}] = values
        else:
            table[:] = values
    said = net.add(gum.LabelizedVariable("said", "", 2))
    net.addArc(pair, said)
    ratio = float(odds_ratio(evidence.whole_db[0, 0]))
    base = 0.5 / max(ratio, 1)
    net.cpt(said)[{"pair": 0}] = [1 - base, base]
    net.cpt(said)[{"pair": 1}] = [1 - base * ratio, base * ratio]
    return net


@pytest.mark.parametrize("block", range(4))
def test_posterior_of_parts_storage_and_signs_is_the_exact_one_on_200_random_networks(block):
    rng = np.random.default_rng(1000 + block)
    for _ in range(50):
        parts, nodes = int(rng.integers(1, 5)), int(rng.integers(2, 6))
        evidence = random_evidence(rng, parts, nodes)
        inference = gum.LazyPropagation(as_network(evidence, parts))
        inference.setEvidence({**{f"sign{j}": 1 for j in range(parts)}, "said": 1})
        inference.makeInference()
        ours = part_chances(joint(evidence))[0]
        exact = [inference.posterior(f"part{j}")[1] for j in range(parts)]
        assert ours[:parts] == pytest.approx(exact, abs=1e-9)
        bad = float((joint(evidence)[0, 0] * unwearable(evidence.bears)[0, 0]).sum())
        assert bad == pytest.approx(inference.posterior("pair")[1], abs=1e-9)


# Raiffa 1968, Decision Analysis: the oil wildcatter (figures from memory). A well is dry, wet or
# soaking with .5, .3, .2 and pays -70, 50, 200; a seismic test costs 10. Its outcomes: no, open or
# closed structure, with these chances given dry, wet, soaking.
DRILL = np.array([-70.0, 50.0, 200.0])
OIL = np.array([0.5, 0.3, 0.2])
STRUCTURE = np.array([[0.6, 0.3, 0.1], [0.3, 0.4, 0.3], [0.1, 0.4, 0.5]])


def wildcatter() -> gum.InfluenceDiagram:
    """Return the decision as an influence diagram: test?, then drill?, knowing what the test showed."""
    diagram = gum.InfluenceDiagram()
    diagram.addDecisionNode(gum.LabelizedVariable("test", "", 2))
    diagram.addDecisionNode(gum.LabelizedVariable("drill", "", 2))
    diagram.addChanceNode(gum.LabelizedVariable("oil", "", 3))
    diagram.addChanceNode(gum.LabelizedVariable("shown", "", 4))
    diagram.addUtilityNode(gum.LabelizedVariable("gain", "", 1))
    diagram.addUtilityNode(gum.LabelizedVariable("cost", "", 1))
    for tail, head in (("oil", "shown"), ("test", "shown"), ("test", "drill"), ("shown", "drill"), ("oil", "gain"),
                       ("drill", "gain"), ("test", "cost")):  # fmt: skip
        diagram.addArc(tail, head)
    diagram.cpt("oil")[:] = OIL
    for oil in range(3):
        diagram.cpt("shown")[{"oil": oil, "test": 0}] = [0, 0, 0, 1]
        diagram.cpt("shown")[{"oil": oil, "test": 1}] = [*STRUCTURE[oil], 0]
        diagram.utility("gain")[{"oil": oil, "drill": 0}] = [0]
        diagram.utility("gain")[{"oil": oil, "drill": 1}] = [DRILL[oil]]
    diagram.utility("cost")[{"test": 0}] = [0]
    diagram.utility("cost")[{"test": 1}] = [-10]
    return diagram


def test_the_oil_wildcatter_tests_first_for_22_and_a_half():
    # Expected: drill now 20; with the test 22.5 net, so EVSI 12.5; EVPI 35.
    surplus = (OIL * DRILL)[None, :]
    now = surplus.sum()
    with_test = np.maximum(surplus @ STRUCTURE, 0).sum()
    assert now == pytest.approx(20)
    assert with_test - 10 == pytest.approx(22.5)
    assert with_test - now == pytest.approx(12.5)
    assert perfect_value(OIL[None], DRILL[None])[0] - now == pytest.approx(35)
    solver = gum.ShaferShenoyLIMIDInference(wildcatter())
    solver.addNoForgettingAssumption(["test", "drill"])
    solver.makeInference()
    assert solver.MEU()["mean"] == pytest.approx(22.5, abs=1e-9)


@dataclass(frozen=True)
class Network:
    """A small decision: three parts, what buying brings in each of their states, and three questions.

    Attributes:
        parts: Which three of the eight parts, ascending.
        prior: Chance by the states of the three, [2, 2, 2].
        gain: Surplus of buying by the same, [2, 2, 2].
        bears: Which of the three carry the wearer.
        bits: What each question speaks of: a part, or the pair as a whole.
        weights: Decibans of a yes and of a no to each question, [3, 2].
    """

    parts: list[int]
    prior: np.ndarray
    gain: np.ndarray
    bears: np.ndarray
    bits: list[int]
    weights: np.ndarray

    def yes(self) -> np.ndarray:
        """Return the chance of a yes by question and by fit or unfit, [3, 2], as the two weights imply it."""
        questions = [
            SignQuestion(f"q{bit}", bit, f"g{bit}", *told) for bit, told in zip(self.bits, self.weights, strict=True)
        ]
        model = answer_model(questions, np.zeros((1, 3)))
        assert model.usable.all()
        return np.stack([model.yes_if_fit[0], model.yes_if_unfit[0]], axis=1)

    def by_cell(self) -> np.ndarray:
        """Return surplus times chance as the stage lays it out, [1, 2, 512]; the pair fits for certain."""
        mass = np.zeros((1, 1, 256))
        for state in np.ndindex(2, 2, 2):
            at = sum(bad << part for bad, part in zip(state, self.parts, strict=True))
            mass[0, 0, at] = self.prior[state] * self.gain[state]
        bears = np.zeros((1, 1, 8), dtype=bool)
        bears[0, 0, self.parts] = self.bears
        cells = cells_of(mass, unwearable(bears))[0]
        return np.stack([cells, 0 * cells], axis=1)


def random_network(rng: np.random.Generator) -> Network:
    parts = sorted(rng.choice(len(PARTS), 3, replace=False).tolist())
    bits = list(parts)
    if rng.random() < 0.4:
        bits[int(rng.integers(3))] = WHOLE
    towards = np.where(rng.random(3) < 0.5, 1.0, -1.0)
    weights = np.stack([rng.uniform(0.5, 15, 3) * towards, -rng.uniform(0.5, 12, 3) * towards], axis=1)
    # Some prices are bargains and some far too high; most lie where an answer may turn the call.
    gain = rng.uniform(-100, 100, (2, 2, 2)) + rng.normal(0, 30)
    return Network(parts, rng.dirichlet(np.full(8, 0.7)).reshape(2, 2, 2), gain, rng.random(3) < 0.6, bits, weights)


def diagram_value(one: Network, yes: np.ndarray, seen: Sequence[str]) -> float:
    """Return the value of buying or not once some nodes are seen, by pyAgrum's influence diagram.

    Args:
        yes: Chance of a yes by question and by fit or unfit, [3, 2].
        seen: Nodes the buyer sees first: answers ``a0`` to ``a2``, parts ``p0`` to ``p2``.
    """
    diagram = gum.InfluenceDiagram()
    for k in range(3):
        diagram.addChanceNode(gum.LabelizedVariable(f"p{k}", "", 2))
    diagram.addDecisionNode(gum.LabelizedVariable("buy", "", 2))
    diagram.addUtilityNode(gum.LabelizedVariable("gain", "", 1))
    for tail, head in (
        ("p0", "p1"),
        ("p0", "p2"),
        ("p1", "p2"),
        *((name, "gain") for name in ("p0", "p1", "p2", "buy")),
    ):
        diagram.addArc(tail, head)
    first, second = one.prior.sum(axis=(1, 2)), one.prior.sum(axis=2)
    diagram.cpt("p0")[:] = first
    for a, b in np.ndindex(2, 2):
        diagram.cpt("p1")[{"p0": a}] = list(second[a] / first[a])
        diagram.cpt("p2")[{"p0": a, "p1": b}] = list(one.prior[a, b] / second[a, b])
        for c in (0, 1):
            diagram.utility("gain")[{"p0": a, "p1": b, "p2": c, "buy": 0}] = [0]
            diagram.utility("gain")[{"p0": a, "p1": b, "p2": c, "buy": 1}] = [one.gain[a, b, c]]
    for k, bit in enumerate(one.bits):
        if f"a{k}" in seen:
            told = [f"p{one.parts.index(bit)}"] if bit != WHOLE else [f"p{j}" for j in range(3) if one.bears[j]]
            diagram.addChanceNode(gum.LabelizedVariable(f"a{k}", "", 2))
            for name in told:
                diagram.addArc(name, f"a{k}")
            for state in np.ndindex(*([2] * len(told))):
                chance = yes[k, int(any(state))]
                diagram.cpt(f"a{k}")[dict(zip(told, state, strict=True))] = [1 - chance, chance]
    for name in seen:
        diagram.addArc(name, "buy")
    solver = gum.ShaferShenoyLIMIDInference(diagram)
    solver.makeInference()
    return float(solver.MEU()["mean"])


SETS = [set_ for size in (1, 2, 3) for set_ in combinations(range(3), size)]


@pytest.mark.parametrize("block", range(10))
def test_ev_evsi_and_evpi_are_those_of_influence_diagrams_on_500_random_networks(block):
    rng = np.random.default_rng(2000 + block)
    networks = [random_network(rng) for _ in range(50)]
    surplus = np.stack([one.by_cell() for one in networks])
    # Each network asks for three bits; laid out by bit, all of a block are weighed at once.
    by_bit = [SignQuestion(f"q{bit}", bit, f"g{bit}", 1.0, -1.0) for bit in range(WHOLE + 1)]
    yes = np.stack([one.yes() for one in networks])
    told = np.full((len(networks), WHOLE + 1, 2), 0.5)
    for row, one in enumerate(networks):
        told[row, one.bits] = yes[row]
    exact = {
        seen: np.array([diagram_value(one, chance, seen) for one, chance in zip(networks, yes, strict=True)])
        for seen in [(), *(tuple(f"a{k}" for k in asked) for asked in SETS), ("p0", "p1", "p2")]
    }
    ev = surplus.sum(axis=(1, 2, 3))
    assert np.maximum(ev, 0) == pytest.approx(exact[()], abs=1e-9)
    assert perfect_value(np.ones_like(surplus), surplus) == pytest.approx(exact["p0", "p1", "p2"], abs=1e-9)
    for asked in SETS:
        usable = np.zeros(told.shape[:2], dtype=bool)
        for row, one in enumerate(networks):
            usable[row, [one.bits[k] for k in asked]] = True
        model = AnswerModel(told[..., 0], told[..., 1], usable)
        expected = pytest.approx(exact[tuple(f"a{k}" for k in asked)], abs=1e-9)
        assert best_sets(np.moveaxis(surplus, 0, -1), model, by_bit, 0.0).evsi == expected
        if len(asked) == 1:
            assert single_gains(surplus.sum(axis=(1, 2)), by_bit, model)[usable] == expected
    # The sample is worth its size: calls that stand, and calls that one, two or three answers turn.
    gains = exact["a0", "a1", "a2"] - np.maximum(ev, 0)
    assert (gains > 1).sum() >= 10
    assert (gains < 1e-9).sum() >= 2


def test_what_is_expected_of_an_answer_is_what_is_believed_now():
    # Coherence (law of total probability): for any weights and any prior the mean of the posteriors is the prior.
    rng = np.random.default_rng(7)
    questions = [SignQuestion(str(i), 0, str(i), float(p), float(m)) for i, (p, m) in
                 enumerate(zip(rng.uniform(0.1, 18, 200), rng.uniform(-12, -0.1, 200), strict=True))]  # fmt: skip
    model = answer_model(questions, np.zeros((1, 200)))
    prior = rng.uniform(0.01, 0.99, 200)
    yes = (1 - prior) * model.yes_if_fit[0] + prior * model.yes_if_unfit[0]
    after_yes = prior * model.yes_if_unfit[0] / yes
    after_no = prior * (1 - model.yes_if_unfit[0]) / (1 - yes)
    assert yes * after_yes + (1 - yes) * after_no == pytest.approx(prior, abs=1e-12)
    # And each answer moves the odds by just its decibans.
    odds = prior / (1 - prior)
    told = np.array([q.if_true for q in questions])
    assert after_yes / (1 - after_yes) == pytest.approx(odds * odds_ratio(told), rel=1e-9)
    assert CELL_BITS.shape == (512, 9)
