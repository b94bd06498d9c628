"""What an answer is worth: the expected value of one, two and three questions together.

An answer changes what is believed of a part, of the release or of the size; the buyer then buys only
where the expected surplus is above zero. ``EVSI(A) = sum over answers of max(0, surplus and answer)``.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt

from triage.verdict.states import BITS, PARTS, Array, Flags, odds_ratio

# Bit 8 of a cell: a load-bearing part is unfit; what is said of the pair as a whole hangs on it.
WHOLE = len(PARTS)
BIT_COUNT = len(PARTS) + 1
CELLS = 1 << BIT_COUNT
MOST_QUESTIONS = 3


@dataclass(frozen=True)
class SignQuestion:
    """A sign that can be asked for: the bit it speaks of and the weights of a yes and a no."""

    sign: str
    bit: int
    group: str
    if_true: float
    if_false: float


@dataclass(frozen=True)
class AnswerModel:
    """How likely a yes is, [N, Q], given the part fit or unfit, and whether asking makes sense."""

    yes_if_fit: Array
    yes_if_unfit: Array
    usable: Flags


@dataclass(frozen=True)
class BestSet:
    """The best questions of each of N pairs.

    Attributes:
        evsi: Expected surplus when they are asked first and answered, minor units, [N].
        bits: Which bits they ask for, [N, 9].
        kind: 0 signs alone, 1 with the release, 2 with the size, [N].
        sign: Best question of each bit, index into the questions, [N, 9].
    """

    evsi: Array
    bits: Flags
    kind: npt.NDArray[np.int64]
    sign: npt.NDArray[np.int64]


@dataclass(frozen=True)
class Floor:
    """A buyer's least chance of wearable, where it forbids buying on what is believed now.

    There an answer counts only if it lifts the pair above the floor.

    Attributes:
        least: The floor, 0 to 1.
        binds: Which of N pairs it forbids now, [N].
        mass: Chance by candidate, size (fits, does not) and cell, [N, C, 2, 512].
        wears: The part of ``mass`` whose best plan ends in wearing, [N, C, 2, 512].
    """

    least: float
    binds: Flags
    mass: Array
    wears: Array

    def take(self, rows: npt.NDArray[np.int64]) -> "Floor":
        """Return the floor of some of the pairs."""
        return Floor(self.least, self.binds[rows], self.mass[rows], self.wears[rows])


def cells_of(mass: Array, unwearable_states: Flags) -> Array:
    """Return mass by state, [..., 256], split by whether the pair is wearable, [..., 512]."""
    return np.concatenate([mass * ~unwearable_states, mass * unwearable_states], axis=-1)


CELL_BITS: Array = np.concatenate(
    [np.hstack([BITS, np.zeros((len(BITS), 1))]), np.hstack([BITS, np.ones((len(BITS), 1))])]
)


def answer_model(questions: Sequence[SignQuestion], current_db: Array) -> AnswerModel:
    """Return the chance of a yes that the two weights of a sign imply.

    The weights fix how often the sign is met: ``P(T|fit) = (1 - L-) / (L+ - L-)`` and
    ``P(T|unfit) = L+ P(T|fit)``, so what is expected of an answer averages back to what is believed
    now. Where something of the same group was said already, an answer only adds what it is stronger.

    Args:
        current_db: Decibans that the sign's group carries now, [N, Q].
    """
    if_true = np.array([q.if_true for q in questions])
    if_false = np.array([q.if_false for q in questions])
    plus = np.where(np.abs(if_true) > np.abs(current_db), if_true - current_db, 0.0)
    minus = np.where(np.abs(if_false) > np.abs(current_db), if_false - current_db, 0.0)
    usable = plus * minus < 0
    l_plus = odds_ratio(np.where(usable, plus, 3.0))
    l_minus = odds_ratio(np.where(usable, minus, -3.0))
    fit = (1.0 - l_minus) / (l_plus - l_minus)
    return AnswerModel(np.where(usable, fit, 0.5), np.where(usable, l_plus * fit, 0.5), usable)


def single_gains(
    surplus: Array, questions: Sequence[SignQuestion], model: AnswerModel, floor: Floor | None = None
) -> Array:
    """Return the EVSI of each question alone, [N, Q].

    Args:
        surplus: Surplus times chance by cell, candidates and sizes summed, [N, 512].
        floor: Where an answer must lift the pair above a floor to count.
    """
    bits = np.array([q.bit for q in questions])

    def answers(values: Array) -> tuple[Array, Array]:
        unfit = (values @ CELL_BITS)[:, bits]
        fit = values.sum(axis=1, keepdims=True) - unfit
        yes = fit * model.yes_if_fit + unfit * model.yes_if_unfit
        return yes, fit + unfit - yes

    value = [np.maximum(part, 0) for part in answers(surplus)]
    if floor is not None:
        mass = answers(floor.mass.sum(axis=(1, 2)))
        wears = answers(floor.wears.sum(axis=(1, 2)))
        open_to_buy = [(w >= floor.least * m) | ~floor.binds[:, None] for w, m in zip(wears, mass, strict=True)]
        value = [v * o for v, o in zip(value, open_to_buy, strict=True)]
    return np.asarray(value[0] + value[1])


def best_sets(
    surplus: Array, model: AnswerModel, questions: Sequence[SignQuestion], step_minor: float,
    floor: Floor | None = None,
) -> BestSet:  # fmt: skip
    """Return the best set of up to three questions for each pair.

    One of them may ask for the release or for the size, which sets the candidates, or the two sizes,
    apart for certain. A further question must add ``step_minor``, or the shorter message is the better.

    Args:
        surplus: Surplus times chance by candidate, size (fits, does not) and cell, [N, C, 2, 512].
        floor: Where an answer must lift the pair above a floor to count.
    """
    gains = single_gains(surplus.sum(axis=(1, 2)), questions, model, floor)
    sign, fit, unfit = _best_of_bits(gains, questions, model)
    likelihood = np.stack([np.stack([1 - fit, fit], -1), np.stack([1 - unfit, unfit], -1)], axis=2)
    count = len(surplus)
    best = BestSet(np.zeros(count), np.zeros((count, BIT_COUNT), np.bool_), np.zeros(count, np.int64), sign)
    net = np.full(count, -np.inf)
    for kind, split in enumerate((_whole, _by_release, _by_size)):
        gate = None if floor is None else (split(floor.mass) * floor.least, split(floor.wears), floor.binds)
        for size in range(0 if kind else 1, MOST_QUESTIONS + (0 if kind else 1)):
            value, chosen = _sets_of(split(surplus), likelihood, size, gate)
            price = value - step_minor * (size + (kind > 0) - 1)
            better = price > net + 1e-9
            net = np.where(better, price, net)
            best = BestSet(
                np.where(better, value, best.evsi),
                np.where(better[:, None], chosen, best.bits),
                np.where(better, kind, best.kind),
                sign,
            )
    return best


def _whole(values: Array) -> Array:
    return np.asarray(values.sum(axis=(1, 2))[:, None, :])


def _by_release(values: Array) -> Array:
    return np.asarray(values.sum(axis=2))


def _by_size(values: Array) -> Array:
    return np.asarray(values.sum(axis=1))


def _best_of_bits(
    gains: Array, questions: Sequence[SignQuestion], model: AnswerModel
) -> tuple[npt.NDArray[np.int64], Array, Array]:
    """Return the best question of each bit, [N, 9], with its chances of a yes; no question: even."""
    rows = np.arange(len(gains))
    sign = np.full((len(gains), BIT_COUNT), -1)
    fit, unfit = np.full(sign.shape, 0.5), np.full(sign.shape, 0.5)
    for bit in range(BIT_COUNT):
        own = [number for number, question in enumerate(questions) if question.bit == bit]
        if not own:
            continue
        value = np.where(model.usable[:, own], gains[:, own], -np.inf)
        chosen = np.array(own)[value.argmax(axis=1)]
        any_usable = model.usable[:, own].any(axis=1)
        sign[:, bit] = np.where(any_usable, chosen, -1)
        fit[:, bit] = np.where(any_usable, model.yes_if_fit[rows, chosen], 0.5)
        unfit[:, bit] = np.where(any_usable, model.yes_if_unfit[rows, chosen], 0.5)
    return sign, fit, unfit


def _sets_of(
    parted: Array, likelihood: Array, size: int, gate: tuple[Array, Array, Flags] | None
) -> tuple[Array, Flags]:
    """Return the best EVSI over all sets of ``size`` bits, [N], and which bits they are, [N, 9].

    Args:
        parted: Surplus times chance by part of a partition that the answer also tells, [N, P, 512].
        likelihood: Chance of an answer, [N, 9, unfit 0/1, answer 0/1].
        gate: By the same parts the least chance of wearable, the chance, and for whom it must be met.
    """
    groups = list(combinations(range(BIT_COUNT), size))
    value = np.empty((len(parted), len(groups)))
    for number, group in enumerate(groups):
        table = np.maximum(_by_answers(parted, likelihood, group), 0)
        if gate is not None:
            least, wears = (_by_answers(side, likelihood, group) for side in gate[:2])
            binds = gate[2].reshape(-1, *([1] * (table.ndim - 1)))
            table = table * ((wears >= least) | ~binds)
        value[:, number] = table.sum(axis=tuple(range(1, table.ndim)))
    chosen = value.argmax(axis=1)
    asked = np.zeros((len(groups), BIT_COUNT), dtype=np.bool_)
    for number, group in enumerate(groups):
        asked[number, list(group)] = True
    return value.max(axis=1), asked[chosen]


def _by_answers(parted: Array, likelihood: Array, group: Sequence[int]) -> Array:
    """Return values by part and answer, [N, P, answer 0/1 of each bit of the group]."""
    table = (parted @ _cell_matrix(group)).reshape(*parted.shape[:2], *([2] * len(group)))
    for bit in group:
        # The first remaining axis is the state of this bit; its answer is put last.
        table = np.einsum("npu...,nua->np...a", table, likelihood[:, bit])
    return np.asarray(table)


def _cell_matrix(group: Sequence[int]) -> Array:
    """Return the sum of cells by the states of some bits, [512, 2^len(group)], first bit slowest."""
    code = np.zeros(CELLS, dtype=np.int64)
    for bit in group:
        code = code * 2 + CELL_BITS[:, bit].astype(np.int64)
    return np.asarray(np.eye(1 << len(group))[code])


def perfect_value(surplus: Array) -> Array:
    """Return what knowing everything would be worth, ``sum of max(0, surplus)``, [N]: no answers beat it.

    Args:
        surplus: Surplus times chance by candidate, size and cell, [N, ...].
    """
    return np.asarray(np.maximum(surplus, 0).sum(axis=tuple(range(1, surplus.ndim))))


def asking_value(evsi: Array, surplus: Array, reply: float, loss: float, cost_minor: float) -> Array:
    """Return what asking is worth: ``(1-q)(r EVSI + (1-r) max(EV, 0)) - c``, minor units.

    Args:
        evsi: Expected surplus with the answers, minor units.
        surplus: Expected surplus now, EV, minor units.
        reply: Chance r of a usable answer.
        loss: Chance q that the pair goes meanwhile.
        cost_minor: Cost c of asking.

    Source:
        Value of information, Howard 1966 (IEEE Trans. Systems Science and Cybernetics), from memory.
    """
    return np.asarray((1 - loss) * (reply * evsi + (1 - reply) * np.maximum(surplus, 0)) - cost_minor)
