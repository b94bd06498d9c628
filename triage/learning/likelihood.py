"""How likely what was found is, given everything said before: the model of the night, read backwards, with slopes.

A pair's parts share one hidden storage node; signs and rules move each part; what is said of the pair as a whole
moves the states in which a load-bearing part is unfit: the network of ``verdict.states``, whose sums these are.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from triage.prognosis.ageing import Array, normal_nodes
from triage.prognosis.chances import STORAGE_NODES, Past
from triage.verdict.beliefs import TEXT_LEAST_DB, TEXT_MOST_DB
from triage.verdict.states import PARTS, Flags, odds_ratio

Places = npt.NDArray[np.int64]

NATS_PER_DB = np.log(10.0) / 10.0
# Where the decibans of the pair as a whole stand, behind those of the parts.
WHOLE = len(PARTS)
NOT_LOOKED_AT, FIT, UNFIT = -1, 0, 1
# Stands for a chance of 0 where one is divided by.
LEAST = 1e-300


@dataclass(frozen=True)
class Lives:
    """What the parts are made of and have been through: M pieces of material in A alternatives for a part.

    Attributes:
        past: How far each piece had aged when it was looked at, M rows.
        alternative: Which alternative each piece belongs to, [M], rising; pieces of one must all hold.
        candidate: Which candidate each alternative is a part of, [A].
        part: Which part that is, [A].
        share: Chance of the alternative, [A]; those of one part sum to 1.
    """

    past: Past
    alternative: Places
    candidate: Places
    part: Places
    share: Array


@dataclass(frozen=True)
class Said:
    """Signs that count, T rows.

    Attributes:
        pair: Whose it is.
        part: Its part, 8 for the pair as a whole.
        weight: Which of the fitted weights it carries.
        factor: How much of that weight: half of it when hedged.
        text: It stands in the listing's text, whose signs together are held within bounds.
    """

    pair: Places
    part: Places
    weight: Places
    factor: Array
    text: Flags


@dataclass(frozen=True)
class Inspected:
    """N inspected pairs with B candidate releases among them.

    Attributes:
        found: What was found of each part, [N, 8]: ``NOT_LOOKED_AT``, ``FIT`` or ``UNFIT``.
        pair: Whose each candidate is, [B], rising.
        weight: Chance of each candidate, [B]; those of one pair sum to 1.
        rule_db: Decibans of rules by part, the last of the pair as a whole, [B, 9].
        bears: The part can drop, trip or cut the wearer, [B, 8].
        lives: What the parts are made of.
        said: What was said of them.
    """

    found: npt.NDArray[np.int8]
    pair: Places
    weight: Array
    rule_db: Array
    bears: Flags
    lives: Lives
    said: Said


@dataclass(frozen=True)
class Numbers:
    """The numbers that are fitted: ln eta (years) and ln beta by material, and the decibans of signs."""

    ln_eta: Array
    ln_beta: Array
    weight_db: Array


def log_likelihood(inspected: Inspected, numbers: Numbers) -> tuple[Array, Numbers]:
    """Return the log chance of what was found on each pair given what was said of it, and the slope of their sum.

    ``ln P(found | said)``, so pairs may have been chosen for anything that was said: what made the buyer buy
    cancels out as long as it is among the signs, the age, the release and the place.

    Returns:
        Nats, [N]; and the slope along every number, in the shape of ``numbers``.

    Source:
        Bayes' rule over ``verdict.states.joint``; ageing as ``prognosis.ageing.unfit_after_proof``, current
        status: an inspection censors the age of failing from the left or the right.
    """
    fit, slopes = _fit_of_parts(inspected, numbers)
    sign_db, within = _sign_db(inspected, numbers.weight_db)
    model = _Model(inspected, fit, sign_db)
    seen, all_states = model.chance_of(inspected.found), model.chance_of(np.full_like(inspected.found, NOT_LOOKED_AT))
    along_fit = seen.along_fit - all_states.along_fit
    along_db = (seen.along_db - all_states.along_db) * within
    eta, beta = slopes.along(along_fit, inspected.lives, len(numbers.ln_eta))
    said = inspected.said
    db = np.where(said.text, along_db[said.pair, said.part, 0], along_db[said.pair, said.part, 1])
    weight = _sums(said.weight, db * said.factor, len(numbers.weight_db))
    return seen.log - all_states.log, Numbers(eta, beta, weight)


def _sign_db(inspected: Inspected, weight_db: Array) -> tuple[Array, Array]:
    """Return the decibans of what was said, [N, 9], and whether text and the rest count in them, [N, 9, 2]."""
    said, pairs = inspected.said, len(inspected.found)
    place = said.pair * (WHOLE + 1) + said.part
    db = weight_db[said.weight] * said.factor
    text, rest = (
        _sums(place[rows], db[rows], pairs * (WHOLE + 1)).reshape(pairs, WHOLE + 1) for rows in (said.text, ~said.text)
    )
    held = (text > TEXT_LEAST_DB) & (text < TEXT_MOST_DB)
    within = np.stack([held, np.ones_like(held)], axis=2).astype(np.float64)
    return np.clip(text, TEXT_LEAST_DB, TEXT_MOST_DB) + rest, within


def _sums(place: Places, values: Array, places: int) -> Array:
    return np.asarray(np.bincount(place, values, minlength=places), dtype=np.float64)


@dataclass(frozen=True)
class _Side:
    """Log chance of some states, [N], with its slope along fit, [B, 8, K], and along decibans, [N, 9, 1]."""

    log: Array
    along_fit: Array
    along_db: Array


class _Model:
    """Chances of what is seen of the parts, at some numbers."""

    def __init__(self, inspected: Inspected, fit: Array, sign_db: Array) -> None:
        self.inspected = inspected
        rule = odds_ratio(inspected.rule_db[:, :WHOLE])[..., None]
        moved = fit + (1.0 - fit) * rule
        self.fit, self.unfit = fit / moved, (1.0 - fit) * rule / moved
        self.along = rule / moved**2
        self.ratio = odds_ratio(sign_db[inspected.pair, :WHOLE])[..., None]
        self.whole = odds_ratio(sign_db[inspected.pair, WHOLE] + inspected.rule_db[:, WHOLE])[:, None]
        _, nodes = normal_nodes(STORAGE_NODES)
        self.share = inspected.weight[:, None] * nodes

    def chance_of(self, found: npt.NDArray[np.int8]) -> _Side:
        """Return the chance of all that was said together with what was found of each part, [N, 8]."""
        of = found[self.inspected.pair][..., None]
        looked_fit, looked_unfit = of == FIT, of == UNFIT
        mass = np.where(looked_fit, self.fit, self.unfit * self.ratio + np.where(looked_unfit, 0.0, self.fit))
        along = self.along * np.where(looked_fit, 1.0, np.where(looked_unfit, 0.0, 1.0) - self.ratio)
        bears = self.inspected.bears[..., None]
        # All load-bearing parts fit: nothing is left of it where one of them was found unfit.
        good = np.where(bears, self.fit, mass)
        good_along = np.where(bears, self.along, along)
        possible = ~(bears & looked_unfit).any(axis=1)
        every, sound = mass.prod(axis=1), good.prod(axis=1) * possible
        bad_share, good_share = self.share * self.whole * every, self.share * (1.0 - self.whole) * sound
        total = self._by_pair((bad_share + good_share).sum(axis=1))
        scale = 1.0 / np.maximum(total, LEAST)[self.inspected.pair]
        first = (bad_share * scale[:, None])[:, None] / np.maximum(mass, LEAST)
        second = (good_share * scale[:, None])[:, None] / np.maximum(good, LEAST)
        spoken = np.where(looked_fit, 0.0, self.unfit * self.ratio)
        db = (first * spoken + np.where(bears, 0.0, second * spoken)).sum(axis=2)
        of_whole = (self.share * self.whole * (every - sound)).sum(axis=1) * scale
        by_pair = np.stack([self._by_pair(one) for one in (*db.T, of_whole)], axis=1)
        along_fit = first * along + second * good_along
        return _Side(np.log(np.maximum(total, LEAST)), along_fit, by_pair[..., None] * NATS_PER_DB)

    def _by_pair(self, of_candidate: Array) -> Array:
        return _sums(self.inspected.pair, of_candidate, len(self.inspected.found))


@dataclass(frozen=True)
class _Slopes:
    """Slopes of each piece's chance of fit, [M, K], and ``rest``: what the others of its part multiply it by."""

    rest: Array
    eta: Array
    beta: Array

    def along(self, along_fit: Array, lives: Lives, materials: int) -> tuple[Array, Array]:
        """Return slopes along ln eta and ln beta by material, from those along the chances of fit, [B, 8, K]."""
        of_piece = (along_fit[lives.candidate, lives.part] * lives.share[:, None])[lives.alternative] * self.rest
        eta, beta = (
            _sums(lives.past.material, (of_piece * one).sum(axis=1), materials) for one in (self.eta, self.beta)
        )
        return eta, beta


