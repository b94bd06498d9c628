"""Moist air: what a warmer or cooler place does to the humidity of the same air."""

import numpy as np

from triage.prognosis.ageing import TINY, Array, Number, in_range


def saturation_pressure_pa(temp_c: Number) -> Array:
    """Return the saturation vapour pressure over water, Pa.

    Args:
        temp_c: Temperature, °C, above 0 (over ice the formula reads up to 5 % high at -5 °C).

    Returns:
        Pa, shape of the argument.

    Raises:
        ValueError: The temperature is beyond -60 to 120 °C; the message shows it.

    Source:
        Magnus form, Alduchov & Eskridge 1996, J. Appl. Meteorol. 35:601, eq. 21.
    """
    in_range("temp_c", temp_c, -60, 120)
    temp = np.asarray(temp_c, dtype=np.float64)
    return np.asarray(610.94 * np.exp(17.625 * temp / (243.04 + temp)), dtype=np.float64)


def dew_point_c(temp_c: Number, rh_pct: Number) -> Array:
    """Return the dew point, °C: the Magnus form inverted.

    Args:
        temp_c: Temperature, °C.
        rh_pct: Relative humidity, %, above 0, up to 100.

    Returns:
        °C, shape of the arguments broadcast together.

    Raises:
        ValueError: An argument is out of range; the message shows it.

    Source:
        As ``saturation_pressure_pa``.
    """
    in_range("temp_c", temp_c, -60, 120)
    in_range("rh_pct", rh_pct, TINY, 100)
    temp = np.asarray(temp_c, dtype=np.float64)
    logged = np.log(np.asarray(rh_pct, dtype=np.float64) / 100) + 17.625 * temp / (243.04 + temp)
    return np.asarray(243.04 * logged / (17.625 - logged), dtype=np.float64)


def shifted_humidity(temp_c: Number, rh_pct: Number, temp_shift_c: Number, rh_shift_pct: Number) -> Array:
    """Return the relative humidity, %, of the same air in a warmer or cooler place.

    The vapour pressure stays, so warm lofts are dry and cool cellars damp; ``rh_shift_pct`` comes
    on top for damp that enters from elsewhere. Held between 5 and 98 %.

    Args:
        temp_c: Temperature of the air, °C.
        rh_pct: Its relative humidity, %.
        temp_shift_c: How much warmer it gets, °C; below 0 where it cools.
        rh_shift_pct: Points of relative humidity on top.

    Raises:
        ValueError: A temperature is beyond -60 to 120 °C; the message shows it.

    Source:
        As ``saturation_pressure_pa``; the bounds are our judgement.
    """
    temp = np.asarray(temp_c, dtype=np.float64)
    same_vapour = rh_pct * saturation_pressure_pa(temp) / saturation_pressure_pa(temp + temp_shift_c)
    return np.asarray(np.clip(same_vapour + rh_shift_pct, 5.0, 98.0), dtype=np.float64)
