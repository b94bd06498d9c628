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
from triage.verdict.scenes import Stakes
from triage.verdict.states import PARTS, Evidence, Places

CALL_NAMES = ("buy", "ask", "skip")
RELEASE, SIZE = 1, 2
FACT_OF_KIND = {RELEASE: "construction_id", SIZE: "size_system"}
PRICE_FACT = "price_minor"
RESTORE = PLANS.index("restore")
# A plan less likely than this is none.
LEAST_PLAN = 1e-6

# Columns of a table by name, [N] each. A block of a few pairs gives these: a frame of its own would take longer than
# the pairs do.
Columns = dict[str, npt.NDArray[Any]]


@dataclass(frozen=True)
class Judged:
    """One buyer's calls on some pairs, with what the questions say of them.

    Attributes:
        ids, construction: The listings, [N], and their candidates, [N, C].
    """

    ids: pl.Series
    construction: npt.NDArray[np.object_]
    scene: Scene
    calls: Calls


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


def verdict_columns(calls: Calls, hope: tuple[Array, Flags]) -> Columns:
    """Return the columns of ``verdict`` that are reckoned, [N] each.

    Args:
        hope: As ``hoped`` returns it.
    """
    return {
        "call": calls.call,
        "plan": calls.plan,
        "p_after_plan": calls.after_plan,
        "landed_minor": calls.landed,
        "surplus_minor": calls.surplus,
        "offer_minor": calls.offer,
        "ask_gain_minor": np.where(calls.call == ASK, np.maximum(calls.ask_gain, 0), np.nan),
        "expected_minor": calls.expected,
        "haggle": calls.haggle,
        "over_budget": calls.over_budget,
        "hoped_minor": hope[0],
        "hoped_buy": hope[1],
    }


def plan_columns(scene: Scene, calls: Calls, rows: Places) -> Columns:
    """Return what the rows of ``plan`` are reckoned from, for some of the pairs.

    Args:
        rows: The pairs to give rows for.

    Returns:
        One row a pair and plan that may be the best, ordered by both: ``row``, ``plan``, ``probability`` and
        ``value_minor``, and of a ``restore`` the ``mending`` and the ``set`` of repairs of the likeliest state in which
        it is the best plan; -1 elsewhere.
    """
    at, plan = np.nonzero(calls.plan_chance[rows] > LEAST_PLAN)
    row = rows[at]
    restored = plan == RESTORE
    chosen = np.full((2, len(row)), -1, dtype=np.int64)
    chosen[:, restored] = likeliest_repairs(scene, row[restored])
    return {
        "row": row,
        "plan": plan,
        "probability": np.minimum(calls.plan_chance[row, plan], 1.0),
        "value_minor": calls.plan_value[row, plan],
        "mending": chosen[0],
        "set": chosen[1],
    }


def likeliest_repairs(scene: Scene, rows: Places) -> Places:
    """Return the mending and the set of repairs of the likeliest state in which restoring is the best plan, [2, N].

    -1 where restoring is the best plan in no state.
    """
    valued = scene.fitting
    mass = scene.states[rows] * (valued.plan[rows] == RESTORE)
    flat = mass.reshape(len(mass), mass[0].size if len(mass) else 1)
    at = flat.argmax(axis=1)
    candidate, state = np.divmod(at, mass.shape[2])
    found = np.stack([valued.mending[rows, candidate], valued.repair[rows, candidate, state]]).astype(np.int64)
    return np.where(flat[np.arange(len(mass)), at] > 0, found, -1)


def together(blocks: Sequence[Columns]) -> Columns:
    """Return the columns of several blocks, one below the other."""
    return {name: np.concatenate([block[name] for block in blocks]) for name in blocks[0]}


def verdict_rows(stakes: Stakes, sound: pl.DataFrame, columns: Columns) -> pl.DataFrame:
    """Return the rows of ``verdict`` without rank and reason, and what the reason is made of.

    Args:
        sound: p_wearable with its range, and the weak part, of all pairs of the stakes.
        columns: As ``verdict_columns`` returns them, and ``row``: the place of each pair.
    """
    row, buyer = columns["row"], stakes.buyer
    offer, sound = stakes.offer.take(row), sound[row]
    amounts = {name: values for name, values in columns.items() if name.endswith("_minor")}
    return pl.DataFrame(
        {
            "listing_id": stakes.ids[row],
            "buyer": buyer.id,
            "call": named(CALL_NAMES, columns["call"]),
            "plan": named(PLANS, columns["plan"]),
            "p_fits": offer.fits,
            **{name: sound[name] for name in ("p_wearable_lo", "p_wearable", "p_wearable_hi")},
            "p_after_plan": columns["p_after_plan"],
            "weak_part": sound["weak_part"],
            "value_basis": stakes.prices.basis[row],
            **whole_amounts({"value_minor": stakes.value[row], **amounts}),
            "shipping_assumed": offer.shipping_assumed,
            "currency": buyer.currency,
            **{name: columns[name] for name in ("haggle", "hoped_buy", "over_budget")},
            "price_minor": offer.column("price_base_minor"),
            "price_kind": offer.column("price_kind"),
        },
        schema_overrides={"weak_part": pl.String, "value_basis": pl.String},
    )


def plan_rows(stakes: Stakes, repairs: Mapping[str, Repair], columns: Columns) -> pl.DataFrame:
    """Return the rows of ``plan``: how often each is best, its worth, and the likeliest repairs.

    Args:
        columns: As ``plan_columns`` returns them; ``row`` is the place of the pair among all of the stakes.
    """
    row = columns["row"]
    rows = pl.DataFrame(
        {
            "listing_id": stakes.ids[row],
            "plan": named(PLANS, columns["plan"]),
            "probability": columns["probability"],
            "value_minor": whole_minor(columns["value_minor"]),
            "buyer": stakes.buyer.id,
            "mending": columns["mending"],
            "set": columns["set"],
        }
    )
    known = priced_sets(stakes, repairs, rows.filter(pl.col("set") >= 0).select("mending", "set").unique())
    return rows.join(known, on=["mending", "set"], how="left", maintain_order="left").drop("mending", "set")


def priced_sets(stakes: Stakes, repairs: Mapping[str, Repair], sets: pl.DataFrame) -> pl.DataFrame:
    """Return sets of repairs with the repairs by name and what they cost: repairs, cost_lo_minor, cost_hi_minor.

    Args:
        sets: ``mending`` and ``set``.
    """
    mendings = stakes.prices.fitting.mendings
    ids = [list(mendings[kind].sets[chosen]) for kind, chosen in sets.iter_rows()]
    lows, highs = (
        [round(sum(repair_cost(repairs[name], stakes.buyer, end) for name in some)) for some in ids] for end in (0, 2)
    )
    return sets.with_columns(
        pl.Series("repairs", ids, dtype=pl.List(pl.String)),
        pl.Series("cost_lo_minor", lows, dtype=pl.Int64),
        pl.Series("cost_hi_minor", highs, dtype=pl.Int64),
    )


def hoped(scene: Scene, calls: Calls) -> tuple[Array, Flags]:
    """Return what the best answers together would allow to offer, and whether it would be a buy, [N] each.

    0 and False where nothing is asked, or where no answer could turn the ask into a buy or an offer.
    """
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
