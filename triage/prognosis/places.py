"""Where a seller's pair lay: the climates of their country or region, mixed, and how far single homes differ."""

import numpy as np
import polars as pl

from triage.catalogue.climates import Climates
from triage.once import once
from triage.prognosis.ageing import ageing_rate

# Climates are compared by how fast they age ester PU foam: the spreads in climates.csv are stated for it.
EA_J_MOL, RH_EXPONENT = 75_000, 1.0
ROOM = ("temp_c", "rh_pct", "shed_temp_c", "shed_rh_pct", "home_sd", "between_sd")
SCHEMA = {"ships_from": pl.String, "region": pl.String, **dict.fromkeys(ROOM, pl.Float64)}


@once
def rooms(climates: Climates) -> pl.DataFrame:
    """Return the room and the shed of every country and region, and of who names neither.

    Returns:
        ships_from (country; NULL: not stated), region (NULL: no more is known than the country) and what ``room``
        returns.
    """
    nowhere = [(None, None, *room({climates.unknown.climate: 1.0}, climates))]
    of_country = [(code, None, *room(one.climates, climates)) for code, one in sorted(climates.countries.items())]
    of_region = [(one.country, code, *room(one.climates, climates)) for code, one in sorted(climates.regions.items())]
    return pl.DataFrame([*nowhere, *of_country, *of_region], schema=SCHEMA, orient="row")


def room(shares: dict[str, float], climates: Climates) -> tuple[float, ...]:
    """Return the means over people who live in several climates, and the two spreads of their storage.

    Args:
        shares: Climate to share; they are scaled to sum to 1.
        climates: The climates.

    Returns:
        temp_c and rh_pct of the room, shed_temp_c and shed_rh_pct of what is not heated; home_sd (how far one home
        lies from its climate's mean) and between_sd (how far the climates lie apart), both of the logarithm of the
        ageing rate.

    Source:
        Law of total variance; that the rate is the one of ester PU foam is our judgement.
    """
    weight = np.array(list(shares.values())) / sum(shares.values())
    found = [climates.climates[key] for key in shares]
    means = np.array([(one.temp_c, one.rh_pct, one.shed_temp_c, one.shed_rh_pct, one.log_sd**2) for one in found])
    rate = np.log(ageing_rate(means[:, 0], means[:, 1], EA_J_MOL, RH_EXPONENT))
    *room_and_shed, variance = weight @ means
    between = weight @ (rate - weight @ rate) ** 2
    return *(float(value) for value in room_and_shed), float(np.sqrt(variance)), float(np.sqrt(between))
