"""The room in which a seller's pair lay: the climates of their country or region, mixed, and how far homes differ."""

import numpy as np
import polars as pl

from triage.catalogue.climates import Climate, Climates
from triage.prognosis.ageing import ageing_rate

# Climates are compared by how fast they age ester PU foam: the spreads in climates.csv are stated for it.
EA_J_MOL, RH_EXPONENT = 75_000, 1.0
SCHEMA = {
    "ships_from": pl.String, "region": pl.String, "temp_c": pl.Float64, "rh_pct": pl.Float64, "home_sd": pl.Float64,
    "between_sd": pl.Float64,
}  # fmt: skip


def rooms(climates: Climates) -> pl.DataFrame:
    """Return the room of every country and region.

    Returns:
        ships_from (country), region (NULL: no more is known than the country), temp_c, rh_pct (the mean over its
        people), home_sd (how far one home lies from its climate's mean) and between_sd (how far the climates lie
        apart), both of the logarithm of the ageing rate.
    """
    of_country = [(code, None, *room(one.climates, climates)) for code, one in sorted(climates.countries.items())]
    of_region = [(one.country, code, *room(one.climates, climates)) for code, one in sorted(climates.regions.items())]
    return pl.DataFrame([*of_country, *of_region], schema=SCHEMA, orient="row")


def room(shares: dict[str, float], climates: Climates) -> tuple[float, float, float, float]:
    """Return the mean room of people who live in several climates, and its two spreads, as ``rooms`` has them.

    Args:
        shares: Climate to share; they are scaled to sum to 1.
        climates: The climates.

    Source:
        Law of total variance; that the rate follows ester PU foam is our judgement.
    """
    weight = np.array(list(shares.values())) / sum(shares.values())
    found = [climates.climates[key] for key in shares]
    temp, damp, sd = np.array([(one.temp_c, one.rh_pct, one.log_sd) for one in found]).T
    rate = np.log(ageing_rate(temp, damp, EA_J_MOL, RH_EXPONENT))
    between = weight @ (rate - weight @ rate) ** 2
    return float(weight @ temp), float(weight @ damp), float(np.sqrt(weight @ sd**2)), float(np.sqrt(between))


def room_of(climate: Climate) -> tuple[float, float, float, float]:
    """Return the room of a pair of which only the climate is known."""
    return climate.temp_c, climate.rh_pct, climate.log_sd, 0.0
