"""Beliefs and the worth of asking against exact solvers and a textbook decision."""

import numpy as np
import pyagrum as gum
import pytest

from triage.verdict.asking import (
    CELL_BITS,
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
    assert perfect_value(surplus)[0] - now == pytest.approx(35)
    solver = gum.ShaferShenoyLIMIDInference(wildcatter())
    solver.addNoForgettingAssumption(["test", "drill"])
    solver.makeInference()
    assert solver.MEU()["mean"] == pytest.approx(22.5, abs=1e-9)


def part_decision(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return a random prior over two parts, [2, 2], a surplus for each state, and two answer models."""
    return rng.dirichlet(np.ones(4)).reshape(2, 2), rng.uniform(-100, 120, (2, 2)), rng.uniform(0.05, 0.95, (2, 2))


@pytest.mark.parametrize("seed", range(40))
def test_the_worth_of_one_and_two_questions_is_that_of_an_influence_diagram(seed):
    rng = np.random.default_rng(seed)
    prior, gain, yes = part_decision(rng)
    states = np.zeros((1, 1, 256))
    value = np.zeros((1, 1, 256))
    for first in (0, 1):
        for second in (0, 1):
            states[0, 0, first + 2 * second] = prior[first, second]
            value[0, 0, first + 2 * second] = gain[first, second]
    surplus = cells_of(states * value, unwearable(np.zeros((1, 1, 8), dtype=bool)))
    model = AnswerModel(yes[None, :, 0], yes[None, :, 1], np.ones((1, 2), dtype=bool))
    questions = [SignQuestion("a", 0, "a", 1, -1), SignQuestion("b", 1, "b", 1, -1)]
    alone = single_gains(surplus.sum(axis=1), questions, model)[0]
    # All of it fits, so the second size carries nothing.
    sized = np.stack([surplus, 0 * surplus], axis=2)
    both = best_sets(sized, model, questions, 0.0).evsi[0]
    assert alone[0] == pytest.approx(diagram_value(prior, gain, yes, [0]), abs=1e-9)
    assert alone[1] == pytest.approx(diagram_value(prior, gain, yes, [1]), abs=1e-9)
    assert both == pytest.approx(diagram_value(prior, gain, yes, [0, 1]), abs=1e-9)


def diagram_value(prior: np.ndarray, gain: np.ndarray, yes: np.ndarray, asked: list[int]) -> float:
    """Return the value of buying or not after the asked answers, by pyAgrum."""
    diagram = gum.InfluenceDiagram()
    diagram.addChanceNode(gum.LabelizedVariable("part0", "", 2))
    diagram.addChanceNode(gum.LabelizedVariable("part1", "", 2))
    diagram.addDecisionNode(gum.LabelizedVariable("buy", "", 2))
    diagram.addUtilityNode(gum.LabelizedVariable("gain", "", 1))
    diagram.addArc("part0", "part1")
    for parent in ("part0", "part1", "buy"):
        diagram.addArc(parent, "gain")
    first = prior.sum(axis=1)
    diagram.cpt("part0")[:] = first
    for a in (0, 1):
        diagram.cpt("part1")[{"part0": a}] = list(prior[a] / first[a])
        for b in (0, 1):
            diagram.utility("gain")[{"part0": a, "part1": b, "buy": 0}] = [0]
            diagram.utility("gain")[{"part0": a, "part1": b, "buy": 1}] = [gain[a, b]]
    for j in asked:
        diagram.addChanceNode(gum.LabelizedVariable(f"answer{j}", "", 2))
        diagram.addArc(f"part{j}", f"answer{j}")
        diagram.addArc(f"answer{j}", "buy")
        for s in (0, 1):
            diagram.cpt(f"answer{j}")[{f"part{j}": s}] = [1 - yes[j, s], yes[j, s]]
    solver = gum.ShaferShenoyLIMIDInference(diagram)
    solver.makeInference()
    return float(solver.MEU()["mean"])


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
