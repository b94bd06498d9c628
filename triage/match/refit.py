"""The weights fitted again to matches a buyer has confirmed, with how well they were calibrated before and after.

A conditional logit (McFadden 1974) over the releases in question and the two ways of being in no table: each
kind of evidence gets one multiplier, each prior one shift, and a normal prior holds them near the shipped
values, so that a handful of matches moves them little. Nothing under ``rules/`` is changed here.
"""

import math
from dataclasses import dataclass

import numpy as np
import polars as pl

from triage.catalogue.constructions import Constructions
from triage.catalogue.matching import MatchWeights
from triage.match.decide import placed, sibling_bits, with_probability
from triage.match.link import weigh
from triage.match.reading import read
from triage.match.score import FACT_BITS, NAME_BITS
from triage.match.table import build_index

EVIDENCE_KINDS = (*NAME_BITS, *FACT_BITS)
PRIORS = ("unrelated", "sibling")
SCALE_SD, PRIOR_SD = 0.3, 2.0  # belief in the shipped multipliers, and in the shipped priors (bits)
PRECISION = np.r_[np.full(len(EVIDENCE_KINDS), SCALE_SD**-2), np.full(len(PRIORS), PRIOR_SD**-2)]
STEPS = 60
SETTLED = 1e-9


@dataclass(frozen=True)
class Fit:
    """How well probabilities were: matches judged, log loss (nats a match), calibration error, accepted and right."""

    matches: int
    log_loss: float
    calibration_error: float
    accepted: int
    accepted_right: int
    wilson_lo: float


@dataclass(frozen=True)
class Refit:
    """New weights and how they compare.

    Attributes:
        weights: The weights with new ``scale`` and ``prior``.
        sd: How sure they are, by dotted name (``scale.year``, ``prior.sibling``), in their own units.
        before: Fit of the old weights on the confirmed matches.
        after: Fit of the new weights on the same matches; on few matches it flatters.
    """

    weights: MatchWeights
    sd: dict[str, float]
    before: Fit
    after: Fit


def refit(
    listings: pl.DataFrame,
    confirmed: pl.DataFrame,
    constructions: Constructions,
    match: MatchWeights,
    first: MatchWeights | None = None,
) -> Refit:
    """Return weights fitted to confirmed matches.

    Args:
        listings: As for ``link``.
        confirmed: listing_id, model_id (NULL or '': it is none of the table).
        constructions: The table the matches refer to.
        match: The weights in use.
        first: The weights to start from, and to stay near: those before any fit; ``match`` when left out.
    """
    first = match if first is None else first
    judged = listings.join(confirmed, on="listing_id").sort("listing_id").with_row_index("item")
    index = build_index(constructions, first)
    pairs = weigh(read(judged, index, first), index, first).join(index.releases.select("row", "model_id"), on="row")
    truth = judged.select("item", true=pl.col("model_id").fill_null(""))
    ways = _ways(pairs, truth, first)
    start = np.r_[np.ones(len(EVIDENCE_KINDS)), [getattr(first.weights.prior, name) for name in PRIORS]]
    theta = _fitted(ways, start)
    new = _moved(first, theta)
    before, after = (measured(_rescaled(pairs, first, one), truth, index.releases, one) for one in (match, new))
    return Refit(new, _sd(ways, theta, first), before, after)


def _rescaled(pairs: pl.DataFrame, first: MatchWeights, other: MatchWeights) -> pl.DataFrame:
    """Return the bits as they would be with the multipliers of other weights."""
    was, now = first.weights.scale, other.weights.scale
    # A kind of evidence that was switched off has no bits to multiply.
    ratio = {kind: getattr(now, kind) / (getattr(was, kind) or 1.0) for kind in EVIDENCE_KINDS}
    return pairs.with_columns(pl.col(kind) * ratio[kind] for kind in EVIDENCE_KINDS)


