"""One material in one or several places of storage: the stage's own arithmetic, for people who just want to know."""

from dataclasses import dataclass
from datetime import date
from itertools import pairwise

import numpy as np
import polars as pl

from triage.catalogue.climates import LEAST_SD, Climate
from triage.catalogue.materials import Material, UnknownMix
from triage.prognosis.ageing import Array, added_years
from triage.prognosis.chances import Materials, Past, chances_after, mean_of, years_made
from triage.prognosis.clocks import SD_REGION, TRUST_STATED, decimal_year

# Years from the as-of date on for which the chance is shown.
HORIZONS = (0.0, 1.0, 2.0, 3.0, 5.0, 10.0)


@dataclass(frozen=True)
class Stay:
    """Years in one climate: from the end of the stay before, or from manufacture, to the start of year ``until``.

    None is until today.
    """

    climate: Climate
    until: int | None = None


@dataclass(frozen=True)
class Life:
    """What is known of one part: years of manufacture, its storage, when it was last worn without failing.

    Attributes:
        made: First and last year it may have been made.
        stays: Where it lay, one after the other; the last is where it will be worn.
        place_stated: Somebody says so of this pair; else it is no more than the seller's region.
        worn_until: Year in which it was last worn without failing; None when nobody says.
        boxed: In a closed box.
    """

    made: tuple[int, int]
    stays: tuple[Stay, ...]
    place_stated: bool = False
    worn_until: int | None = None
    boxed: bool = False


def age_of(material: Material, life: Life, as_of: date) -> pl.DataFrame:
    """Return how a part has aged and how likely it is unfit, now and in the years to come.

    Args:
        material: What it is made of.
        life: What is known of it.
        as_of: The day every age refers to.

    Returns:
        One row per horizon: horizon_years, age_years and effective_years (now, at 20 °C and 50 % RH),
        p_unfit_lo, p_unfit, p_unfit_hi (0 to 1; lo and hi for a long- and a short-lived grade).

    Raises:
        ValueError: No stay, or one that ends before the one before it; the message shows it.

    Source:
        As ``triage.prognosis.ageing``; the material's own figures say theirs in ``basis``.
    """
    now = decimal_year(as_of)
    ends = _ends(life.stays, now)
    made = years_made(np.array([float(life.made[0])]), np.array([min(life.made[1] + 1.0, now)]))
    worn = now if life.worn_until is None else min(life.worn_until + 0.5, now)
    farthest = max(stay.climate.log_sd for stay in life.stays)
    past = Past(
        material=np.array([0]),
        trust=np.array([0.0 if life.worn_until is None else TRUST_STATED]),
        life_factor=np.array([1.0]),
        storage_sd=np.array([LEAST_SD if life.place_stated else max(SD_REGION, farthest)]),
        aged=_aged(made, now, ends, material, life),
        proven=_aged(made, worn, ends, material, life),
    )
    known = Materials(("it",), {"it": material}, UnknownMix(mix={}, source="our_judgement"))
    age, effective = float(np.maximum(now - made, 0.0).mean()), float(past.aged.mean())
    rows = []
    for horizon in HORIZONS:
        chances = chances_after(past, known, life.stays[-1].climate, horizon)
        rows.append((horizon, age, effective, *(float(mean_of(one)[0]) for one in chances)))
    names = ("horizon_years", "age_years", "effective_years", "p_unfit_lo", "p_unfit", "p_unfit_hi")
    return pl.DataFrame(rows, schema=dict.fromkeys(names, pl.Float64), orient="row")


def _ends(stays: tuple[Stay, ...], now: float) -> list[float]:
    """Return the decimal year in which each stay ends, the last today."""
    if not stays:
        raise ValueError("stays is empty; expected at least one")
    ends = [now if stay.until is None else float(stay.until) for stay in stays]
    for before, after in pairwise(ends):
        if before > after:
            raise ValueError(f"a stay ends in {after:g}; expected {before:g} or later")
    return [*ends[:-1], now]


def _aged(made: Array, until: float, ends: list[float], material: Material, life: Life) -> Array:
    """Return the reference years from each year of manufacture up to ``until``, all stays added up."""
    box = material.box_rate[1] if life.boxed else 1.0
    found = []
    for year in made[:, 0]:
        marks = np.clip([year, *ends], None, max(until, year)).clip(year)
        years = np.diff(marks)
        stays = [(float(y), one.climate.temp_c, one.climate.rh_pct) for y, one in zip(years, life.stays, strict=True)]
        found.append(box * added_years(stays, material.ea_j_mol[1], material.rh_exponent[1]))
    return np.array(found)[:, None]