def _fit_of_parts(inspected: Inspected, numbers: Numbers) -> tuple[Array, _Slopes]:
    """Return the chance of fit by ageing alone, [B, 8, K]; 1 where a candidate has no such part."""
    lives = inspected.lives
    piece, eta, beta = _fit_of_pieces(lives.past, numbers)
    fit = np.ones((len(inspected.pair), WHOLE, STORAGE_NODES))
    if not len(piece):
        return fit, _Slopes(piece, eta, beta)
    alternative = np.multiply.reduceat(piece, _starts(lives.alternative), axis=0)
    place = lives.candidate * WHOLE + lives.part
    first = _starts(place)
    fit[lives.candidate[first], lives.part[first]] = np.add.reduceat(alternative * lives.share[:, None], first, axis=0)
    return fit, _Slopes(alternative[lives.alternative] / np.maximum(piece, LEAST), eta, beta)


def _starts(rising: Places) -> Places:
    return np.flatnonzero(np.diff(rising, prepend=-1))


def _fit_of_pieces(past: Past, numbers: Numbers) -> tuple[Array, Array, Array]:
    """Return each piece's chance of fit by storage node, [M, K], and its slopes along ln eta and ln beta."""
    nodes, _ = normal_nodes(STORAGE_NODES)
    beta = np.exp(numbers.ln_beta[past.material])
    log_scale = numbers.ln_eta[past.material] + np.log(past.life_factor)
    # Years by node by row, as in ``prognosis.chances``. ln H and H, the cumulative hazard; both 0 at an age of 0.
    stored = past.storage_sd * nodes[:, None] - log_scale
    hazard, at_hazard = _hazards(past.aged, stored, beta)
    plain = np.exp(-hazard)
    worn = np.flatnonzero(past.trust > 0)
    trust = past.trust[worn]
    proof, at_proof = _hazards(past.proven[:, worn], stored[:, worn], beta[worn])
    since, at_since = hazard[..., worn] - proof, at_hazard[..., worn] - at_proof
    proven = np.exp(-since)
    fit, eta, falls = plain.copy(), plain * hazard * beta, plain * at_hazard
    fit[..., worn] = trust * proven + (1 - trust) * plain[..., worn]
    eta[..., worn] = trust * proven * since * beta[worn] + (1 - trust) * eta[..., worn]
    falls[..., worn] = trust * proven * at_since + (1 - trust) * falls[..., worn]
    return fit.mean(axis=0).T, eta.mean(axis=0).T, -falls.mean(axis=0).T


def _hazards(years: Array, stored: Array, beta: Array) -> tuple[Array, Array]:
    """Return H and H ln H by year of manufacture, node and row."""
    with np.errstate(divide="ignore"):
        log_hazard = np.minimum(beta * (np.log(years)[:, None] + stored), 600.0)
    hazard = np.exp(log_hazard)
    return hazard, hazard * np.where(hazard > 0, log_hazard, 0.0)
