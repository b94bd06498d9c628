"""Scores of chances against what was found: Brier score with its parts, log loss, intervals. Numbers alone."""

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

LEVEL = 0.95


@dataclass(frozen=True)
class BrierParts:
    """The Brier score as a sum: reliability - resolution + uncertainty + within.

    Attributes:
        reliability: How far what was found lies from what was said, bin by bin; 0 is perfect.
        resolution: How far the bins lie apart in what was found; the more, the better.
        uncertainty: What somebody scores who always says the overall share.
        within: What spread inside the bins adds or takes; 0 where all chances of a bin are one.
    """

    reliability: float
    resolution: float
    uncertainty: float
    within: float

    @property
    def score(self) -> float:
        """The sum, which is the Brier score itself."""
        return self.reliability - self.resolution + self.uncertainty + self.within


def brier(chance: Array, unfit: Array) -> float:
    """Return the mean squared distance of chances from what was found.

    Args:
        chance: Predicted chance of unfit, 0 to 1.
        unfit: 1 where unfit was found, else 0; as long as ``chance``, which is not empty.

    Returns:
        0 (always right and sure) to 1; 0.25 for always saying one half.

    Source:
        G. W. Brier, Verification of forecasts expressed in terms of probability, Monthly Weather Review 78:1 (1950);
        the half-form for two outcomes (from memory).
    """
    return float(np.mean((chance - unfit) ** 2))


def log_loss(chance: Array, unfit: Array) -> float:
    """Return the mean surprise at what was found, in nats.

    Args:
        chance: As for ``brier``; kept one rounding step away from 0 and 1, so that the loss is finite.
        unfit: As for ``brier``.

    Source:
        I. J. Good, Rational decisions, J. Royal Statistical Society B 14:107 (1952), (from memory).
    """
    step = np.finfo(np.float64).eps
    kept = np.clip(chance, step, 1 - step)
    return float(-np.mean(unfit * np.log(kept) + (1 - unfit) * np.log1p(-kept)))


def brier_parts(chance: Array, unfit: Array, bins: npt.NDArray[np.int64]) -> BrierParts:
    """Return the parts of the Brier score over bins of chances; their sum is the score, whatever the bins.

    Args:
        chance: As for ``brier``.
        unfit: As for ``brier``.
        bins: Number of the bin of each chance, from 0.

    Source:
        A. H. Murphy, A new vector partition of the probability score, J. Applied Meteorology 12:595 (1973);
        ``within``: Stephenson, Coelho & Jolliffe, Two extra components in the Brier score decomposition, Weather and
        Forecasting 23:752 (2008) (both from memory).
    """
    total = len(chance)
    counts = np.bincount(bins)
    known = np.maximum(counts, 1)
    said, found = np.bincount(bins, chance) / known, np.bincount(bins, unfit) / known
    overall = float(unfit.mean())
    off_said, off_found = chance - said[bins], unfit - found[bins]
    return BrierParts(
        reliability=float(np.sum(counts * (said - found) ** 2)) / total,
        resolution=float(np.sum(counts * (found - overall) ** 2)) / total,
        uncertainty=overall * (1 - overall),
        within=float(np.mean(off_said**2) - 2 * np.mean(off_said * off_found)),
    )


def wilson(hits: Array, of: Array, level: float = LEVEL) -> tuple[Array, Array]:
    """Return the interval for each share of hits; 0 to 1 where there is nothing.

    Args:
        hits: Numbers of hits.
        of: Numbers they are out of.
        level: Share of such intervals that hold the true share.

    Source:
        E. B. Wilson, Probable inference, the law of succession, and statistical inference, J. American Statistical
        Association 22:209 (1927), score interval without continuity correction.
    """
    z = NormalDist().inv_cdf(0.5 + level / 2)
    n = np.maximum(of, 1)
    share = hits / n
    middle = (share + z**2 / (2 * n)) / (1 + z**2 / n)
    half = z / (1 + z**2 / n) * np.sqrt(share * (1 - share) / n + z**2 / (4 * n**2))
    nothing = of == 0
    # Both ends are exact where all or none are hits; rounding would leave them a hair off.
    low = np.where(nothing | (hits == 0), 0.0, middle - half)
    high = np.where(nothing | (hits == of), 1.0, middle + half)
    return low, high


def clustered_half(scores: Array, clusters: npt.NDArray[np.int64], level: float = LEVEL) -> float | None:
    """Return half the width of the interval of a mean whose terms come in clusters; None for fewer than two.

    Args:
        scores: One score a part.
        clusters: Number of the pair of each, from 0: parts of one pair share its storage, so they are not
            independent.

    Source:
        Liang & Zeger, Longitudinal data analysis using generalized linear models, Biometrika 73:13 (1986), for a mean,
        with the usual factor G / (G - 1) (from memory).
    """
    groups = int(clusters.max()) + 1 if len(clusters) else 0
    if groups < 2:
        return None
    sums = np.bincount(clusters, scores - scores.mean())
    spread = float(np.sqrt(groups / (groups - 1) * np.sum(sums**2))) / len(scores)
    return NormalDist().inv_cdf(0.5 + level / 2) * spread
