"""Moist air against a handbook table and a reference library."""

import numpy as np
import psychrolib
import pytest

from triage.prognosis.humidity import dew_point_c, saturation_pressure_pa, shifted_humidity


def test_saturation_pressure_at_25_c_is_that_of_the_ashrae_table():
    # ASHRAE Handbook Fundamentals 2017, ch. 1 table 3: 3169.7 Pa; the Magnus form reads 0.24 % low there.
    assert saturation_pressure_pa(25.0) == pytest.approx(3169.7, rel=3e-3)


def test_saturation_pressure_is_within_a_third_of_a_percent_of_psychrolib_from_1_to_50_c():
    # psychrolib 2.5 (ASHRAE 2017 equations) computes the other side.
    psychrolib.SetUnitSystem(psychrolib.SI)
    temps = np.arange(1, 51)
    reference = np.array([psychrolib.GetSatVapPres(float(temp)) for temp in temps])
    assert np.max(np.abs(saturation_pressure_pa(temps) / reference - 1)) < 3e-3


def test_dew_point_of_25_c_and_80_percent_is_that_of_psychrolib():
    # Documented example of psychrolib: 21.309 °C.
    psychrolib.SetUnitSystem(psychrolib.SI)
    assert dew_point_c(25.0, 80.0) == pytest.approx(21.309, abs=2e-3)
    assert dew_point_c(25.0, 80.0) == pytest.approx(psychrolib.GetTDewPointFromRelHum(25.0, 0.8), abs=2e-3)


def test_winter_air_brought_indoors_is_dry():
    # Equal vapour pressure: 5 °C and 85 % outside is 31.7 % at 20 °C (psychrometrics, worked by hand).
    assert shifted_humidity(5.0, 85.0, 15.0, 0.0) == pytest.approx(31.7, abs=0.1)
