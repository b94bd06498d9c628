"""How materials age: rate, life and proof by wear, as formulas over arrays."""

from collections.abc import Sequence
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Number = float | Array

GAS_CONSTANT = 8.314
REFERENCE_K = 293.15
REFERENCE_RH_PCT = 50.0
# The least number that counts as above 0.
TINY = 1e-9


def in_range(name: str, value: Any, low: float, high: float) -> None:
    """Refuse a number, or an array with one, that is out of range or not a number.

    Raises:
        ValueError: With the first number that is.
    """
    values = np.asarray(value, dtype=np.float64)
    if not np.all((values >= low) & (values <= high)):
        wrong = values[~((values >= low) & (values <= high))].flat[0]
        raise ValueError(f"{name} is {wrong:g}; expected {low:g} to {high:g}")


def ageing_rate(temp_c: Number, rh_pct: Number, ea_j_mol: Number, rh_exponent: Number) -> Array:
    """Return how many reference years pass per calendar year of storage.

    Args:
        temp_c: Storage temperature, °C, -40 to 80.
        rh_pct: Relative humidity, %, above 0, up to 100.
        ea_j_mol: Activation energy, J/mol (not kJ/mol), 10 000 to 200 000.
        rh_exponent: Humidity exponent n, dimensionless, 0 to 2.

    Returns:
        Dimensionless, shape of the arguments broadcast together; 1 at 20 °C and 50 % RH, above 1
        where parts age faster.

    Raises:
        ValueError: An argument is out of range; the message shows it.

    Source:
        Arrhenius; humidity power law as in ICOM-CC 13th Triennial Meeting I:66-72 (2002).
        For shoe polymers an analogy, marked so in ``prognosis.basis``.
    """
    in_range("temp_c", temp_c, -40, 80)
    in_range("rh_pct", rh_pct, TINY, 100)
    in_range("ea_j_mol", ea_j_mol, 10_000, 200_000)
    in_range("rh_exponent", rh_exponent, 0, 2)
    kelvin = np.asarray(temp_c, dtype=np.float64) + 273.15
    heat = np.exp(-np.asarray(ea_j_mol) / GAS_CONSTANT * (1 / kelvin - 1 / REFERENCE_K))
    damp = (np.asarray(rh_pct, dtype=np.float64) / REFERENCE_RH_PCT) ** np.asarray(rh_exponent)
    return np.asarray(heat * damp, dtype=np.float64)


def added_years(stays: Sequence[tuple[float, float, float]], ea_j_mol: float, rh_exponent: float) -> float:
    """Return how many reference years pass over several stays in several climates, added up.

    Args:
        stays: One (years, temp_c, rh_pct) a stay, in any order; years 0 or more.
        ea_j_mol: Activation energy, J/mol, 10 000 to 200 000.
        rh_exponent: Humidity exponent n, dimensionless, 0 to 2.

    Returns:
        Years at 20 °C and 50 % RH that age the part as much; 0 for no stays.

    Raises:
        ValueError: A number of years is negative, or a climate is out of range; the message shows it.

    Source:
        ``t_eff = sum of years x ageing_rate``: damage adds up in any order as long as the rate depends on
        the climate alone (cumulative exposure, Nelson 1980, IEEE Trans. Reliab. R-29:103; from memory).
    """
    if not stays:
        return 0.0
    years, temp_c, rh_pct = np.asarray(stays, dtype=np.float64).T
    in_range("years", years, 0, np.inf)
    return float(years @ ageing_rate(temp_c, rh_pct, ea_j_mol, rh_exponent))


def q10_acceleration(q10: float, temp_c: float, reference_c: float) -> float:
    """Return how much faster a part ages at one temperature than at another, by the Q10 rule.

    For adding a material whose source states a Q10 instead of an activation energy.

    Args:
        q10: Factor per 10 °C, above 0.
        temp_c: Temperature, °C.
        reference_c: Reference temperature, °C.

    Returns:
        Dimensionless; 1 where both temperatures are the same.

    Raises:
        ValueError: ``q10`` is not above 0; the message shows it.

    Source:
        ASTM F1980, accelerated ageing factor.
    """
    in_range("q10", q10, TINY, np.inf)
    return float(q10 ** ((temp_c - reference_c) / 10))


