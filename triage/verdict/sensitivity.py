"""The numbers that would move a call most: what is left over when one of them is at either end of its range."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from triage.catalogue.values import Values
from triage.verdict.calls import Scene
from triage.verdict.money import Array, landed_cost
from triage.verdict.plans import Valued
from triage.verdict.scenes import Stakes, both_sides
from triage.verdict.states import BITS, PARTS, Places, marginals
from triage.verdict.tables import whole_amounts

MOST_NUMBERS = 2
# A swing of less is not worth a line, minor units.
LEAST_SWING = 100
# A chance that the size fits nearer to 0 or 1 is as good as known; a release less likely is left out.
LEAST_OPEN = 0.05
SENSITIVITY = {
    "listing_id": pl.String, "buyer": pl.String, "place": pl.Int64, "number": pl.String, "low": pl.Float64,
    "high": pl.Float64, "at_low_minor": pl.Int64, "at_high_minor": pl.Int64,
}  # fmt: skip


@dataclass(frozen=True)
class Swing:
    """One number's range, and what is left over at its ends, minor units, [N]; NaN where it has no range."""

    number: str
    low: Array
    high: Array
    at_low: Array
    at_high: Array


def sensitivity_rows(stakes: Stakes, rows: Places, scene: Scene, ids: pl.Series, values: Values) -> pl.DataFrame:
    """Return the rows of ``sensitivity`` for some of the pairs: the two numbers of the widest swing, widest first.

    One number at a time is moved, the others stay where they are.

    Args:
        rows: Which of the stakes' pairs.
        scene: What the buyer faces in them.
        ids: Their listing ids.
    """
    swings = list(_swings(stakes, rows, scene, values))
    low, high, at_low, at_high = (
        np.concatenate([getattr(swing, name) for swing in swings]) for name in ("low", "high", "at_low", "at_high")
    )
    table = pl.LazyFrame(
        {
            "listing_id": ids.gather(np.tile(np.arange(len(ids)), len(swings))),
            "number": pl.Series([swing.number for swing in swings]).gather(np.repeat(np.arange(len(swings)), len(ids))),
            "low": low,
            "high": high,
            **whole_amounts({"at_low_minor": at_low, "at_high_minor": at_high}),
        }
    )
    wide = (pl.col("at_high_minor") - pl.col("at_low_minor")).abs()
    return (
        table.with_columns(pl.col("low", "high").fill_nan(None), buyer=pl.lit(stakes.buyer.id), wide=wide)
        .filter(pl.col("wide") >= LEAST_SWING)
        .sort("listing_id", "wide", "number", descending=[False, True, False])
        .with_columns(place=pl.int_range(1, pl.len() + 1).over("listing_id"))
        .filter(pl.col("place") <= MOST_NUMBERS)
        .select(list(SENSITIVITY))
        .collect()
    )


def _swings(stakes: Stakes, rows: Places, scene: Scene, values: Values) -> Iterator[Swing]:
    """Yield every number's swing; all are NaN where no price is stated."""
    price, buyer = scene.offer.price, scene.buyer
    terms, none = scene.offer.terms, np.full(len(rows), np.nan)
    landed = landed_cost(price, terms)
    yield from _parts(stakes, rows, scene, landed)
    prices, mender = stakes.prices, stakes.prices.mender
    worth, mending, doubt = prices.worth.take(rows), prices.mending[rows], prices.doubt[rows]
    ends = [1 - doubt, 1 + doubt]
    valued = [both_sides(worth.times(end), mending, mender.mendings, buyer, values) for end in ends]
    value = stakes.value[rows]
    yield Swing("value_minor", value * ends[0], value * ends[1], *(_left(scene, sides, landed) for sides in valued))
    mended = [both_sides(worth, mending, mender.at(end), buyer, values) for end in (0, 2)]
    yield Swing("repair_minor", none, none, *(_left(scene, sides, landed) for sides in mended))
    post = [np.where(scene.offer.shipping_assumed, terms.shipping * (1 + way * values.doubt.shipping), np.nan)
            for way in (-1, 1)]  # fmt: skip
    expected = scene.expected(price)
    yield Swing("shipping_minor", *post, *(expected - landed_cost(price, replace(terms, shipping=one)) for one in post))
    good, bad = (_by_candidate(scene, side.value).sum(axis=1) for side, _ in scene.sides)
    fits = scene.offer.fits
    unsure = np.where((fits > LEAST_OPEN) & (fits < 1 - LEAST_OPEN), 1.0, np.nan)
    yield Swing("p_fits", 0 * unsure, unsure, unsure * (bad - landed), unsure * (good - landed))
    yield _release(scene, landed, none)


def _parts(stakes: Stakes, rows: Places, scene: Scene, landed: Array) -> Iterator[Swing]:
    """Yield the swing of each part's chance of unfit, from a long-lived to a short-lived grade of its material.

    Moving a part's chance moves the states in which it is unfit against the others by the ratio of odds.
    """
    beliefs = stakes.beliefs
    ends = [marginals(beliefs.with_chance(chance).take(rows))[0] for chance in (beliefs.low, beliefs.high)]
    mass = scene.states.sum(axis=1)
    held = np.stack([share[:, None, None] * _returned(scene, side.value) for side, share in scene.sides]).sum(axis=0)
    total = (scene.states * held).sum(axis=1)
    unfit, lost = mass @ BITS, total @ BITS
    left = []
    for end in ends:
        with np.errstate(invalid="ignore", divide="ignore"):
            ratio = end / (1 - end) * (1 - unfit) / unfit
            moved = total.sum(axis=1, keepdims=True) - lost + ratio * lost
            left.append(moved / (1 - unfit + ratio * unfit) - landed[:, None])
    for part, name in enumerate(PARTS):
        yield Swing(f"p_unfit {name}", ends[0][:, part], ends[1][:, part], left[0][:, part], left[1][:, part])


def _release(scene: Scene, landed: Array, none: Array) -> Swing:
    """Return what is left over if the pair is the least and the most welcome of its likely releases."""
    share = scene.states.sum(axis=2)
    held = sum(fits[:, None] * _by_candidate(scene, side.value) for side, fits in scene.sides)
    alone = np.where(share > LEAST_OPEN, held / np.maximum(share, LEAST_OPEN), np.nan)
    several = np.where((share > LEAST_OPEN).sum(axis=1) > 1, 0.0, np.nan)
    least, most = np.fmin.reduce(alone, axis=1), np.fmax.reduce(alone, axis=1)
    return Swing("construction_id", none, none, several + least - landed, several + most - landed)


def _returned(scene: Scene, value: Array) -> Array:
    """Return the value of states, or the refund where sending the pair back is worth more."""
    return np.maximum(value, scene.offer.refund(scene.offer.price)[:, None, None])


def _by_candidate(scene: Scene, value: Array) -> Array:
    """Return the expected value by candidate, [N, C]."""
    return np.asarray((scene.states * _returned(scene, value)).sum(axis=2))


def _left(scene: Scene, sides: tuple[Valued, Valued], landed: Array) -> Array:
    """Return what is left over with other values of the states."""
    return np.asarray(replace(scene, fitting=sides[0], other=sides[1]).expected(scene.offer.price) - landed)
