"""Laws of the stage's own function: for any input, and the same as the plain formulas."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.catalogue.climates import Climate
from triage.catalogue.materials import Material, UnknownMix
from triage.prognosis.ageing import ageing_rate, log_sd, normal_nodes, unfit_after_proof
from triage.prognosis.chances import LIFE_NODES, STORAGE_NODES, YEAR_NODES, Exposure, Materials, node_chances

NOW = 2026.9
NO_MIX = UnknownMix(mix={}, source="our_judgement")
HOME = Climate(
    climate="home", name="home", temp_c=21, rh_pct=52, log_sd=0.3, shed_temp_c=12, shed_rh_pct=70,
    source="our_judgement",
)  # fmt: skip


def material_of(beta: float, eta: float, ea: float, n: float) -> Material:
    return Material(
        name="it", short="it", mode="none", fails="it", beta=(beta, beta, beta), eta_years=(eta * 0.7, eta, eta * 1.4),
        ea_j_mol=(ea, ea, ea), rh_exponent=(n, n, n), box_rate=(1, 1.2, 1.5), load_bearing=True, basis="our_judgement",
    )  # fmt: skip


# Ranges of beta, eta and Ea.
TO_ENERGY = ((1.0, 5.0), (5.0, 80.0), (20_000, 150_000))
MATERIALS = st.builds(material_of, *(st.floats(*ends) for ends in TO_ENERGY), st.floats(0.0, 2.0))
EXPOSURES = st.fixed_dictionaries(
    {
        "made_lo": st.floats(1980, 2020), "span": st.floats(0, 6), "proof_year": st.just(0.0) | st.floats(1975, NOW),
        "trust": st.floats(0, 1), "life_factor": st.floats(0.3, 1.5), "temp_c": st.floats(-10, 40),
        "rh_pct": st.floats(5, 95), "rate_factor": st.floats(0.5, 2), "boxed": st.booleans(),
        "storage_sd": st.floats(0, 0.6),
    }
)  # fmt: skip


def exposure_of(row: dict) -> Exposure:
    values = {**row, "made_hi": row["made_lo"] + row["span"], "material": 0, "now": NOW}
    del values["span"]
    return Exposure(**{name: np.array([value]) for name, value in values.items()})


def chances(row: Exposure, material: Material, horizon: float) -> np.ndarray:
    """Return the low, mid and high chances at every storage node."""
    found = node_chances(row, Materials(("it",), {"it": material}, NO_MIX), HOME, horizon)
    return np.stack([found.low[0], found.mid[0], found.high[0]])


def plainly(row: Exposure, material: Material, horizon: float) -> np.ndarray:
    """Return the same by the documented formulas, one case after the other."""
    (nodes, _), (spread, weights) = normal_nodes(STORAGE_NODES), normal_nodes(LIFE_NODES)
    ea, n, beta = material.ea_j_mol[1], material.rh_exponent[1], material.beta[1]
    low, middle, high = (eta * row.life_factor[0] for eta in material.eta_years)
    rate = ageing_rate(row.temp_c[0], row.rh_pct[0], ea, n) * row.rate_factor[0]
    rate *= material.box_rate[1] if row.boxed[0] else 1
    ahead = horizon * ageing_rate(HOME.temp_c, HOME.rh_pct, ea, n)
    found = np.zeros((3, STORAGE_NODES))
    for at, node in enumerate(nodes):
        for year in range(YEAR_NODES):
            made = row.made_lo[0] + (row.made_hi[0] - row.made_lo[0]) * (year + 0.5) / YEAR_NODES
            age = max(NOW - made, 0)
            worn = min(max(row.proof_year[0] - made, 0), age)
            factor = rate * np.exp(row.storage_sd[0] * node)
            lives = [middle * np.exp(log_sd(low, high) * x) for x in spread]
            one = [
                unfit_after_proof(age * factor + ahead, worn * factor, row.trust[0], life, beta)
                for life in (high, *lives, low)
            ]
            found[:, at] += np.array([one[0], np.dot(one[1:-1], weights), one[-1]]) / YEAR_NODES
    return np.stack([np.minimum(found[0], found[1]), found[1], np.maximum(found[2], found[1])])


@given(EXPOSURES, MATERIALS, st.floats(0, 10))
@settings(deadline=None, max_examples=60)
def test_whole_columns_give_what_the_formulas_give_one_by_one(row, material, horizon):
    exposure = exposure_of(row)
    assert chances(exposure, material, horizon) == pytest.approx(plainly(exposure, material, horizon), abs=1e-12)


@given(EXPOSURES, MATERIALS, st.floats(0, 10))
@settings(deadline=None, max_examples=60)
def test_every_chance_is_a_chance_and_a_longer_lived_grade_is_never_worse(row, material, horizon):
    low, mid, high = chances(exposure_of(row), material, horizon)
    assert np.all((low >= 0) & (high <= 1))
    assert np.all(low <= mid + 1e-12)
    assert np.all(mid <= high + 1e-12)


@given(EXPOSURES, MATERIALS, st.floats(0, 10), st.floats(0, 30))
@settings(deadline=None, max_examples=60)
def test_an_older_part_is_never_fitter(row, material, horizon, older):
    younger = chances(exposure_of(row), material, horizon)
    assert np.all(
        chances(exposure_of({**row, "made_lo": row["made_lo"] - older}), material, horizon) >= younger - 1e-12
    )


@given(EXPOSURES, MATERIALS, st.floats(0, 10), st.floats(0, 20))
@settings(deadline=None, max_examples=60)
def test_a_part_that_lay_warmer_is_never_fitter(row, material, horizon, warmer):
    cooler = chances(exposure_of(row), material, horizon)
    assert np.all(chances(exposure_of({**row, "temp_c": row["temp_c"] + warmer}), material, horizon) >= cooler - 1e-12)


@given(
    EXPOSURES,
    MATERIALS | st.builds(material_of, *(st.floats(*ends) for ends in TO_ENERGY), st.just(0.0)),
    st.floats(0, 10),
    st.floats(5, 100),
)
@settings(deadline=None, max_examples=60)
def test_a_part_that_lay_damper_is_never_fitter_and_where_n_is_nought_no_different(row, material, horizon, other):
    dry, wet = sorted((row["rh_pct"], other))
    drier = chances(exposure_of({**row, "rh_pct": dry}), material, horizon)
    damp = chances(exposure_of({**row, "rh_pct": wet}), material, horizon)
    assert np.all(damp >= drier - 1e-12)
    if material.rh_exponent[1] == 0:
        assert np.array_equal(damp, drier)


@given(EXPOSURES, MATERIALS, st.floats(0, 10), st.floats(0, 10))
@settings(deadline=None, max_examples=60)
def test_a_longer_horizon_never_makes_a_part_fitter(row, material, horizon, longer):
    short = chances(exposure_of(row), material, horizon)
    assert np.all(chances(exposure_of(row), material, horizon + longer) >= short - 1e-12)


@given(EXPOSURES, MATERIALS, st.floats(0, 10))
@settings(deadline=None, max_examples=60)
def test_wear_without_failing_never_counts_against_a_part(row, material, horizon):
    silent = chances(exposure_of({**row, "trust": 0.0}), material, horizon)
    assert np.all(chances(exposure_of(row), material, horizon) <= silent + 1e-12)


def test_rows_are_worked_out_alike_wherever_they_stand():
    rng = np.random.default_rng(7)
    count = 5_000
    many = Exposure(
        material=np.zeros(count, dtype=np.int64), made_lo=rng.uniform(1985, 2010, count),
        made_hi=np.full(count, 2012.0), proof_year=np.where(rng.random(count) < 0.5, 0.0, 2020.5),
        trust=rng.uniform(0, 1, count), life_factor=np.ones(count), temp_c=rng.uniform(10, 30, count),
        rh_pct=rng.uniform(20, 80, count), rate_factor=np.ones(count), boxed=rng.random(count) < 0.5,
        storage_sd=np.full(count, 0.45), now=np.full(count, NOW),
    )  # fmt: skip
    known = Materials(("it",), {"it": material_of(3.5, 15, 75_000, 1.0)}, NO_MIX)
    whole = node_chances(many, known, HOME, 2.0).mid
    some = rng.permutation(count)[:333]
    picked = replace(many, **{name: getattr(many, name)[some] for name in Exposure.__dataclass_fields__})
    assert np.array_equal(node_chances(picked, known, HOME, 2.0).mid, whole[some])
