"""One buyer's calls on N pairs: surplus, highest sensible offer, best questions, buy, ask or skip."""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt

from triage.catalogue.buyers import Buyer
from triage.verdict.asking import (
    AnswerModel,
    BestSet,
    Floor,
    SignQuestion,
    answer_model,
    asking_value,
    best_sets,
    cells_of,
    perfect_value,
)
from triage.verdict.money import Array, Flags, highest_price, landed_cost
from triage.verdict.offers import Offer
from triage.verdict.plans import PLANS, WEARING, Valued
from triage.verdict.states import unwearable

BUY, ASK, SKIP = 0, 1, 2
# Below this chance that the size fits a pair is left to others, whatever its price.
LEAST_FITS = 0.05


@dataclass(frozen=True)
class Scene:
    """What a buyer faces: beliefs, values and terms of N pairs.

    Attributes:
        states: Chance of candidate and state, [N, C, 256].
        bears: Load-bearing parts, [N, C, 8].
        fitting, other: Values when the size fits and when it doesn't, without returns.
    """

    buyer: Buyer
    offer: Offer
    states: Array
    bears: Flags
    fitting: Valued
    other: Valued

    @cached_property
    def kept(self) -> Array:
        """Expected value at the door of a pair that is never sent back, minor units, [N]."""
        good = np.einsum("ncs,ncs->n", self.states, self.fitting.value)
        bad = np.einsum("ncs,ncs->n", self.states, self.other.value)
        return np.asarray(self.offer.fits * good + (1 - self.offer.fits) * bad)

    def expected(self, price: Array) -> Array:
        """Return the expected value at the door when bought at a price, minor units, [N]."""
        rows = np.flatnonzero(self.offer.refund_share > 0)
        value = self.kept.copy()
        if len(rows):
            refund = self.offer.refund(price)[rows, None, None]
            fits, states = self.offer.fits[rows], self.states[rows]
            good = (states * np.maximum(self.fitting.value[rows], refund)).sum(axis=(1, 2))
            bad = (states * np.maximum(self.other.value[rows], refund)).sum(axis=(1, 2))
            value[rows] = fits * good + (1 - fits) * bad
        return value


@dataclass(frozen=True)
class Calls:
    """The calls on N pairs; money in minor units. NaN where no price is stated."""

    call: npt.NDArray[np.int64]
    plan: npt.NDArray[np.int64]
    landed: Array
    expected: Array
    surplus: Array
    offer: Array
    after_plan: Array
    repair_minor: Array
    ask_gain: Array
    asked: BestSet
    model: AnswerModel
    haggle: Flags
    over_budget: Flags
    plan_chance: Array
    plan_value: Array


def plan_shares(scene: Scene, price: Array) -> tuple[Array, Array]:
    """Return the chance of each plan and its mean value when it is the best, [N, 5] each."""
    refund = scene.offer.refund(price)[:, None, None]
    fits = scene.offer.fits[:, None]
    chance, total = np.zeros((len(price), len(PLANS))), np.zeros((len(price), len(PLANS)))
    for valued, share in ((scene.fitting, fits), (scene.other, 1 - fits)):
        back = refund > valued.value
        value = np.maximum(valued.value, refund)
        for number in range(len(PLANS)):
            chosen = back if number == len(PLANS) - 1 else (valued.plan == number) & ~back
            mass = scene.states * chosen
            chance[:, number] += share[:, 0] * mass.sum(axis=(1, 2))
            total[:, number] += share[:, 0] * np.where(chosen, mass * value, 0).sum(axis=(1, 2))
    return chance, np.divide(total, chance, out=np.zeros_like(total), where=chance > 0)


def main_plan(chance: Array, value: Array) -> npt.NDArray[np.int64]:
    """Return the plan to name, [N]: what most of the value comes from.

    To wear counts together with to restore; a pair that needs the cobbler first more often than not
    is none "to wear as it is".
    """
    worth = chance * value
    wearing = worth[:, list(WEARING)].sum(axis=1)
    rest = worth[:, len(WEARING) : len(PLANS) - 1]
    share = chance[:, list(WEARING)]
    named = np.where((share[:, 0] >= 0.5) | (share[:, 1] == 0), *WEARING)
    return np.asarray(np.where(wearing >= rest.max(axis=1), named, len(WEARING) + rest.argmax(axis=1)))


def repair_costs(scene: Scene) -> Array:
    """Return the mean cost of repairs of a pair that fits, minor units, [N]."""
    kinds = scene.fitting.mendings
    width = max((len(kind.sets) for kind in kinds), default=1)
    full = np.array([np.pad(_set_costs(kind), (0, width - len(kind.sets))) for kind in kinds])
    cost = full[scene.fitting.mending[..., None], scene.fitting.repair.clip(0)]
    restoring = scene.fitting.plan == PLANS.index("restore")
    return np.asarray((scene.states * restoring * cost).sum(axis=(1, 2)))


def _set_costs(kind: object) -> Array:
    """Return the cost of each set of a mending; 0 where no state ever uses it."""
    costs = np.zeros(len(kind.sets))  # type: ignore[attr-defined]
    for chosen, cost in ((kind.full, kind.full_cost), (kind.least, kind.least_cost)):  # type: ignore[attr-defined]
        used = chosen >= 0
        costs[chosen[used]] = cost[used]
    return costs


