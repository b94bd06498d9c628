"""What an answer is worth: the expected value of one, two and three questions together.

An answer changes what is believed of a part, of the release or of the size; the buyer then buys only
where the expected surplus is above zero. ``EVSI(A) = sum over answers of max(0, surplus and answer)``.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import combinations, product

import numpy as np

from triage.verdict.states import PARTS, Array, Flags, Places, Rows, bits_of, odds_ratio

# A cell is a state and one bit more, the last: a load-bearing part is unfit; what is said of the pair as a whole
# hangs on it. As with states, 512 stands for the cells of however many parts there are, and 9 for their bits.
WHOLE = len(PARTS)
BIT_COUNT = len(PARTS) + 1
MOST_QUESTIONS = 3
# Gains that differ by less than this share are the same.
SAME_GAIN = 1e-9


@dataclass(frozen=True)
class SignQuestion:
    """A sign that can be asked for: the bit it speaks of, the weights of a yes and a no, and of what it is asked."""

    sign: str
    bit: int
    group: str
    if_true: float
    if_false: float
    only_if: tuple[tuple[str, tuple[str, ...]], ...] = ()


@dataclass(frozen=True)
class AnswerModel:
    """How likely a yes is, [N, Q], given the part fit or unfit, and whether asking makes sense."""

    yes_if_fit: Array
    yes_if_unfit: Array
    usable: Flags

    def take(self, rows: Rows) -> "AnswerModel":
        """Return the model for some of the pairs."""
        return AnswerModel(self.yes_if_fit[rows], self.yes_if_unfit[rows], self.usable[rows])


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
    kind: Places
    sign: Places

    def take(self, rows: Rows | Flags) -> "BestSet":
        """Return the best sets of some of the pairs."""
        return BestSet(self.evsi[rows], self.bits[rows], self.kind[rows], self.sign[rows])

    def put(self, rows: Rows | Flags, found: "BestSet") -> None:
        """Write the best sets of some of the pairs into those of all."""
        for name in self.__dataclass_fields__:
            getattr(self, name)[rows] = getattr(found, name)


def no_questions(count: int, bit_count: int) -> BestSet:
    """Return the best sets of pairs of which nothing is asked."""
    bits = np.zeros((count, bit_count), np.bool_)
    return BestSet(np.zeros(count), bits, np.zeros(count, np.int64), np.full(bits.shape, -1))


@dataclass(frozen=True)
class Floor:
    """A buyer's least chance of wearable, where it forbids buying on what is believed now.

    There an answer counts only if it lifts the pair above the floor.

    Attributes:
        binds: Which of N pairs it forbids now, [N].
        above: How much more of a cell's chance ends in wearing than the floor demands, by candidate, size
            (fits, does not) and cell, pairs last, [C, 2, 512, N]; an answer is above the floor where its sum
            is not below 0.
    """

    binds: Flags
    above: Array


def cells_of(mass: Array, unwearable_states: Flags, axis: int = -1) -> Array:
    """Return mass by state, 256 along an axis, split by whether the pair is wearable, 512."""
    return np.concatenate([mass * ~unwearable_states, mass * unwearable_states], axis=axis)


CELL_BITS = bits_of(BIT_COUNT)


def moments(values: Array) -> Array:
    """Return the sum over the cells in which all bits of a set are unfit, for sets of up to three bits.

    Args:
        values: By cell, pairs last, [..., 512, N].

    Returns:
        [..., 130, N], sets in the order of ``sets_of``.
    """
    count = values.shape[-2].bit_length() - 1
    found = values.reshape(-1, *([2] * count), values.shape[-1]).copy()
    for axis in range(1, count + 1):
        # Adding up one bit after the other makes of each cell the sum of the cells that have its bits.
        off, on = (np.moveaxis(found, axis, 0)[state] for state in (0, 1))
        off += on
    return np.asarray(found.reshape(values.shape)[..., sets_of(count)[0], :])


@lru_cache
def sets_of(count: int) -> tuple[Places, list[tuple[Places, Places]]]:
    """Return all sets of up to three of ``count`` bits as cells, [T], and by size their bits and their subsets.

    T is 130 for nine bits. Bits are [S, size]; subsets are places in the T, [S, 2 for each bit], 1 where the
    bit is in it.
    """
    bits = [np.array(list(combinations(range(count), size)), dtype=np.int64) for size in range(MOST_QUESTIONS + 1)]
    cells = [(1 << some).sum(axis=1) for some in bits]
    every = np.concatenate(cells)
    place = np.full(1 << count, -1)
    place[every] = np.arange(len(every))
    found = []
    for size, some in enumerate(bits):
        subsets = np.array(list(product((0, 1), repeat=size)), dtype=np.int64)
        found.append((some, place[(1 << some) @ subsets.T].reshape(len(some), *([2] * size))))
    return every, found


def suits(questions: Sequence[SignQuestion], made_of: Sequence[Mapping[str, str] | None]) -> Flags:
    """Return which questions make sense of which constructions, [M, Q]; of one that nobody knows all do.

    Args:
        made_of: Of each construction, part to material keys joined by ``;``.
    """
    found = np.ones((len(made_of), len(questions)), dtype=np.bool_)
    parts = {part for question in questions for part, _ in question.only_if}
    # Constructions are many, what a part is made of is not.
    cells = {part: np.array(["" if one is None else one.get(part, "") for one in made_of]) for part in parts}
    kinds = {part: np.unique(some, return_inverse=True) for part, some in cells.items()}
    for number, question in enumerate(questions):
        for part, keys in question.only_if:
            names, at = kinds[part]
            has = [not set(keys).isdisjoint(name.split(";")) for name in names.tolist()]
            found[:, number] &= np.array(has, dtype=np.bool_)[at]
    found[[one is None for one in made_of]] = True
    return found


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
        unfit = (values @ bits_of(values.shape[-1].bit_length() - 1))[:, bits]
        fit = values.sum(axis=1, keepdims=True) - unfit
        yes = fit * model.yes_if_fit + unfit * model.yes_if_unfit
        return yes, fit + unfit - yes

    value = [np.maximum(part, 0) for part in answers(surplus)]
    if floor is not None:
        above = answers(floor.above.sum(axis=(0, 1)).T)
        value = [v * ((a >= 0) | ~floor.binds[:, None]) for v, a in zip(value, above, strict=True)]
    return np.asarray(value[0] + value[1])


def best_sets(
    surplus: Array, model: AnswerModel, questions: Sequence[SignQuestion], step_minor: float,
    floor: Floor | None = None,
) -> BestSet:  # fmt: skip
    """Return the best set of up to three questions for each pair.

    One of them may ask for the release or for the size, which sets the candidates, or the two sizes,
    apart for certain. A further question must add ``step_minor``, or the shorter message is the better.

    Args:
        surplus: Surplus times chance by candidate, size (fits, does not) and cell, pairs last, [C, 2, 512, N].
        floor: Where an answer must lift the pair above a floor to count.
    """
    gains = single_gains(surplus.sum(axis=(0, 1)).T, questions, model, floor)
    count, bit_count = surplus.shape[-1], surplus.shape[-2].bit_length() - 1
    sign, fit, unfit = _best_of_bits(gains, questions, model, bit_count)
    channel = (fit.T.copy(), (unfit - fit).T.copy())
    summed = moments(surplus)
    above = None if floor is None else moments(floor.above)
    best = replace(no_questions(count, bit_count), sign=sign)
    net = np.full(count, -np.inf)
    for kind, told in enumerate(PARTITIONS):
        parted = _parted(summed, told)
        held = None if floor is None or above is None else (_parted(above, told), floor.binds)
        for size in range(0 if kind else 1, MOST_QUESTIONS + (0 if kind else 1)):
            value, chosen = _sets_of(parted, channel, size, held)
            price = value - step_minor * (size + (kind > 0) - 1)
            better = price > net + 1e-9
            net = np.where(better, price, net)
            best.put(better, BestSet(value, chosen, np.full(count, kind), sign).take(better))
    return best


# Axes of candidate and size that are summed up when the answers tell of neither, the release, the size.
PARTITIONS = ((0, 1), (1,), (0,))


def _parted(summed: Array, told: tuple[int, ...]) -> Array:
    """Return moments by part of a partition, [P, 130, N]."""
    return np.asarray(summed.sum(axis=told).reshape(-1, *summed.shape[2:]))


def _best_of_bits(
    gains: Array, questions: Sequence[SignQuestion], model: AnswerModel, bit_count: int
) -> tuple[Places, Array, Array]:
    """Return the best question of each bit, [N, 9], with its chances of a yes; no question: even."""
    rows = np.arange(len(gains))
    sign = np.full((len(gains), bit_count), -1)
    fit, unfit = np.full(sign.shape, 0.5), np.full(sign.shape, 0.5)
    for bit in range(bit_count):
        own = [number for number, question in enumerate(questions) if question.bit == bit]
        if not own:
            continue
        value = np.where(model.usable[:, own], gains[:, own], -np.inf)
        best = value.max(axis=1, keepdims=True)
        # Where none of them alone would change anything, all gains are one but for rounding: the most telling it is.
        alike = value >= best - SAME_GAIN * (1 + np.abs(best))
        telling = np.abs(model.yes_if_unfit[:, own] - model.yes_if_fit[:, own])
        chosen = np.array(own)[np.where(alike, telling, -1.0).argmax(axis=1)]
        any_usable = model.usable[:, own].any(axis=1)
        sign[:, bit] = np.where(any_usable, chosen, -1)
        fit[:, bit] = np.where(any_usable, model.yes_if_fit[rows, chosen], 0.5)
        unfit[:, bit] = np.where(any_usable, model.yes_if_unfit[rows, chosen], 0.5)
    return sign, fit, unfit


def _sets_of(
    parted: Array, channel: tuple[Array, Array], size: int, gate: tuple[Array, Flags] | None
) -> tuple[Array, Flags]:
    """Return the best EVSI over all sets of ``size`` bits, [N], and which bits they are, [N, 9].

    Args:
        parted: Moments of the surplus by part of a partition that the answer also tells, [P, 130, N].
        channel: Chance of a yes when fit, and how much more it is when unfit, [9, N] each.
        gate: By the same parts how far above the floor, and whom it binds.
    """
    table = np.maximum(_by_answers(parted, channel, size), 0)
    if gate is not None:
        table *= (_by_answers(gate[0], channel, size) >= 0) | ~gate[1]
    value = table.sum(axis=(0, *range(2, table.ndim - 1)))
    chosen = value.argmax(axis=0)
    count = len(channel[0])
    bits = (sets_of(count)[1][size][0][chosen][..., None] == np.arange(count)).any(axis=1)
    return np.take_along_axis(value, chosen[None], axis=0)[0], bits


def _by_answers(parted: Array, channel: tuple[Array, Array], size: int) -> Array:
    """Return values by part, set of ``size`` bits and answers, [P, sets, answer 0/1 of each bit, N].

    With u = 1 where a bit is unfit, the chance of a yes is ``fit + u more``: what a yes leaves is a sum of
    moments, and a no leaves the rest.
    """
    bits, subsets = sets_of(len(channel[0]))[1][size]
    table = parted[:, subsets]
    for place in range(size):
        fit, more = (side[bits[:, place]].reshape(len(bits), *([1] * (size - 1)), -1) for side in channel)
        # The first remaining axis is this bit; its answer is put last.
        every, unfit = table[:, :, 0], table[:, :, 1]
        yes = every * fit + unfit * more
        table = np.stack([every - yes, yes], axis=-2)
    return np.asarray(table)


def perfect_value(chance: Array, worth: Array) -> Array:
    """Return what knowing everything would be worth, ``sum of chance max(0, worth)``, [N]: no answers beat it.

    Args:
        chance: Of every candidate and state, [N, ...].
        worth: Surplus in each, minor units, of the same shape.
    """
    each = (values.reshape(len(values), -1) for values in (chance, np.maximum(worth, 0)))
    return np.asarray(np.einsum("ns,ns->n", *each))


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
