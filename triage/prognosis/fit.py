"""Fitting a life to what was found: Weibull by maximum likelihood under any censoring, and Kaplan-Meier."""

from dataclasses import dataclass

import numpy as np

from triage.prognosis.ageing import Array

STEPS = 200
# A shape beyond this means that the ages of fit and unfit don't overlap: the data name no shape.
MOST_BETA = 200.0


@dataclass(frozen=True)
class Found:
    """Ages between which each part failed.

    Attributes:
        fit_until: Last age at which it was fit, years; 0 when it was never seen fit.
        unfit_from: First age at which it was unfit, years; infinity when it was never seen unfit. The
            same as ``fit_until`` where the age of failing is known exactly.
    """

    fit_until: Array
    unfit_from: Array

    def __post_init__(self) -> None:
        """Refuse ages that can't be.

        Raises:
            ValueError: An age is negative or not a number, or a part was unfit before it was last fit.
        """
        if not np.all((self.fit_until >= 0) & (self.unfit_from > 0) & np.isfinite(self.fit_until)):
            raise ValueError("fit_until or unfit_from is negative, 0 or not a number; expected ages in years")
        if not np.all(self.unfit_from >= self.fit_until):
            worst = int(np.argmin(self.unfit_from - self.fit_until))
            found = f"unfit_from is {self.unfit_from[worst]:g} with fit_until {self.fit_until[worst]:g}"
            raise ValueError(f"{found}; expected the same age or a later one")


@dataclass(frozen=True)
class Belief:
    """What is believed of a life beforehand: normal in ln eta and ln beta, independent.

    Attributes:
        eta_years: Middle of the scale, years.
        eta_sd: Sd of ln eta.
        beta: Middle of the shape.
        beta_sd: Sd of ln beta.
    """

    eta_years: float
    eta_sd: float
    beta: float
    beta_sd: float


@dataclass(frozen=True)
class Weibull:
    """A fitted life: scale in years, shape, and the log likelihood of what was found (without the belief)."""

    eta_years: float
    beta: float
    log_likelihood: float


def fit_weibull(found: Found, belief: Belief | None = None) -> Weibull:
    """Return the Weibull life that makes what was found likeliest.

    Args:
        found: Ages of failing: exact, right-censored (still fit), left-censored (unfit when first seen) or
            between two looks. An inspection on arrival is *current status*: one of the middle two.
        belief: What is believed beforehand, for the likeliest life given both; None for maximum likelihood.

    Raises:
        ValueError: Without a belief, nothing has failed, or fit and unfit ages don't overlap: no maximum.

    Source:
        Maximum likelihood under censoring, Meeker & Escobar 1998, Statistical Methods for Reliability
        Data, ch. 8 and 11; Newton's method with step halving.
    """
    if belief is None and not np.isfinite(found.unfit_from).any():
        raise ValueError("nothing has failed; expected at least one finite unfit_from, or a belief")
    ages = np.where(np.isfinite(found.unfit_from), found.unfit_from, found.fit_until)
    start = (belief.eta_years, belief.beta) if belief else (float(np.mean(ages)) * 1.2, 1.2)
    point = np.log(np.array(start))
    value = _log_posterior(point, found, belief)
    for _ in range(STEPS):
        slope = _slope(point, found, belief)
        if np.abs(slope).max() < 1e-9 * len(ages):
            break
        point, value = _step(point, value, slope, found, belief)
        if belief is None and point[1] > np.log(MOST_BETA):
            raise ValueError(f"beta is above {MOST_BETA:g}; expected ages of fit and unfit that overlap")
    eta, beta = np.exp(point)
    return Weibull(float(eta), float(beta), _log_posterior(point, found, None))