def ea_from_q10(q10: float, temp_c: float) -> float:
    """Return the activation energy, J/mol, that gives a Q10 between ``temp_c`` and ten degrees more.

    Args:
        q10: Factor per 10 °C, above 0.
        temp_c: Temperature, °C.

    Raises:
        ValueError: ``q10`` is not above 0; the message shows it.

    Source:
        Arrhenius: Ea = R ln(Q10) / (1/T - 1/(T + 10)).
    """
    in_range("q10", q10, TINY, np.inf)
    kelvin = temp_c + 273.15
    return float(GAS_CONSTANT * np.log(q10) / (1 / kelvin - 1 / (kelvin + 10)))


def _life_in_range(effective_years: Number, eta_years: Number, beta: Number) -> None:
    in_range("effective_years", effective_years, 0, np.inf)
    in_range("eta_years", eta_years, TINY, np.inf)
    in_range("beta", beta, TINY, np.inf)


def survival(effective_years: Number, eta_years: Number, beta: Number) -> Array:
    """Return the chance that a part is still fit after some effective years (Weibull).

    Args:
        effective_years: Years at 20 °C and 50 % RH, 0 or more.
        eta_years: Scale, years by which 63 % have failed, above 0.
        beta: Shape, above 0.

    Returns:
        0 to 1, shape of the arguments broadcast together.

    Raises:
        ValueError: An argument is out of range; the message shows it.

    Source:
        Weibull 1951; S(t) = exp(-(t/eta)^beta).
    """
    _life_in_range(effective_years, eta_years, beta)
    ratio = np.asarray(effective_years, dtype=np.float64) / np.asarray(eta_years, dtype=np.float64)
    return np.asarray(np.exp(-(ratio ** np.asarray(beta))), dtype=np.float64)


def unfit_after_proof(
    effective_years: Number, proof_years: Number, trust: Number, eta_years: Number, beta: Number
) -> Array:
    """Return the chance of unfit of a part that was worn without failing at an earlier age.

    ``F = w (1 - S(t) / S(t_w)) + (1 - w) F(t)``: with trust w the wear is a proof test, else it
    says nothing.

    Args:
        effective_years: Effective age at the horizon, t.
        proof_years: Effective age when last worn without failure, t_w; 0 where never stated.
        trust: Trust w in the statement, 0 to 1; 0 where never stated.
        eta_years: Weibull scale, years.
        beta: Weibull shape.

    Returns:
        0 to 1, shape of the arguments broadcast together.

    Raises:
        ValueError: An argument is out of range; the message shows it.

    Source:
        Conditional survival (left truncation), any reliability textbook; the trust is our judgement.
    """
    _life_in_range(effective_years, eta_years, beta)
    in_range("proof_years", proof_years, 0, np.inf)
    in_range("trust", trust, 0, 1)
    shape = np.asarray(beta)
    scale = np.asarray(eta_years, dtype=np.float64)
    end = (np.asarray(effective_years, dtype=np.float64) / scale) ** shape
    proof = (np.asarray(proof_years, dtype=np.float64) / scale) ** shape
    return unfit_from_hazards(end, proof, trust)


def unfit_from_hazards(end: Number, proof: Number, trust: Number) -> Array:
    """Return the chance of unfit from cumulative hazards, ``H = -ln S``, as ``unfit_after_proof`` defines it.

    Args:
        end: Cumulative hazard at the horizon, 0 or more.
        proof: Cumulative hazard when last worn without failure, 0 where never stated.
        trust: Trust in the statement, 0 to 1.

    Source:
        As ``unfit_after_proof``.
    """
    # Far beyond its life S underflows to 0: the difference of ln S keeps the ratio right.
    proven = -np.expm1(np.minimum(np.asarray(proof) - end, 0.0))
    plain = -np.expm1(-np.asarray(end))
    weight = np.asarray(trust, dtype=np.float64)
    return np.asarray(weight * proven + (1 - weight) * plain, dtype=np.float64)


@lru_cache
def normal_nodes(count: int) -> tuple[Array, Array]:
    """Return Gauss-Hermite nodes and weights for a standard normal variable; weights sum to 1.

    Source:
        Abramowitz & Stegun 25.4.46, by numpy.polynomial.hermite_e.
    """
    nodes, weights = np.polynomial.hermite_e.hermegauss(count)
    shares = weights / weights.sum()
    # Everyone is handed the same arrays.
    nodes.setflags(write=False)
    shares.setflags(write=False)
    return np.asarray(nodes), np.asarray(shares)


def log_sd(low: Number, high: Number) -> Array:
    """Return the sd of ln x when ``low`` to ``high`` holds 80 % of belief (2 x 1.2816 sd)."""
    return np.asarray(np.log(np.asarray(high) / np.asarray(low)) / 2.563, dtype=np.float64)
