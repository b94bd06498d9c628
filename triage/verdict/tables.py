"""Arrays to rows: verdicts, plans and questions with their reasons in words."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from triage.catalogue.buyers import Buyer
from triage.catalogue.repairs import Repair
from triage.verdict.beliefs import Beliefs
from triage.verdict.calls import ASK, Calls, Scene
from triage.verdict.mending import repair_cost
from triage.verdict.money import Array, Flags
from triage.verdict.outcomes import after_answers, chances_of_yes, hopeful_answers
from triage.verdict.plans import PLANS, Valued
from triage.verdict.states import PARTS, Evidence

CALL_NAMES = ("buy", "ask", "skip")
RELEASE, SIZE = 1, 2
FACT_OF_KIND = {RELEASE: "construction_id", SIZE: "size_system"}
PRICE_FACT = "price_minor"


@dataclass(frozen=True)
class Judged:
    """One buyer's calls on the pairs of a chunk, with what the reports say of them."""

    beliefs: Beliefs
    scene: Scene
    calls: Calls
    sound: pl.DataFrame
    basis: Sequence[str]
    value: Array
    hope: tuple[Array, Flags]
    repairs: Mapping[str, Repair]


def whole_minor(values: Array) -> pl.Series:
    """Return amounts as whole minor units, NULL where not a number."""
    return pl.Series(values).fill_nan(None).round(0).cast(pl.Int64)


def weak_part(part: Array, evidence: Evidence, present: Flags) -> list[str | None]:
    """Return the load-bearing part most likely to be unfit; of a pair without one, of all parts."""
    bearing = np.einsum("nc,ncj->nj", evidence.weight, evidence.bears.astype(np.float64)) > 0.5
    usable = np.where(bearing.any(axis=1, keepdims=True), bearing & present, present)
    score = np.where(usable, part, -1.0)
    return [PARTS[j] if score[i, j] >= 0 else None for i, j in enumerate(score.argmax(axis=1))]


def verdict_rows(judged: Judged) -> pl.DataFrame:
    """Return the rows of ``verdict`` without rank and reason, and what the reason is made of."""
    calls, scene = judged.calls, judged.scene
    return pl.DataFrame(
        {
            "listing_id": judged.beliefs.listing_ids,
            "buyer": scene.buyer.id,
            "call": [CALL_NAMES[number] for number in calls.call],
            "plan": [PLANS[number] for number in calls.plan],
            "p_fits": scene.offer.fits,
            **{name: judged.sound[name] for name in ("p_wearable_lo", "p_wearable", "p_wearable_hi")},
            "p_after_plan": calls.after_plan,
            "weak_part": judged.sound["weak_part"],
            "value_minor": whole_minor(judged.value),
            "value_basis": list(judged.basis),
            "landed_minor": whole_minor(calls.landed),
            "shipping_assumed": scene.offer.shipping_assumed,
            "surplus_minor": whole_minor(calls.surplus),
            "offer_minor": whole_minor(calls.offer),
            "ask_gain_minor": whole_minor(np.where(calls.call == ASK, np.maximum(calls.ask_gain, 0), np.nan)),
            "expected_minor": whole_minor(calls.expected),
            "currency": scene.buyer.currency,
            "haggle": calls.haggle,
            "hoped_minor": whole_minor(judged.hope[0]),
            "hoped_buy": judged.hope[1],
            "over_budget": calls.over_budget,
            "price_minor": scene.offer.rows["price_base_minor"],
            "price_kind": scene.offer.rows["price_kind"],
        },
        schema_overrides={"weak_part": pl.String, "value_basis": pl.String},
    )