def _step(
    point: Array, value: float, slope: Array, found: Found, belief: Belief | None
) -> tuple[Array, float]:  # fmt: skip
    """Return a better point: Newton's where it leads upwards, else along the slope; halved until it does."""
    width = 1e-5
    curve = np.stack(
        [(_slope(point + d, found, belief) - _slope(point - d, found, belief)) / (2 * width) for d in width * np.eye(2)]
    )
    curve = (curve + curve.T) / 2
    steep = np.linalg.eigvalsh(curve).max() >= 0
    step = slope / np.abs(slope).max() if steep else -np.linalg.solve(curve, slope)
    step = step / max(1.0, float(np.abs(step).max()))
    for _ in range(60):
        tried = point + step
        better = _log_posterior(tried, found, belief)
        if better >= value:
            return tried, better
        step = step / 2
    return point, value


def _hazard(point: Array, years: Array) -> tuple[Array, Array]:
    """Return ln H and H, the cumulative hazard, at some ages; H is 0 at 0 and infinite at infinity."""
    with np.errstate(divide="ignore", over="ignore"):
        log_hazard = np.exp(point[1]) * (np.log(years) - point[0])
        return log_hazard, np.exp(log_hazard)


def _log_posterior(point: Array, found: Found, belief: Belief | None) -> float:
    exact = found.fit_until == found.unfit_from
    log_low, low = _hazard(point, found.fit_until)
    _, high = _hazard(point, found.unfit_from)
    with np.errstate(divide="ignore", invalid="ignore"):
        dense = point[1] + log_low - np.log(found.fit_until) - low
        between = -low + np.log(-np.expm1(low - high))
    total = float(np.where(exact, dense, between).sum())
    if belief is not None:
        total -= float((_off(point, belief) ** 2 / 2).sum())
    return total if np.isfinite(total) else -np.inf


def _off(point: Array, belief: Belief) -> Array:
    middle, sd = np.log([belief.eta_years, belief.beta]), np.array([belief.eta_sd, belief.beta_sd])
    return np.asarray((point - middle) / sd)


def _slope(point: Array, found: Found, belief: Belief | None) -> Array:
    """Return the slope of the log posterior along ln eta and ln beta."""
    beta = np.exp(point[1])
    exact = found.fit_until == found.unfit_from
    log_low, low = _hazard(point, found.fit_until)
    log_high, high = _hazard(point, found.unfit_from)
    # H log H is 0 at 0; a hazard that is infinite or beyond any number has no say in the slope.
    at_low = np.where(low > 0, low * np.where(low > 0, log_low, 0), 0.0)
    finite = np.isfinite(high)
    top, log_top = np.where(finite, high, 0.0), np.where(finite, log_high, 0.0)
    at_high = np.where(top > 0, top * np.where(top > 0, log_top, 0), 0.0)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        left = np.where(finite, np.exp(low - high), 0.0)
        along_eta = np.where(exact, -beta * (1 - low), (beta * low - beta * top * left) / (1 - left))
        along_beta = np.where(exact, 1 + log_low * (1 - low), (-at_low + at_high * left) / (1 - left))
    slope = np.array([along_eta.sum(), along_beta.sum()])
    if belief is not None:
        slope -= _off(point, belief) / np.array([belief.eta_sd, belief.beta_sd])
    return slope


def surviving(years: Array, failed: Array) -> tuple[Array, Array]:
    """Return the share that survives, by the age of each failure (Kaplan-Meier).

    Args:
        years: Age when it failed or was last seen fit, years.
        failed: Whether it failed then; those seen fit at the age of a failure count as at risk.

    Returns:
        Distinct ages of failure, rising, and the share that survives each, 0 to 1.

    Raises:
        ValueError: The two differ in length.

    Source:
        Kaplan & Meier 1958, J. Am. Stat. Assoc. 53:457.
    """
    if len(years) != len(failed):
        raise ValueError(f"failed has {len(failed)} rows; expected {len(years)}, as years has")
    ages, deaths = np.unique(np.asarray(years)[np.asarray(failed, dtype=bool)], return_counts=True)
    at_risk = (np.asarray(years)[:, None] >= ages).sum(axis=0)
    return np.asarray(ages, dtype=np.float64), np.cumprod(1 - deaths / at_risk)