def _sd(ways: "_Ways", theta: np.ndarray, first: MatchWeights) -> dict[str, float]:
    """Return Laplace's sds: from the curvature of the log posterior at its highest point, all others free."""
    curvature = _spread(ways, _shares(ways, theta, False)[0]) - _spread(ways, _shares(ways, theta, True)[0])
    sd = np.sqrt(np.diag(np.linalg.inv(curvature + np.diag(PRECISION))))
    unit = [getattr(first.weights.scale, kind) for kind in EVIDENCE_KINDS] + [1.0] * len(PRIORS)
    names = [f"scale.{kind}" for kind in EVIDENCE_KINDS] + [f"prior.{name}" for name in PRIORS]
    return dict(zip(names, (float(one) for one in sd * unit), strict=True))


@dataclass(frozen=True)
class _Ways:
    """Every way a listing's release can be, sorted by listing: features, which listing, whether it is the true way."""

    features: np.ndarray
    starts: np.ndarray
    true: np.ndarray


def _ways(pairs: pl.DataFrame, truth: pl.DataFrame, match: MatchWeights) -> _Ways:
    """Return the releases in question and the two ways of being none of them, as rows of one matrix."""
    none = {prior: pl.lit(0.0) for prior in PRIORS}
    rows = pairs.join(truth, on="item").with_columns(is_true=pl.col("model_id") == pl.col("true"), **none)
    reached = rows.group_by("item").agg(reached=pl.col("is_true").any())
    best = pairs.with_columns(sibling_total=sibling_bits(match)).sort(
        ["item", "sibling_total", "row"], descending=[False, True, False]
    )
    best = best.unique("item", keep="first", maintain_order=True)
    positive = (pl.col("year") + pl.col("colour") > 0).cast(pl.Float64) * match.weights.prior.sibling_facts
    whole, nothing = pl.lit(1.0), pl.lit(0.0)
    kept = {"model": whole, "maker": whole, "compared": whole, "year": positive, "colour": positive}
    sibling = best.with_columns(
        *(pl.col(kind) * kept.get(kind, nothing) for kind in EVIDENCE_KINDS), unrelated=pl.lit(0.0), sibling=pl.lit(1.0)
    )
    unrelated = truth.with_columns(
        *(pl.lit(0.0).alias(kind) for kind in EVIDENCE_KINDS), unrelated=pl.lit(1.0), sibling=pl.lit(0.0)
    )
    outside = pl.concat(
        [sibling.select("item", *EVIDENCE_KINDS, *PRIORS), unrelated.select("item", *EVIDENCE_KINDS, *PRIORS)]
    )
    outside = outside.join(reached, on="item", how="left").with_columns(is_true=~pl.col("reached").fill_null(False))
    columns = ["item", "is_true", *EVIDENCE_KINDS, *PRIORS]
    both = pl.concat([rows.select(columns), outside.select(columns)]).sort("item", maintain_order=True)
    item = both["item"].to_numpy()
    starts = np.flatnonzero(np.r_[True, item[1:] != item[:-1]])
    features = both.select(*EVIDENCE_KINDS, *PRIORS).to_numpy() * math.log(2)
    return _Ways(features, starts, both["is_true"].to_numpy())


def _fitted(ways: _Ways, start: np.ndarray) -> np.ndarray:
    """Return the multipliers and priors of highest posterior, from ``start`` (multipliers 1, shipped priors).

    Newton steps with the covariance of all ways as curvature, halved until the posterior rises.
    """
    theta, best = start, _posterior(ways, start, start)
    for _ in range(STEPS):
        gradient, curvature = _slope(ways, theta)
        step = np.linalg.solve(curvature + np.diag(PRECISION), gradient - PRECISION * (theta - start))
        length = 1.0
        while length > SETTLED:
            tried = theta + length * step
            tried[: len(EVIDENCE_KINDS)] = np.maximum(tried[: len(EVIDENCE_KINDS)], 0.0)
            value = _posterior(ways, tried, start)
            if value > best:
                break
            length /= 2
        if length <= SETTLED or value - best < SETTLED:
            break
        theta, best = tried, value
    return theta


def _shares(ways: _Ways, theta: np.ndarray, only_true: bool) -> tuple[np.ndarray, np.ndarray]:
    """Return each way's share of its listing, and the log of the listing's sum, over all ways or the true ones."""
    value = ways.features @ theta
    value = np.where(ways.true | (not only_true), value, -np.inf)
    length = np.diff(np.r_[ways.starts, len(value)])
    top = np.maximum.reduceat(value, ways.starts)
    power = np.exp(value - np.repeat(top, length))
    total = np.add.reduceat(power, ways.starts)
    return power / np.repeat(total, length), np.log(total) + top


