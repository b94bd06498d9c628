"""Joint states of a pair's parts: what is believed of all of them together.

A state says of each of the eight parts whether it is unfit: 256 states, bit j = part j. Storage is
one hidden variable of the whole pair, so parts are independent only at a given storage node; signs
speak of a part, or of the pair as a whole, and re-weight storage nodes and candidates by Bayes.
"""

from dataclasses import dataclass
from functools import reduce
from typing import Any

import numpy as np
import numpy.typing as npt

PARTS = ("midsole", "outsole", "cushion", "bond", "trim", "coating", "upper", "lining")
STATES = 1 << len(PARTS)

Array = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
# As the store has chances at the storage nodes: seven digits.
Chances = npt.NDArray[np.float32]
Places = npt.NDArray[np.int64]
Rows = Places | slice


def bits_of(count: int) -> Array:
    """Return which of ``count`` bits each number has, [2^count, count]."""
    return ((np.arange(1 << count)[:, None] >> np.arange(count)) & 1).astype(np.float64)


# Part j is unfit in state s where BITS[s, j] = 1.
BITS = bits_of(len(PARTS))
# Whether two states have an unfit part in common.
SHARED: Flags = (np.arange(STATES)[:, None] & np.arange(STATES)) > 0


@dataclass(frozen=True)
class Led:
    """Chances of unfit of N pairs' candidates, each those of the life it led: laid out only of the pairs in hand.

    Attributes:
        of_life: By life, part and storage node, [L, 8, K].
        life: Which of them each candidate led, [N, C].
    """

    of_life: Chances
    life: Places

    def __getitem__(self, rows: Rows) -> Chances:
        """Return the chances of some of the pairs, [n, C, 8, K]."""
        return self.of_life[self.life[rows]]

    def __array__(self, dtype: npt.DTypeLike | None = None, copy: bool | None = None) -> npt.NDArray[Any]:
        """Return the chances of all pairs, [N, C, 8, K]."""
        return np.asarray(self[:], dtype)


def greatest(chance: Array | Chances | Led) -> Array | Chances:
    """Return the greatest chance of unfit of each part at any node, of any candidate, [N, 8]."""
    if isinstance(chance, Led):
        return np.asarray(chance.of_life.max(axis=2)[chance.life].max(axis=1))
    return np.asarray(chance.max(axis=(1, 3)))


@dataclass(frozen=True)
class Evidence:
    """What is known of N pairs with up to C candidates each, at K storage nodes.

    The eight parts, or, ``narrowed``, only those that some of the pairs have: where a part is told apart
    by its number, 8 stands for however many there are, and 256 for their states.

    Attributes:
        weight: Chance of each candidate, [N, C], rows sum to 1.
        node_weight: Weights of the storage nodes, [K], sum 1.
        chance: Chance of unfit by ageing, [N, C, 8, K]; 0 where a candidate lacks the part.
        rule_db: Decibans of rules, [N, C, 8]; they move the chance before any sign is heard.
        sign_db: Decibans of signs of a part, [N, 8].
        whole_db: Decibans of what is said of the pair as a whole, [N, C].
        bears: The part can drop, trip or cut the wearer, [N, C, 8].
    """

    weight: Array
    node_weight: Array
    chance: Array | Chances | Led
    rule_db: Array
    sign_db: Array
    whole_db: Array
    bears: Flags

    def take(self, rows: Rows) -> "Evidence":
        """Return the evidence for some of the pairs."""
        return Evidence(
            self.weight[rows], self.node_weight, self.chance[rows], self.rule_db[rows], self.sign_db[rows],
            self.whole_db[rows], self.bears[rows],
        )  # fmt: skip

    def narrowed(self, candidates: int, parts: Places) -> "Evidence":
        """Return the evidence for the first candidates and some parts, where the others weigh nothing."""
        return Evidence(
            self.weight[:, :candidates], self.node_weight, np.asarray(self.chance)[:, :candidates, parts],
            self.rule_db[:, :candidates, parts], self.sign_db[:, parts], self.whole_db[:, :candidates],
            self.bears[:, :candidates, parts],
        )  # fmt: skip


def odds_ratio(decibans: Array) -> Array:
    """Return the likelihood ratio of a weight of evidence in decibans.

    Source:
        Good 1950, Probability and the Weighing of Evidence; 10 log10 of the ratio.
    """
    return np.asarray(np.exp(np.asarray(decibans) * (np.log(10.0) / 10.0)))


def shifted(chance: Array | Chances | Led, decibans: Array) -> Array:
    """Return chances moved by decibans: odds times 10^(db/10). 0 and 1 stay what they are."""
    # Chances of four bytes come from the store; arithmetic is in eight.
    chance, ratio = np.asarray(chance, dtype=np.float64), odds_ratio(decibans)
    return np.asarray(chance * ratio / (1.0 - chance + chance * ratio))


