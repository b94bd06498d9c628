"""Arrays to rows: verdicts, plans and questions with their reasons in words."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from triage.catalogue.repairs import Repair
from triage.verdict.calls import ASK, Calls, Scene
from triage.verdict.mending import repair_cost
from triage.verdict.money import Array, Flags
from triage.verdict.outcomes import after_answers, chances_of_yes, hopeful_answers
from triage.verdict.plans import PLANS
from triage.verdict.states import PARTS, Evidence

CALL_NAMES = ("buy", "ask", "skip")
RELEASE, SIZE = 1, 2
FACT_OF_KIND = {RELEASE: "construction_id", SIZE: "size_system"}
PRICE_FACT = "price_minor"
# A plan less likely than this is none.
LEAST_PLAN = 1e-6


@dataclass(frozen=True)
class Judged:
    """One buyer's calls on some pairs, with what the reports say of them.

    Attributes:
        ids, construction: The listings, [N], and their candidates, [N, C].
        sound: p_wearable with its range, and the weak part, N rows.
        basis, value: Where the value when sound is from, and what it is, minor units, [N].
        hope: As ``hoped`` returns it.
    """

    ids: pl.Series
    construction: npt.NDArray[np.object_]
    scene: Scene
    calls: Calls
    sound: pl.DataFrame
    basis: pl.Series
    value: Array
    hope: tuple[Array, Flags]
    repairs: Mapping[str, Repair]


def whole_minor(values: Array) -> pl.Series:
    """Return amounts as whole minor units, NULL where not a number."""
    return whole_amounts({"": values})[""]


def whole_amounts(amounts: Mapping[str, Array]) -> dict[str, pl.Series]:
    """Return several columns of amounts as ``whole_minor`` does, at once."""
    # A half that is one but for the last bit goes the same way on every processor.
    whole = pl.all().fill_nan(None).round(6).round(0).cast(pl.Int64)
    return pl.DataFrame(amounts).select(whole).to_dict()


def weak_part(part: Array, evidence: Evidence, present: Flags) -> pl.Series:
    """Return the load-bearing part most likely to be unfit; of a pair without one, of all parts."""
    bearing = np.einsum("nc,ncj->nj", evidence.weight, evidence.bears.astype(np.float64)) > 0.5
    usable = np.where(bearing.any(axis=1, keepdims=True), bearing & present, present)
    weakest = np.where(usable, part, -1.0).argmax(axis=1)
    return named(PARTS, np.where(usable.any(axis=1), weakest, -1)).alias("weak_part")


def named(names: Sequence[str], numbers: npt.NDArray[np.integer[Any]]) -> pl.Series:
    """Return the names numbers stand for, NULL for -1."""
    return pl.Series([None, *names], dtype=pl.String).gather(numbers + 1)


def verdict_rows(judged: Judged) -> pl.DataFrame:
    """Return the rows of ``verdict`` without rank and reason, and what the reason is made of."""
    calls, scene = judged.calls, judged.scene
    amounts = {
        "value_minor": judged.value,
        "landed_minor": calls.landed,
        "surplus_minor": calls.surplus,
        "offer_minor": calls.offer,
        "ask_gain_minor": np.where(calls.call == ASK, np.maximum(calls.ask_gain, 0), np.nan),
        "expected_minor": calls.expected,
        "hoped_minor": judged.hope[0],
    }
    return pl.DataFrame(
        {
            "listing_id": judged.ids,
            "buyer": scene.buyer.id,
            "call": named(CALL_NAMES, calls.call),
            "plan": named(PLANS, calls.plan),
            "p_fits": scene.offer.fits,
            **{name: judged.sound[name] for name in ("p_wearable_lo", "p_wearable", "p_wearable_hi")},
            "p_after_plan": calls.after_plan,
            "weak_part": judged.sound["weak_part"],
            "value_basis": judged.basis,
            **whole_amounts(amounts),
            "shipping_assumed": scene.offer.shipping_assumed,
            "currency": scene.buyer.currency,
            "haggle": calls.haggle,
            "hoped_buy": judged.hope[1],
            "over_budget": calls.over_budget,
            "price_minor": scene.offer.rows["price_base_minor"],
            "price_kind": scene.offer.rows["price_kind"],
        },
        schema_overrides={"weak_part": pl.String, "value_basis": pl.String},
    )


def plan_rows(judged: Judged, wanted: Flags) -> pl.DataFrame:
    """Return the rows of ``plan``: how often each is best, its worth, and the likeliest repairs.

    Args:
        wanted: The pairs to give rows for, [N].
    """
    calls, scene = judged.calls, judged.scene
    row, plan = np.nonzero((calls.plan_chance > LEAST_PLAN) & wanted[:, None])
    mending = likeliest_repairs(scene, judged.repairs)
    return (
        pl.DataFrame(
            {
                "row": row,
                "listing_id": judged.ids.gather(row),
                "plan": named(PLANS, plan),
                "probability": np.minimum(calls.plan_chance[row, plan], 1.0),
                "value_minor": whole_minor(calls.plan_value[row, plan]),
            }
        )
        .with_columns(buyer=pl.lit(scene.buyer.id))
        .join(mending.with_columns(plan=pl.lit("restore")), on=["row", "plan"], how="left", maintain_order="left")
        .drop("row")
    )


def likeliest_repairs(scene: Scene, repairs: Mapping[str, Repair]) -> pl.DataFrame:
    """Return the repairs of the likeliest state in which restoring is the best plan, and what they cost.

    Returns:
        Only pairs with such a state: row, repairs, cost_lo_minor, cost_hi_minor.
    """
    valued = scene.fitting
    mass = scene.states * (valued.plan == PLANS.index("restore"))
    flat = mass.reshape(len(mass), -1)
    at = flat.argmax(axis=1)
    rows = np.flatnonzero(flat[np.arange(len(mass)), at] > 0)
    candidate, state = np.divmod(at[rows], mass.shape[2])
    cells = pl.DataFrame(
        {
            "row": rows,
            "mending": valued.mending[rows, candidate],
            "set": valued.repair[rows, candidate, state].astype(np.int64),
        }
    )
    sets = cells.select("mending", "set").unique(maintain_order=True)
    ids = [list(valued.mendings[kind].sets[chosen]) for kind, chosen in sets.iter_rows()]
    lows, highs = (
        [round(sum(repair_cost(repairs[name], scene.buyer, end) for name in some)) for some in ids] for end in (0, 2)
    )
    known = sets.with_columns(
        pl.Series("repairs", ids, dtype=pl.List(pl.String)),
        pl.Series("cost_lo_minor", lows, dtype=pl.Int64),
        pl.Series("cost_hi_minor", highs, dtype=pl.Int64),
    )
    return cells.join(known, on=["mending", "set"], maintain_order="left").drop("mending", "set")


def hoped(judged: Judged) -> tuple[Array, Flags]:
    """Return what the best answers together would allow to offer, and whether it would be a buy, [N] each.

    0 and False where nothing is asked, or where no answer could turn the ask into a buy or an offer.
    """
    calls, scene = judged.calls, judged.scene
    rows = np.flatnonzero((calls.call == ASK) & ~calls.haggle)
    offers, buys = np.zeros(len(calls.call)), np.zeros(len(calls.call), dtype=np.bool_)
    if not len(rows):
        return offers, buys
    part = scene.take(rows)
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
