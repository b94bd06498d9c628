"""The likeliest numbers given what was found and what was believed before, with how sure they are."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize
from scipy.special import ndtri

from triage.learning.likelihood import Inspected, Numbers, log_likelihood
from triage.prognosis.ageing import Array
from triage.verdict.states import Flags

# A material that grows fitter with age is none; what ``catalogue.materials`` takes.
BETA_RANGE = (1.0, 20.0)
ETA_MOST_YEARS = 500.0
# A sign that speaks neither way would be no sign; a weight stays on its side by this much.
LEAST_DB = 0.1
# Width, in sds of the belief, over which slopes are compared for the curvature.
STEP = 1e-3
EVALUATIONS = 500
# Slope, nats a sd of the belief, below which the search has arrived.
SETTLED = 1e-3


@dataclass(frozen=True)
class Belief:
    """What is believed beforehand: every number normal and independent, ``middle`` with ``sd``."""

    middle: Numbers
    sd: Numbers


@dataclass(frozen=True)
class Fitted:
    """The likeliest numbers and their sds.

    Attributes:
        numbers: The mode of what is believed after.
        sd: Laplace's: from the curvature at the mode, all other numbers free.
        log_likelihood: Nats, of what was found, by pair, [N].
        before: The same at the middle of the belief.
    """

    numbers: Numbers
    sd: Numbers
    log_likelihood: Array
    before: Array


def fit(inspected: Inspected, belief: Belief) -> Fitted:
    """Return the numbers of highest posterior: maximum a posteriori (MAP) with Laplace's interval.

    Ageing and signs are fitted together, for each is judged by what the other leaves over. With no spread of
    storage and ageing known the weights of signs are those of a logistic regression with the ageing's log-odds
    as offset and a normal prior; with no signs and no spread the lives are those of ``prognosis.fit``.

    Raises:
        ArithmeticError: The search did not settle: a bug or numbers beyond all bounds.

    Source:
        Laplace's approximation: Tierney & Kadane 1986, J. Am. Stat. Assoc. 81:82; L-BFGS-B: Byrd et al. 1995,
        SIAM J. Sci. Comput. 16:1190, as in scipy.
    """
    middle, sd = _flat(belief.middle), _flat(belief.sd)

    def worse(off: Array) -> tuple[float, Array]:
        """Return minus the log posterior and its slope, in sds of the belief: there everything is of one size."""
        each, slope = log_likelihood(inspected, _shaped(middle + sd * off, belief.middle))
        return float(off @ off / 2 - each.sum()), off - sd * _flat(slope)

    low, high = ((side - middle) / sd for side in _bounds(belief.middle))
    found = minimize(
        worse, np.zeros_like(middle), jac=True, method="L-BFGS-B", bounds=np.stack([low, high], axis=1),
        options={"maxiter": EVALUATIONS, "maxfun": 2 * EVALUATIONS, "ftol": 1e-13, "gtol": 1e-6},
    )  # fmt: skip
    # The search may stop for want of digits rather than slope; what counts is that no bound-free way leads upwards.
    free = ((found.x > low) | (found.jac < 0)) & ((found.x < high) | (found.jac > 0))
    if np.abs(found.jac[free]).max(initial=0.0) > SETTLED:
        raise ArithmeticError(f"after {found.nit} steps: {found.message}; expected a highest point")
    numbers = _shaped(middle + sd * found.x, belief.middle)
    curve = _curvature(worse, found.x, np.concatenate(spoken_of(inspected, belief.middle)))
    after = sd * np.sqrt(np.diag(np.linalg.inv(curve)))
    each = [log_likelihood(inspected, one)[0] for one in (numbers, belief.middle)]
    return Fitted(numbers, _shaped(after, belief.middle), *each)


def _curvature(worse: Callable[[Array], tuple[float, Array]], at: Array, moves: Flags) -> Array:
    """Return the second derivatives, from the slopes on both sides; of a number no pair speaks of, its belief's."""
    curve = np.eye(len(at))
    for place in np.flatnonzero(moves):
        step = np.zeros_like(at)
        step[place] = STEP
        curve[place] = (worse(at + step)[1] - worse(at - step)[1]) / (2 * STEP)
    return np.asarray((curve + curve.T) / 2)


def spoken_of(inspected: Inspected, like: Numbers) -> tuple[Flags, Flags, Flags]:
    """Return which numbers anything found can speak of: of ln eta, of ln beta, of the weights."""
    material = np.bincount(inspected.lives.past.material, minlength=len(like.ln_eta)) > 0
    return material, material, np.bincount(inspected.said.weight, minlength=len(like.weight_db)) > 0


def interval(fitted: Fitted, share: float) -> tuple[Numbers, Numbers]:
    """Return lower and upper ends that hold so much of what is believed after, each number by itself."""
    reach = float(ndtri((1 + share) / 2))
    middle, sd = _flat(fitted.numbers), _flat(fitted.sd)
    low, high = (_shaped(middle + side * reach * sd, fitted.numbers) for side in (-1, 1))
    return low, high


def _bounds(middle: Numbers) -> tuple[Array, Array]:
    risk = middle.weight_db > 0
    none = np.full_like(middle.ln_eta, np.inf)
    low = np.concatenate([-none, np.log(BETA_RANGE[0]) + 0 * middle.ln_beta, np.where(risk, LEAST_DB, -np.inf)])
    high = np.concatenate(
        [
            np.log(ETA_MOST_YEARS) + 0 * middle.ln_eta, np.log(BETA_RANGE[1]) + 0 * middle.ln_beta,
            np.where(risk, np.inf, -LEAST_DB),
        ]
    )  # fmt: skip
    return low, high


def _flat(numbers: Numbers) -> Array:
    return np.concatenate([numbers.ln_eta, numbers.ln_beta, numbers.weight_db])


def _shaped(flat: Array, like: Numbers) -> Numbers:
    materials = len(like.ln_eta)
    return Numbers(*np.split(flat, [materials, 2 * materials]))
