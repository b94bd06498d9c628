"""A verdict in one buyer's own money, with the plans it may come to and the cautions of their repairs."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from triage.writeup import phrase
from triage.writeup.knowledge import Catalogue

Row = Mapping[str, Any]


@dataclass(frozen=True)
class PlanView:
    """What could be done with the pair, and how often it would come to that."""

    name: str
    chance: str
    value: str
    cost: str
    repairs: tuple[str, ...]


@dataclass(frozen=True)
class RepairView:
    """A repair with its cautions, which never stand apart from it."""

    name: str
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class Figures:
    """A verdict in one buyer's own money."""

    buyer: str
    call: str
    plan: str
    chance: str
    chance_word: str
    lo: float | None
    hi: float | None
    after_plan: str
    fits: str
    offer: str
    offer_abroad: str
    landed: str
    shipping_assumed: bool
    value: str
    value_basis: str
    surplus: str
    gain: str
    reason: str
    weak_part: str
    horizon: str
    plans: tuple[PlanView, ...]


def figures(row: Row, plans: Iterable[Row], catalogue: Catalogue) -> Figures:
    """Return one buyer's verdict in words and in that buyer's money."""
    currency = row["currency"]
    buyer = catalogue.buyers.get(row["buyer"])
    known = row["p_wearable"] is not None
    mended = row["plan"] == "restore"
    return Figures(
        buyer=buyer.name if buyer else row["buyer"],
        call=row["call"],
        plan=phrase.PLAN[row["plan"]],
        chance=phrase.percent_range(row["p_wearable_lo"], row["p_wearable_hi"]) if known else "not known",
        chance_word=phrase.likelihood_range(row["p_wearable_lo"], row["p_wearable_hi"]) if known else "",
        lo=row["p_wearable_lo"],
        hi=row["p_wearable_hi"],
        after_plan=phrase.percent(row["p_after_plan"]) if mended and row["p_after_plan"] is not None else "",
        fits=phrase.percent(row["p_fits"]) if row["p_fits"] is not None and row["p_fits"] < 0.995 else "",
        offer=phrase.at_most(row["offer_minor"], currency) if row["offer_minor"] else phrase.NO_OFFER,
        offer_abroad=offer_abroad(row),
        landed=phrase.estimate(row["landed_minor"], currency),
        shipping_assumed=bool(row["shipping_assumed"]),
        value=phrase.estimate(row["value_minor"], currency),
        value_basis=row["value_basis"] or "",
        surplus=phrase.estimate(row["surplus_minor"], currency),
        gain=phrase.estimate(row["ask_gain_minor"], currency) if row["ask_gain_minor"] else "",
        reason=phrase.plain(row["reason"]),
        weak_part=row["weak_part"] or "",
        horizon=f"{buyer.horizon_years:g}" if buyer else "2",
        plans=tuple(
            plan_view(plan, currency, catalogue)
            for plan in plans
            if plan["buyer"] == row["buyer"] and matters(plan, row["plan"])
        ),
    )


def offer_abroad(row: Row) -> str:
    """Return the highest sensible offer in the seller's money; empty when that is the buyer's too.

    The rate is the one the price was converted by, so both sides of the comparison share it.
    """
    foreign = row["price_currency"] and row["price_currency"] != row["currency"]
    if not (foreign and row["offer_minor"] and row["price_minor"] and row["price_base_minor"]):
        return ""
    abroad = row["offer_minor"] * row["price_minor"] // row["price_base_minor"]
    return phrase.at_most(abroad, row["price_currency"])


def matters(plan: Row, chosen: str) -> bool:
    """Return whether a plan is worth a line: the verdict's own, or one it comes to in 1 % of cases or more."""
    return bool(plan["plan"] == chosen or plan["probability"] >= 0.01)


def plan_view(plan: Row, currency: str, catalogue: Catalogue) -> PlanView:
    """Return a plan in words, its repairs by name."""
    ids = plan["repairs"] or ()
    names = tuple(catalogue.repairs[key].name if key in catalogue.repairs else key for key in ids)
    return PlanView(
        name=phrase.PLAN[plan["plan"]],
        chance=phrase.percent(plan["probability"]),
        value=phrase.estimate(plan["value_minor"], currency),
        cost=cost_range(plan, currency, catalogue) if ids else "",
        repairs=names,
    )


def cost_range(plan: Row, currency: str, catalogue: Catalogue) -> str:
    """Return what a plan's repairs cost, "EUR 25 to 70".

    Where the plan has no figures of its own they are the sum of its repairs, done by a repairer.
    """
    lo, hi, note = plan["cost_lo_minor"], plan["cost_hi_minor"], ""
    if lo is None or hi is None:
        costs = [catalogue.repairs[key].cost_minor for key in plan["repairs"] or () if key in catalogue.repairs]
        if not costs:
            return ""
        lo, hi = (int(sum(cost[end] for cost in costs)) for end in (0, -1))
        note = " when done by a repairer"
    low, high = phrase.estimate(lo, currency), phrase.estimate(hi, currency)
    return (low if low == high else f"{low} to {high.split(phrase.NO_BREAK)[-1]}") + note


def repairs_of(plans: Iterable[Row], chosen: Mapping[str, str], catalogue: Catalogue) -> tuple[RepairView, ...]:
    """Return each repair of the plans shown once, with its cautions verbatim.

    Args:
        plans: Plans of one listing, of any buyer.
        chosen: The verdict's plan of every buyer shown.
        catalogue: Names and cautions of the repairs.
    """
    shown = (plan for plan in plans if plan["buyer"] in chosen and matters(plan, chosen[plan["buyer"]]))
    ids = dict.fromkeys(key for plan in shown for key in plan["repairs"] or ())
    known = (catalogue.repairs[key] for key in ids if key in catalogue.repairs)
    return tuple(RepairView(repair.name, tuple(repair.cautions)) for repair in known)
