"""What each answer would do: belief, value and offer after a yes and after a no."""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from triage.verdict.asking import CELL_BITS
from triage.verdict.calls import Calls, Scene, main_plan, plan_shares, sensible_offer
from triage.verdict.money import Array, Flags, landed_cost
from triage.verdict.plans import WEARING
from triage.verdict.states import STATES, unwearable


@dataclass(frozen=True)
class Outcome:
    """What is believed and done after an answer, [N] each; money in minor units."""

    offer: Array
    surplus: Array
    after_plan: Array
    buys: Flags


def chances_of_yes(calls: Calls, rows: npt.NDArray[np.int64]) -> Array:
    """Return the chance of a yes to each asked bit's question, [R, 9, unfit 0/1]; even where not asked."""
    sign = calls.asked.sign[rows]
    at = np.arange(len(rows))[:, None]
    fit = np.where(sign >= 0, calls.model.yes_if_fit[rows][at, sign.clip(0)], 0.5)
    unfit = np.where(sign >= 0, calls.model.yes_if_unfit[rows][at, sign.clip(0)], 0.5)
    return np.stack([fit, unfit], axis=-1)


def after_answers(
    scene: Scene, repair: Array, yes: Array, answers: npt.NDArray[np.int64], parts: Array, fits: Array
) -> Outcome:
    """Return the outcome after a set of answers.

    Args:
        yes: Chance of a yes, [N, 9, unfit 0/1].
        answers: 1 yes, 0 no, -1 not asked, [N, 9].
        parts: Factor on each candidate, [N, C]; 1 where nothing is told of the release.
        fits: Chance that the size fits after the answers, [N].
    """
    chance = _by_cell(yes)
    factor = np.where(answers[..., None] == 1, chance, np.where(answers[..., None] == 0, 1 - chance, 1.0))
    likelihood = factor.prod(axis=1)
    bad = unwearable(scene.bears).astype(np.int64)
    cell = np.arange(STATES) + STATES * bad
    told = scene.states * np.take_along_axis(likelihood[:, None, :], cell, axis=2) * parts[..., None]
    told = told / np.maximum(told.sum(axis=(1, 2), keepdims=True), 1e-300)
    after = replace(scene, states=told, offer=replace(scene.offer, fits=fits))
    price = np.nan_to_num(scene.offer.price, nan=0.0)
    surplus = after.expected(price) - landed_cost(price, scene.offer.terms)
    share, value = plan_shares(after, price)
    plan = main_plan(share, value)
    wearing = share[:, list(WEARING)].sum(axis=1)
    sure = (wearing >= scene.buyer.wearable_floor) | ~np.isin(plan, WEARING)
    offer = np.where(sure, sensible_offer(after, repair), 0.0)
    return Outcome(offer, surplus, wearing, sure & (surplus >= scene.buyer.margin_minor) & (price <= offer))


def _by_cell(yes: Array) -> Array:
    """Return the chance of a yes to each bit's question in each cell, [N, 9, 512]."""
    unfit = CELL_BITS.T[None, :, :]
    return yes[:, :, 0, None] * (1 - unfit) + yes[:, :, 1, None] * unfit


def hopeful_answers(yes: Array, bits: Flags) -> npt.NDArray[np.int64]:
    """Return for each asked bit the answer that speaks for the pair, 1 yes or 0 no; -1 where not asked."""
    good = np.where(yes[..., 0] >= yes[..., 1], 1, 0)
    return np.where(bits, good, -1)