def masks_of(bears: Flags) -> npt.NDArray[np.int64]:
    """Return parts as states in which they are unfit, [...] for ``bears`` [..., 8]."""
    return np.asarray(bears @ (1 << np.arange(bears.shape[-1])))


def unwearable(bears: Flags) -> Flags:
    """Return in which states a load-bearing part is unfit, [..., 256] for ``bears`` [..., 8]."""
    return np.asarray(SHARED[masks_of(bears), : 1 << bears.shape[-1]])


def joint(evidence: Evidence) -> Array:
    """Return the chance of each candidate and state together, [N, C, 256]; each pair sums to 1.

    At a storage node parts are independent, so a state's mass is a product: that of the first half of the
    parts times that of the second half, summed over the nodes.

    Source:
        Bayes' rule over the network candidate -> parts <- storage, part -> signs, parts -> whole
        signs; checked against an exact solver in the tests.
    """
    fit, unfit = _likelihoods(evidence)
    half = fit.shape[2] // 2
    low = _products(fit[:, :, :half], unfit[:, :, :half])
    high = _products(fit[:, :, half:], unfit[:, :, half:]) * evidence.node_weight
    states = (high @ low.swapaxes(2, 3)).reshape(*fit.shape[:2], 1 << fit.shape[2])
    states *= evidence.weight[..., None]
    heard = np.flatnonzero(evidence.whole_db.any(axis=1))
    if len(heard):
        ratio = odds_ratio(evidence.whole_db[heard])[..., None]
        states[heard] *= np.where(unwearable(evidence.bears[heard]), ratio, 1.0)
    states /= states.sum(axis=(1, 2), keepdims=True)
    return np.asarray(states)


def _likelihoods(evidence: Evidence) -> tuple[Array, Array]:
    """Return the chance of each part being fit, and of it being unfit and showing its signs, [N, C, 8, K]."""
    chance = shifted(evidence.chance, evidence.rule_db[..., None])
    return 1.0 - chance, chance * odds_ratio(evidence.sign_db)[:, None, :, None]


def _products(fit: Array, unfit: Array) -> Array:
    """Return the mass of each state of some parts, [N, C, 2^parts, K]; bit j is part j."""
    mass = np.ones((*fit.shape[:2], 1, fit.shape[3]))
    for part in range(fit.shape[2]):
        # States double with each part: its fit half first, so that bit j has value 2^j.
        mass = np.concatenate([mass * fit[:, :, part, None], mass * unfit[:, :, part, None]], axis=2)
    return mass


def marginals(evidence: Evidence) -> tuple[Array, Array]:
    """Return the chance of unfit of each part, [N, 8], and of wearable, [N], candidates mixed.

    The sums over ``joint`` in closed form: at a node, with Z what all states weigh and G those in which
    every load-bearing part is fit, what is said of the pair as a whole multiplies Z - G by its ratio.
    """
    # Pairs last: a step then runs along them, not along seven nodes.
    fit, unfit = (np.ascontiguousarray(side.transpose(2, 1, 3, 0)) for side in _likelihoods(evidence))
    bears = evidence.bears.transpose(2, 1, 0)[:, :, None]
    both = fit + unfit
    every = both.prod(axis=0)
    good = np.where(bears, fit, both).prod(axis=0)
    ratio = odds_ratio(evidence.whole_db).T[:, None]
    share = evidence.weight.T[:, None] * evidence.node_weight[:, None]
    bad = share * ratio * (every - good)
    good = share * good
    total = _added_up(good + bad)
    # A load-bearing part that is unfit leaves none of the good states.
    heavy = np.where(bears, share * ratio * every, good + bad)
    parts = [_added_up(part) / total for part in heavy * (unfit / both)]
    return np.stack(parts, axis=1), _added_up(good) / total


def _added_up(values: Array) -> Array:
    """Return the sum over candidates and nodes, [N] of [C, K, N], one after the other.

    NumPy's own sum adds in another order when there is one pair only; a pair alone must give the same bytes.
    """
    return np.asarray(reduce(np.add, values.reshape(-1, values.shape[-1])))


def part_chances(states: Array) -> Array:
    """Return the chance of unfit of each part, candidates mixed, [N, 8]."""
    return np.asarray(states.sum(axis=1) @ bits_of(states.shape[-1].bit_length() - 1))


def wearable_chance(states: Array, bears: Flags) -> Array:
    """Return the chance that every load-bearing part is fit, [N]."""
    return np.asarray((states * ~unwearable(bears)).sum(axis=(1, 2)))
