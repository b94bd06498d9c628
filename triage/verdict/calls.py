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
    no_questions,
    perfect_value,
)
from triage.verdict.money import Array, Flags, highest_price, landed_cost
from triage.verdict.offers import Offer
from triage.verdict.plans import PLANS, WEARING, Narrowed, Number, Valued
from triage.verdict.states import Rows, unwearable

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
    fitting: Valued | Narrowed
    other: Valued | Narrowed

    def take(self, rows: Rows) -> "Scene":
        """Return what the buyer faces in some of the pairs."""
        return Scene(
            self.buyer, self.offer.take(rows), self.states[rows], self.bears[rows], self.fitting.take(rows),
            self.other.take(rows),
        )  # fmt: skip

    @property
    def sides(self) -> tuple[tuple[Valued | Narrowed, Array], tuple[Valued | Narrowed, Array]]:
        """The values when the size fits and when it doesn't, each with its chance, [N]."""
        return (self.fitting, self.offer.fits), (self.other, 1 - self.offer.fits)

    @cached_property
    def means(self) -> tuple[Array, Array]:
        """Expected value at the door when the size fits and when it doesn't, minor units, [N] each."""
        good, bad = (np.einsum("ncs,ncs->n", self.states, side.value) for side, _ in self.sides)
        return np.asarray(good), np.asarray(bad)

    @cached_property
    def kept(self) -> Array:
        """Expected value at the door of a pair that is never sent back, minor units, [N]."""
        good, bad = (share * mean for mean, (_, share) in zip(self.means, self.sides, strict=True))
        return np.asarray(good + bad)

    @cached_property
    def returns(self) -> "Returns":
        """The pairs that somebody takes back."""
        rows = np.flatnonzero(self.offer.refund_share > 0)
        value = np.concatenate([side.value[rows] for side, _ in self.sides], axis=1)
        mass = np.concatenate([self.states[rows] * share[rows, None, None] for _, share in self.sides], axis=1)
        # Candidates and states are one axis from here.
        value, mass = (every.reshape(len(rows), every[0].size if len(rows) else 0) for every in (value, mass))
        order = value.argsort(axis=1)
        value, mass = np.take_along_axis(value, order, axis=1), np.take_along_axis(mass, order, axis=1)
        return Returns(rows, value, mass.cumsum(axis=1), (mass * value).cumsum(axis=1))

    def expected(self, price: Array) -> Array:
        """Return the expected value at the door when bought at a price, minor units, [N]."""
        value = self.kept.copy()
        rows = self.returns.rows
        value[rows] += self.returns.gain(self.offer.refund(price)[rows])
        return value