def plan_rows(judged: Judged, buyer: str) -> pl.DataFrame:
    """Return the rows of ``plan``: how often each is best, its worth, and the likeliest repairs."""
    calls, scene = judged.calls, judged.scene
    count = len(judged.beliefs.listing_ids)
    sets = likeliest_repairs(scene)
    low, high = ([_set_cost(one, judged.repairs, scene.buyer, end) for one in sets] for end in (0, 2))
    repairs: list[list[str] | None] = []
    for number in range(len(PLANS)):
        repairs.extend(sets if PLANS[number] == "restore" else [None] * count)
    return (
        pl.DataFrame(
            {
                "listing_id": list(judged.beliefs.listing_ids) * len(PLANS),
                "buyer": buyer,
                "plan": np.repeat(np.array(PLANS, dtype=object), count).tolist(),
                "probability": calls.plan_chance.T.ravel(),
                "value_minor": whole_minor(calls.plan_value.T.ravel()),
                "repairs": repairs,
                "cost_lo_minor": [cost for number in PLANS for cost in _only(low, number)],
                "cost_hi_minor": [cost for number in PLANS for cost in _only(high, number)],
            },
            schema_overrides={"repairs": pl.List(pl.String), "cost_lo_minor": pl.Int64, "cost_hi_minor": pl.Int64},
        )
        .filter(pl.col("probability") > 1e-6)
        .with_columns(pl.col("probability").clip(0, 1))
    )


def _set_cost(ids: list[str] | None, repairs: Mapping[str, Repair], buyer: Buyer, end: int) -> int | None:
    if ids is None:
        return None
    return round(sum(repair_cost(repairs[name], buyer, end) for name in ids))


def _only(costs: list[int | None], plan: str) -> list[int | None]:
    return costs if plan == "restore" else [None] * len(costs)


def likeliest_repairs(scene: Scene) -> list[list[str] | None]:
    """Return the repairs of the likeliest state in which restoring is the best plan, or None."""
    valued = scene.fitting
    mass = scene.states * (valued.plan == PLANS.index("restore"))
    flat = mass.reshape(len(mass), -1)
    at = flat.argmax(axis=1)
    candidate, state = np.divmod(at, mass.shape[2])
    rows = np.arange(len(mass))
    kind, chosen = valued.mending[rows, candidate], valued.repair[rows, candidate, state]
    some = flat[rows, at] > 0
    return [list(valued.mendings[k].sets[s]) if ok else None for k, s, ok in zip(kind, chosen, some, strict=True)]


def hoped(judged: Judged) -> tuple[Array, Flags]:
    """Return what the best answers together would allow to offer, and whether it would be a buy, [N] each.

    0 and False where nothing is asked, or where no answer could turn the ask into a buy or an offer.
    """
    calls, scene = judged.calls, judged.scene
    rows = np.flatnonzero((calls.call == ASK) & ~calls.haggle)
    offers, buys = np.zeros(len(calls.call)), np.zeros(len(calls.call), dtype=np.bool_)
    if not len(rows):
        return offers, buys
    part = take(scene, rows)
    yes = chances_of_yes(calls, rows)
    answers = hopeful_answers(yes, calls.asked.bits[rows])
    kind = calls.asked.kind[rows]
    releases = best_release(part, kind)
    fits = np.where(kind == SIZE, 1.0, part.offer.fits)
    best = after_answers(part, calls.repair_minor[rows], yes, answers, releases, fits)
    near = best.offer >= np.nan_to_num(part.offer.price) * (1 - part.buyer.haggle_share)
    offers[rows] = np.where(best.buys | near, best.offer, 0.0)
    buys[rows] = best.buys
    return offers, buys


def best_release(scene: Scene, kind: npt.NDArray[np.int64]) -> Array:
    """Return factors on candidates, [N, C]: the one of most surplus alone where the release is asked."""
    per = (scene.states * scene.fitting.value).sum(axis=2)
    share = scene.states.sum(axis=2)
    mean = np.where(share > 1e-9, per / np.maximum(share, 1e-300), -np.inf)
    best = np.arange(mean.shape[1])[None, :] == mean.argmax(axis=1)[:, None]
    return np.where((kind == RELEASE)[:, None], best, True).astype(np.float64)


def take(scene: Scene, rows: npt.NDArray[np.int64]) -> Scene:
    """Return the scene of some of the pairs."""

    def part(valued: Valued) -> Valued:
        return Valued(valued.value[rows], valued.plan[rows], valued.repair[rows], valued.mending[rows], valued.mendings)

    return Scene(
        scene.buyer,
        scene.offer.take(rows),
        scene.states[rows],
        scene.bears[rows],
        part(scene.fitting),
        part(scene.other),
    )
