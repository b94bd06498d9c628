"""Landed cost, and the highest price at which a pair still makes sense. Minor units throughout."""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Terms:
    """What lies between price and door, one entry a listing; rates are shares, money minor units.

    ``duty`` applies to goods of ``duty_from`` or more, ``flat`` to goods under ``flat_below``.
    """

    premium: Array
    shipping: Array
    duty: Array
    duty_from: Array
    flat: Array
    flat_below: Array
    tax: Array
    fees: Array

    def take(self, rows: npt.NDArray[np.int64] | slice) -> "Terms":
        """Return the terms of some of the listings."""
        return Terms(*(getattr(self, name)[rows] for name in self.__dataclass_fields__))


def landed_cost(price: Array, terms: Terms) -> Array:
    """Return what a pair costs at the door, minor units.

    ``L(P) = ((P(1+m) + S)(1+d) + f)(1+v) + F``: buyer's premium m, shipping S, duty d, flat customs
    charge f, import tax v, fixed fees F. Duty and flat charge have thresholds, so L has steps.

    Args:
        price: Price, minor units, [N].
        terms: What applies to each of the N.

    Source:
        Arithmetic of EU import: customs value times (1 + duty), tax on the sum; the rates and
        thresholds are the dated tables of rules/costs/.
    """
    duty = np.where(price >= terms.duty_from, terms.duty, 0.0)
    flat = np.where(price < terms.flat_below, terms.flat, 0.0)
    goods = (price * (1 + terms.premium) + terms.shipping) * (1 + duty) + flat
    return np.asarray(goods * (1 + terms.tax) + terms.fees)


def highest_price(enough: Callable[[Array], Flags], terms: Terms, most: float) -> Array:
    """Return the largest whole price at which ``enough`` holds, minor units; 0 when none does.

    Found by search, not by division: between two thresholds landed cost only rises, so each such
    stretch is halved until its last good price is found, and the best stretch wins.

    Args:
        enough: From prices [N] to whether the pair still makes sense there; falls with the price
            inside a stretch.
        terms: For their thresholds.
        most: Upper end of the search.
    """
    count = len(terms.fees)
    bounds = np.sort(np.stack([np.zeros(count), terms.duty_from, terms.flat_below, np.full(count, most)]), axis=0)
    bounds = np.clip(bounds, 0, most)
    best = np.zeros(count)
    for lower, upper in pairwise(bounds):
        best = np.maximum(best, _last_good(enough, np.ceil(lower), np.maximum(np.ceil(upper) - 1, np.ceil(lower))))
    return np.where(enough(np.full(count, float(most))), most, best)


def _last_good(enough: Callable[[Array], Flags], low: Array, high: Array) -> Array:
    good = np.where(enough(low), low, -1.0)
    low, high = low.copy(), high.copy()
    while np.any(low < high):
        middle = np.ceil((low + high) / 2)
        ok = enough(middle)
        good = np.where(ok, np.maximum(good, middle), good)
        low, high = np.where(ok, middle, low), np.where(ok, high, middle - 1)
        high = np.maximum(low, high)
    return np.where(good < 0, 0.0, good)
