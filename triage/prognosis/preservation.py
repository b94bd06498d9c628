"""Two published yardsticks of storage, to hold our own rates against: preservation index and isoperms."""

import numpy as np

from triage.prognosis.ageing import GAS_CONSTANT, Array, Number, in_range


def preservation_index_years(temp_c: Number, rh_pct: Number) -> Array:
    """Return the preservation index: years until short-lived organic material has visibly decayed.

    A yardstick for films and paper, not for shoes. The fit follows the published look-up values within
    10 % where both are known (-13 to 32.5 °C, 2.5 to 80 % RH).

    Args:
        temp_c: Storage temperature, °C, -20 to 40.
        rh_pct: Relative humidity, %, 0 to 100.

    Raises:
        ValueError: An argument is out of range; the message shows it.

    Source:
        Image Permanence Institute's preservation index in the fit of Padfield 2004,
        PI = exp((95220 - 134.9 RH) / (8.314 T) + 0.0284 RH - 28.023) / 365, T in kelvin.
    """
    in_range("temp_c", temp_c, -20, 40)
    in_range("rh_pct", rh_pct, 0, 100)
    kelvin, damp = np.asarray(temp_c, dtype=np.float64) + 273.15, np.asarray(rh_pct, dtype=np.float64)
    return np.asarray(np.exp((95220 - 134.9 * damp) / (GAS_CONSTANT * kelvin) + 0.0284 * damp - 28.023) / 365)


def isoperm_ratio(
    temp_c: tuple[float, float], rh_pct: tuple[float, float], enthalpy_kcal_mol: float
) -> float:  # fmt: skip
    """Return how many times as long something lasts in a second climate as in a first (isoperm).

    Args:
        temp_c: Temperature before and after, °C, -40 to 80.
        rh_pct: Relative humidity before and after, %; the source says 30 to 65.
        enthalpy_kcal_mol: Activation enthalpy, kcal/mol, 10 to 50; 25 to 35 for paper.

    Raises:
        ValueError: An argument is out of range; the message shows it.

    Source:
        Sebera 1994, Isoperms, Commission on Preservation and Access: P2/P1 = (RH1/RH2)
        ((F1 + 460) / (F2 + 460)) 10^(394 dH (1/(F2 + 460) - 1/(F1 + 460))), F in °F. The factor of
        temperature is from memory; 394 = 1.8 / (2.3026 x 0.001987) agrees with it.
    """
    in_range("temp_c", temp_c, -40, 80)
    in_range("rh_pct", rh_pct, 1, 100)
    in_range("enthalpy_kcal_mol", enthalpy_kcal_mol, 10, 50)
    rankine = [1.8 * temp + 32 + 460 for temp in temp_c]
    warmth = 10 ** (394 * enthalpy_kcal_mol * (1 / rankine[1] - 1 / rankine[0]))
    return float(rh_pct[0] / rh_pct[1] * rankine[0] / rankine[1] * warmth)
