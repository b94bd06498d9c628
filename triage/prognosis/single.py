"""One material in one place of storage: the stage's own arithmetic, for people who just want to know."""

from dataclasses import dataclass
from datetime import date

import numpy as np
import polars as pl

from triage.catalogue.climates import Climate
from triage.catalogue.materials import Material, UnknownMix
from triage.prognosis.clocks import SD_REGION, SD_STATED, TRUST_STATED, decimal_year
from triage.prognosis.parts import Exposure, Materials, mean_of, node_chances

# Years from the as-of date on for which the chance is shown.
HORIZONS = (0.0, 1.0, 2.0, 3.0, 5.0, 10.0)


@dataclass(frozen=True)
class Life:
    """What is known of one part: years of manufacture, its storage, when it was last worn without failing.

    Attributes:
        made: First and last year it may have been made.
        climate: Where it lay.
        place_stated: Somebody says so of this pair; else it is no more than the seller's region.
        worn_until: Year in which it was last worn without failing; None when nobody says.
        boxed: In a closed box.
    """

    made: tuple[int, int]
    climate: Climate
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

    Source:
        As ``triage.prognosis.ageing``; the material's own figures say theirs in ``basis``.
    """
    now = decimal_year(as_of)
    worn, climate = life.worn_until, life.climate
    sd = SD_STATED if life.place_stated else max(SD_REGION, climate.log_sd)
    once = Exposure(
        material=np.array([0]),
        made_lo=np.array([float(life.made[0])]),
        made_hi=np.array([min(life.made[1] + 1.0, now)]),
        proof_year=np.array([0.0 if worn is None else min(worn + 0.5, now)]),
        trust=np.array([0.0 if worn is None else TRUST_STATED]),
        life_factor=np.array([1.0]),
        temp_c=np.array([climate.temp_c]),
        rh_pct=np.array([climate.rh_pct]),
        rate_factor=np.array([1.0]),
        boxed=np.array([life.boxed]),
        storage_sd=np.array([sd]),
    )
    known = Materials(("it",), {"it": material}, UnknownMix(mix={}, source="our_judgement"))
    rows = []
    for horizon in HORIZONS:
        chances = node_chances(once, known, life.climate, now, horizon)
        low, mid, high = (float(mean_of(getattr(chances, name))[0]) for name in ("low", "mid", "high"))
        rows.append((horizon, float(chances.age_years[0]), float(chances.effective_years[0]), low, mid, high))
    names = ("horizon_years", "age_years", "effective_years", "p_unfit_lo", "p_unfit", "p_unfit_hi")
    return pl.DataFrame(rows, schema=dict.fromkeys(names, pl.Float64), orient="row")
