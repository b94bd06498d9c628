"""Joint states of a pair's parts: what is believed of all of them together.

A state says of each of the eight parts whether it is unfit: 256 states, bit j = part j. Storage is
one hidden variable of the whole pair, so parts are independent only at a given storage node; signs
speak of a part, or of the pair as a whole, and re-weight storage nodes and candidates by Bayes.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

PARTS = ("midsole", "outsole", "cushion", "bond", "trim", "coating", "upper", "lining")
STATES = 1 << len(PARTS)

Array = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

# bits[s, j] = 1 where part j is unfit in state s.
BITS: Array = ((np.arange(STATES)[:, None] >> np.arange(len(PARTS))) & 1).astype(np.float64)


@dataclass(frozen=True)
class Evidence:
    """What is known of N pairs with up to C candidates each, at K storage nodes.

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
    chance: Array
    rule_db: Array
    sign_db: Array
    whole_db: Array
    bears: Flags


def odds_ratio(decibans: Array) -> Array:
    """Return the likelihood ratio of a weight of evidence in decibans.

    Source:
        Good 1950, Probability and the Weighing of Evidence; 10 log10 of the ratio.
    """
    return np.asarray(10.0 ** (np.asarray(decibans) / 10.0))


def shifted(chance: Array, decibans: Array) -> Array:
    """Return chances moved by decibans: odds times 10^(db/10). 0 and 1 stay what they are."""
    ratio = odds_ratio(decibans)
    return np.asarray(chance * ratio / (1.0 - chance + chance * ratio))


def unwearable(bears: Flags) -> Flags:
    """Return in which states a load-bearing part is unfit, [..., 256] for ``bears`` [..., 8]."""
    return np.asarray((bears.astype(np.float64) @ BITS.T) > 0)


def joint(evidence: Evidence) -> Array:
    """Return the chance of each candidate and state together, [N, C, 256]; each pair sums to 1.

    Source:
        Bayes' rule over the network candidate -> parts <- storage, part -> signs, parts -> whole
        signs; checked against an exact solver in the tests.
    """
    likelihood = odds_ratio(evidence.sign_db)[:, None, :, None]
    chance = shifted(evidence.chance, evidence.rule_db[..., None])
    mass = evidence.weight[:, :, None, None] * evidence.node_weight[None, None, :, None]
    for part in range(len(PARTS)):
        unfit = chance[:, :, part, :, None]
        # States double with each part: its fit half first, so that bit j has value 2^j.
        mass = np.concatenate([mass * (1.0 - unfit), mass * unfit * likelihood[:, :, part, :, None]], axis=3)
    states = mass.sum(axis=2)
    states *= np.where(unwearable(evidence.bears), odds_ratio(evidence.whole_db)[..., None], 1.0)
    return np.asarray(states / states.sum(axis=(1, 2), keepdims=True))


def part_chances(states: Array) -> Array:
    """Return the chance of unfit of each part, candidates mixed, [N, 8]."""
    return np.asarray(states.sum(axis=1) @ BITS)


def wearable_chance(states: Array, bears: Flags) -> Array:
    """Return the chance that every load-bearing part is fit, [N]."""
    return np.asarray((states * ~unwearable(bears)).sum(axis=(1, 2)))