def _posterior(ways: _Ways, theta: np.ndarray, start: np.ndarray) -> float:
    fit = _shares(ways, theta, True)[1] - _shares(ways, theta, False)[1]
    return float(fit.sum() - 0.5 * (PRECISION * (theta - start) ** 2).sum())


def _slope(ways: _Ways, theta: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    share, true = _shares(ways, theta, False)[0], _shares(ways, theta, True)[0]
    gradient = ways.features.T @ (true - share)
    return gradient, _spread(ways, share)


def _spread(ways: _Ways, share: np.ndarray) -> np.ndarray:
    """Return the covariance of the features under some shares, summed over the listings."""
    mean = np.add.reduceat(ways.features * share[:, None], ways.starts)
    return np.asarray((ways.features * share[:, None]).T @ ways.features - mean.T @ mean)


def _moved(match: MatchWeights, theta: np.ndarray) -> MatchWeights:
    weights = match.weights
    scale = {kind: getattr(weights.scale, kind) * float(theta[at]) for at, kind in enumerate(EVIDENCE_KINDS)}
    prior = {name: float(theta[len(EVIDENCE_KINDS) + at]) for at, name in enumerate(PRIORS)}
    moved = weights.model_copy(
        update={"scale": weights.scale.model_copy(update=scale), "prior": weights.prior.model_copy(update=prior)}
    )
    return match.model_copy(update={"weights": moved})


def measured(pairs: pl.DataFrame, truth: pl.DataFrame, releases: pl.DataFrame, match: MatchWeights) -> Fit:
    """Return how well weights did on listings whose release is known.

    Args:
        pairs: item, row and the columns of bits.
        truth: item, true (model_id; '' = none of the table).
        releases: row, model_id.
        match: The weights the bits were made with.
    """
    scored = with_probability(pairs, match)
    kept = placed(scored, releases, match)
    best = truth.join(kept.filter(pl.col("rank") == 0), on="item", how="left")
    of_true = scored.join(releases.select("row", "model_id"), on="row").join(truth, on="item")
    given = of_true.group_by("item").agg(
        hit=pl.col("probability").filter(pl.col("model_id") == pl.col("true")).sum(), named=pl.col("probability").sum()
    )
    chance = truth.join(given, on="item", how="left").with_columns(pl.col("hit", "named").fill_null(0.0))
    likely = chance.select(pl.when(pl.col("true") == "").then(1 - pl.col("named")).otherwise("hit")).to_series()
    right = (best["construction_id"] == best["true"]).fill_null(False)
    accepted = best["accepted"].fill_null(False)
    good = int((right & accepted).sum())
    return Fit(
        matches=truth.height,
        log_loss=float(-np.log(np.maximum(likely.to_numpy(), 1e-12)).mean()) if truth.height else 0.0,
        calibration_error=calibration_error(best["probability"].fill_null(0.0).to_numpy(), right.to_numpy()),
        accepted=int(accepted.sum()),
        accepted_right=good,
        wilson_lo=wilson_lo(good, int(accepted.sum())),
    )


def calibration_error(probability: np.ndarray, right: np.ndarray, bins: int = 10) -> float:
    """Return the expected calibration error: mean gap between probability and share right, over equal-width bins.

    Source: Naeini, Cooper and Hauskrecht, AAAI 2015.
    """
    if probability.size == 0:
        return 0.0
    place = np.minimum((probability * bins).astype(int), bins - 1)
    gap = np.bincount(place, probability - right, minlength=bins)
    return float(np.abs(gap).sum() / probability.size)


def wilson_lo(right: int, of: int, z: float = 1.645) -> float:
    """Return the lower end of the one-sided 95 % Wilson interval of a share.

    Source: Wilson, J. Am. Stat. Assoc. 22:209 (1927).
    """
    if of == 0:
        return 0.0
    share = right / of
    middle = share + z * z / (2 * of)
    return (middle - z * math.sqrt(share * (1 - share) / of + z * z / (4 * of * of))) / (1 + z * z / of)