@dataclass(frozen=True)
class Returns:
    """Pairs that can be sent back: their values in rising order, and what lies up to each.

    Attributes:
        rows: Which of the pairs, [R].
        value: Values of their states, rising, [R, M].
        mass, worth: Chance of this value or a lower one, and that chance times its values, [R, M].
    """

    rows: npt.NDArray[np.int64]
    value: Array
    mass: Array
    worth: Array

    def gain(self, refund: Array) -> Array:
        """Return what sending back the states worth less than a refund adds, minor units, [R]."""
        at, most = np.arange(len(refund)), self.value.shape[1]
        low, high = np.zeros(len(refund), dtype=np.int64), np.full(len(refund), most)
        while np.any(low < high):
            middle = (low + high) // 2
            less = self.value[at, np.minimum(middle, most - 1)] < refund
            open_ = low < high
            low, high = np.where(open_ & less, middle + 1, low), np.where(open_ & ~less, middle, high)
        last = np.maximum(low - 1, 0)
        return np.where(low > 0, refund * self.mass[at, last] - self.worth[at, last], 0.0)


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
    refund = scene.offer.refund(price)
    back = np.flatnonzero(scene.offer.refund_share > 0)
    count, places = len(price), len(PLANS)
    chance, total = np.zeros((count, places)), np.zeros((count, places))
    for mean, (side, share) in zip(scene.means, scene.sides, strict=True):
        # As to those whom the size is wrong and who wear what they buy: parts, whatever the state.
        only = side.plan[:, 0, 0]
        same = (side.plan == only[:, None, None]).all(axis=(1, 2)) & (scene.offer.refund_share <= 0)
        at = np.flatnonzero(same), only[same]
        if same.all():
            chance[at] += share
            total[at] += share * mean
            continue
        plan, value = side.plan.astype(np.int64), side.value
        if len(back):
            plan[back] = np.where(refund[back, None, None] > value[back], places - 1, plan[back])
            value = value.copy()
            value[back] = np.maximum(value[back], refund[back, None, None])
        plan += np.arange(0, count * places, places)[:, None, None]
        for found, mass in ((chance, scene.states), (total, scene.states * value)):
            add = share[:, None] * np.bincount(plan.ravel(), mass.ravel(), count * places).reshape(count, places)
            # To the last bit the same as for pairs that are all of one plan.
            add[at] = share[same] if found is chance else share[same] * mean[same]
            found += add
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
    return np.asarray(np.einsum("ncs,ncs->n", scene.states, scene.fitting.spent))


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
    haggle = could & near & sure & ~offer.firm & (haggling > 0) & ~buy & ~asks
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
    buyer = scene.buyer
    terms = (buyer.reply_chance, buyer.loss_chance, float(buyer.ask_cost_minor))
    best = _best_known(scene, landed)
    rows = np.flatnonzero(asking_value(best, surplus, *terms) > np.maximum(surplus, 0))
    asked = no_questions(len(surplus), scene.bears.shape[-1] + 1)
    if len(rows):
        asked.put(rows, _questions(scene.take(rows), landed[rows], questions, model.take(rows), barred[rows]))
    gain = asking_value(asked.evsi, surplus, *terms) - np.maximum(surplus, 0)
    return asked, np.where(np.isin(np.arange(len(surplus)), rows), gain, -np.inf)


def _best_known(scene: Scene, landed: Array) -> Array:
    """Return what knowing everything would be worth, minor units, [N]."""
    refund = scene.offer.refund(np.nan_to_num(scene.offer.price, nan=0.0))
    known = np.zeros(len(landed))
    for side, share in scene.sides:
        over = side.value - landed[:, None, None]
        if np.any(scene.offer.refund_share > 0):
            # A state that is sent back is worth the refund, whatever it is.
            np.maximum(over, (refund - landed)[:, None, None], out=over)
        known += share * perfect_value(scene.states, over)
    return known


def _questions(
    scene: Scene, landed: Array, questions: list[SignQuestion], model: AnswerModel, barred: Flags
) -> BestSet:
    """Return the best questions of each pair.

    Args:
        barred: The floor on the chance of wearable forbids buying it now, [N].
    """
    refund = scene.offer.refund(np.nan_to_num(scene.offer.price, nan=0.0))
    # Pairs last: sums over cells then run along the pairs.
    states, bad = _pairs_last(scene.states), _pairs_last(unwearable(scene.bears))
    mass = [states * share for _, share in scene.sides]
    worth = [
        cells_of(chance * (np.maximum(_pairs_last(side.value), refund) - landed), bad, 1)
        for chance, (side, _) in zip(mass, scene.sides, strict=True)
    ]
    floor = None
    if barred.any():
        least, wears = scene.buyer.wearable_floor, np.isin(_pairs_last(scene.fitting.plan), WEARING)
        above = [mass[0] * (wears - least), mass[1] * -least]
        floor = Floor(barred, np.stack([cells_of(side, bad, 1) for side in above], axis=1))
    return best_sets(np.stack(worth, axis=1), model, questions, scene.buyer.ask_cost_minor / 2, floor)


def _pairs_last(values: npt.NDArray[Number]) -> npt.NDArray[Number]:
    return np.ascontiguousarray(np.moveaxis(values, 0, -1))
