"""Years in several climates are added up, from the shell and from Python; one place is the stage's own figure."""

import json
import subprocess
import sys
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.prognosis.ageing import added_years, ageing_rate
from triage.prognosis.chances import Exposure, Materials, mean_of, node_chances
from triage.prognosis.single import HORIZONS, Life, Stay, age_of

AS_OF = date(2026, 1, 1)
FOAM = "pu_ester_midsole"


def test_years_in_several_climates_add_up_in_any_order():
    # By hand: 10 years at the reference, 5 at 30 °C and 50 % (x2.759 for 75 kJ/mol), 2 at 20 °C and 100 % (x2 for n 1).
    stays = [(10.0, 20.0, 50.0), (5.0, 30.0, 50.0), (2.0, 20.0, 100.0)]
    assert added_years(stays, 75_000, 1.0) == pytest.approx(10 + 5 * 2.759 + 2 * 2, abs=0.005)
    assert added_years(stays[::-1], 75_000, 1.0) == pytest.approx(added_years(stays, 75_000, 1.0))
    assert added_years([], 75_000, 1.0) == 0.0


def test_a_move_is_the_sum_of_its_stays(known):
    material, climates = known.materials[FOAM], known.climates.climates
    moved = Life((2000, 2000), (Stay(climates["tropical"], 2010), Stay(climates["temperate-oceanic"])))
    found = age_of(material, moved, AS_OF)["effective_years"][0]
    ea, n = material.ea_j_mol[1], material.rh_exponent[1]
    hot, mild = (
        ageing_rate(climates[key].temp_c, climates[key].rh_pct, ea, n) for key in ("tropical", "temperate-oceanic")
    )
    # Made in the middle of 2000, on the average.
    assert found == pytest.approx(9.5 * hot + 16 * mild)


CLIMATES = st.sampled_from(["temperate-oceanic", "tropical", "arid-hot", "polar", "unknown"])


@given(CLIMATES, st.integers(1970, 2024), st.integers(0, 6), st.none() | st.integers(1970, 2025), st.booleans())
@settings(deadline=None, max_examples=40)
def test_one_place_gives_what_the_stage_gives(known, climate, first, span, worn, boxed):
    one, material = known.climates.climates[climate], known.materials[FOAM]
    last = min(first + span, 2025)
    found = age_of(material, Life((first, last), (Stay(one),), False, worn, boxed), AS_OF)
    exposure = Exposure(
        material=np.array([0]), made_lo=np.array([float(first)]), made_hi=np.array([min(last + 1.0, 2026.0)]),
        proof_year=np.array([worn + 0.5 if worn else 0.0]), trust=np.array([0.6 if worn else 0.0]),
        life_factor=np.ones(1), temp_c=np.array([one.temp_c]), rh_pct=np.array([one.rh_pct]), rate_factor=np.ones(1),
        boxed=np.array([boxed]), storage_sd=np.array([max(0.45, one.log_sd)]), now=np.array([2026.0]),
    )  # fmt: skip
    known_one = Materials(("it",), {"it": material}, known.unknown)
    for horizon, chance in zip(HORIZONS, found["p_unfit"], strict=True):
        stage = mean_of(node_chances(exposure, known_one, one, horizon).mid)[0]
        assert chance == pytest.approx(stage, abs=1e-12)


@given(st.integers(1980, 2020), st.lists(st.integers(1980, 2025), min_size=2, max_size=2), st.none() | st.just(2019))
@settings(deadline=None, max_examples=40)
def test_more_years_in_the_tropics_never_make_a_part_fitter(known, made, left, worn):
    climates, material = known.climates.climates, known.materials[FOAM]
    lives = [
        Life((made, made), (Stay(climates["tropical"], year), Stay(climates["polar"])), worn_until=worn)
        for year in sorted(left)
    ]
    fewer, more = (age_of(material, life, AS_OF) for life in lives)
    assert more["effective_years"][0] >= fewer["effective_years"][0] - 1e-9
    if worn is None:
        assert (more["p_unfit"] - fewer["p_unfit"]).min() >= -1e-12


def test_a_stay_that_splits_in_two_changes_nothing(known):
    one, material = known.climates.climates["arid-hot"], known.materials[FOAM]
    whole = Life((1999, 2001), (Stay(one),), worn_until=2015)
    parted = replace(whole, stays=(Stay(one, 2007), Stay(one, 2007), Stay(one)))
    plain, pieces = (age_of(material, life, AS_OF) for life in (whole, parted))
    assert np.allclose(plain.to_numpy(), pieces.to_numpy(), rtol=0, atol=1e-12)


@pytest.mark.parametrize(
    ("untils", "told"), [((), "stays is empty"), ((2010, 2005, None), "a stay ends in 2005; expected 2010 or later")]
)
def test_stays_that_cannot_be_are_refused(known, untils, told):
    one = known.climates.climates["unknown"]
    with pytest.raises(ValueError, match=told):
        age_of(known.materials[FOAM], Life((1999, 1999), tuple(Stay(one, year) for year in untils)), AS_OF)


def shell(*arguments: str) -> subprocess.CompletedProcess[str]:
    command = (sys.executable, "-m", "triage.cli", "ageing", FOAM, "--made", "1999", "--as-of", "2026-01-01")
    return subprocess.run((*command, *arguments), capture_output=True, text=True, check=False)


def test_the_shell_adds_up_the_same_years(known):
    climates = known.climates.climates
    life = Life((1999, 1999), (Stay(climates["tropical"], 2008), Stay(climates["temperate-oceanic"])), worn_until=2018)
    done = shell("--climate", "tropical:2008", "--climate", "temperate-oceanic", "--worn-until", "2018", "--json")
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["rows"] == age_of(known.materials[FOAM], life, AS_OF).to_dicts()


@pytest.mark.parametrize(
    ("climates", "told"),
    [
        (["tropical", "polar"], "--climate tropical: no year; expected KEY:YEAR for every place but the last"),
        (["tropical:2008"], "--climate tropical:2008: a year"), (["wet"], "no climate 'wet'"),
        (["tropical:2008", "polar:2001", "unknown"], "expected a year from 2008 to 2026"),
        (["tropical:soon", "polar"], "year 'soon'"),
    ],
)  # fmt: skip
def test_the_shell_names_what_is_wrong_with_a_place(climates, told):
    done = shell(*(part for one in climates for part in ("--climate", one)))
    assert done.returncode == 2
    assert told in done.stderr