def decide(scene: Scene, questions: list[SignQuestion], current_db: Array, open_question: Flags) -> Calls:
    """Return the calls.

    Args:
        questions: Signs that can be asked for.
        current_db: Decibans their groups carry now, [N, Q].
        open_question: Nobody has said anything of the sign yet, [N, Q].
    """
    buyer, offer = scene.buyer, scene.offer
    price = np.nan_to_num(offer.price, nan=0.0)
    landed = landed_cost(price, offer.terms)
    expected = scene.expected(price)
    surplus = expected - landed
    repair = repair_costs(scene)
    chance, value = plan_shares(scene, price)
    plan = main_plan(chance, value)
    after = chance[:, list(WEARING)].sum(axis=1)
    best_offer = sensible_offer(scene, repair)
    over = landed + repair > buyer.budget_minor
    model = answer_model(questions, current_db)
    model = replace(model, usable=model.usable & open_question)
    sure = (after >= buyer.wearable_floor) | ~np.isin(plan, WEARING)
    asked, gain = ask(scene, landed, np.where(sure, surplus, np.minimum(surplus, 0)), questions, model, ~sure)
    could = offer.fits >= LEAST_FITS
    buy = could & ~over & sure & (surplus >= buyer.margin_minor) & (price <= best_offer)
    asks = could & ~over & (gain > 0)
    near = (best_offer >= price * (1 - buyer.haggle_share)) & (best_offer < price) & (best_offer > 0)
    haggling = (1 - buyer.loss_chance) * buyer.reply_chance * buyer.margin_minor - buyer.ask_cost_minor
    firm = offer.rows["firm"].to_numpy() | (offer.rows["price_kind"] == "bid").to_numpy()
    haggle = could & near & sure & ~firm & (haggling > 0) & ~buy & ~asks
    priceless = np.isnan(offer.price)
    unpriced = could & priceless & sure & (best_offer >= buyer.margin_minor)
    call = np.where(asks | haggle, ASK, np.where(buy, BUY, SKIP))
    call = np.where(priceless, np.where(unpriced, ASK, SKIP), call)
    gain = np.where(haggle, haggling, np.where(priceless, 0.0, gain))
    return Calls(
        call, plan, np.where(priceless, np.nan, landed), expected, np.where(priceless, np.nan, surplus), best_offer,
        after, repair, gain, asked, model, haggle | unpriced, over, chance, value,
    )  # fmt: skip


def sensible_offer(scene: Scene, repair: Array, expected: Array | None = None) -> Array:
    """Return the highest price that keeps the margin and the budget, minor units, [N].

    Args:
        expected: Expected value by another belief, [N]; the present one when left out.
    """
    buyer, terms = scene.buyer, scene.offer.terms

    def enough(price: Array) -> Flags:
        landed = landed_cost(price, terms)
        value = scene.expected(price) if expected is None else expected
        return np.asarray((value - landed >= buyer.margin_minor) & (landed + repair <= buyer.budget_minor))

    return highest_price(enough, terms, float(buyer.budget_minor))


def ask(
    scene: Scene,
    landed: Array,
    surplus: Array,
    questions: list[SignQuestion],
    model: AnswerModel,
    barred: Flags,
) -> tuple[BestSet, Array]:
    """Return the best questions, and what asking them gains over deciding now, minor units, [N].

    Pairs that even perfect knowledge would not move are left out of the search.

    Args:
        surplus: What deciding now is worth: the expected surplus, 0 at most where buying is barred.
        barred: Pairs the floor on the chance of wearable forbids now, [N].
    """
    buyer, offer = scene.buyer, scene.offer
    refund = offer.refund(np.nan_to_num(offer.price, nan=0.0))[:, None, None]
    fits = offer.fits[:, None, None]
    bad = unwearable(scene.bears)
    mass = [cells_of(scene.states * share, bad) for share in (fits, 1 - fits)]
    worth = [
        cells_of(scene.states * share * (np.maximum(valued.value, refund) - landed[:, None, None]), bad)
        for share, valued in ((fits, scene.fitting), (1 - fits, scene.other))
    ]
    wears = cells_of(scene.states * fits * np.isin(scene.fitting.plan, WEARING), bad)
    total = np.stack(worth, axis=2)
    floor = Floor(buyer.wearable_floor, barred, np.stack(mass, axis=2), np.stack([wears, 0 * wears], axis=2))
    terms = (buyer.reply_chance, buyer.loss_chance, float(buyer.ask_cost_minor))
    rows = np.flatnonzero(asking_value(perfect_value(total), surplus, *terms) > np.maximum(surplus, 0))
    some = AnswerModel(model.yes_if_fit[rows], model.yes_if_unfit[rows], model.usable[rows])
    found = best_sets(total[rows], some, questions, buyer.ask_cost_minor / 2, floor.take(rows))
    asked = _spread(found, rows, len(surplus))
    gain = asking_value(asked.evsi, surplus, *terms) - np.maximum(surplus, 0)
    return asked, np.where(np.isin(np.arange(len(surplus)), rows), gain, -np.inf)


def _spread(found: BestSet, rows: npt.NDArray[np.int64], count: int) -> BestSet:
    """Return the best sets of some rows among all of them."""
    empty = BestSet(
        np.zeros(count),
        np.zeros((count, found.bits.shape[1]), np.bool_),
        np.zeros(count, np.int64),
        np.full((count, found.bits.shape[1]), -1),
    )
    for name in ("evsi", "bits", "kind", "sign"):
        getattr(empty, name)[rows] = getattr(found, name)
    return empty
