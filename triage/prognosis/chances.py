"""How likely pieces of material are unfit at every storage node: from what they have been through, array by array."""

from collections.abc import Iterator
from dataclasses import dataclass, fields
from functools import cached_property

import numpy as np
import numpy.typing as npt
import polars as pl

from triage.catalogue.climates import Climate
from triage.catalogue.materials import Material, UnknownMix
from triage.prognosis.ageing import Array, ageing_rate, log_sd, normal_nodes

STORAGE_NODES = 7
LIFE_NODES = 5
YEAR_NODES = 4
# Small enough for the cache of a core.
CHUNK_ROWS = 2_000


@dataclass(frozen=True)
class Materials:
    """Material parameters as arrays, one row a material, in the order of ``keys``."""

    keys: tuple[str, ...]
    materials: dict[str, Material]
    unknown: UnknownMix

    def column(self, name: str, index: int = 1) -> Array:
        """Return the lo, mid or hi (0, 1, 2) of a range for every material."""
        return np.asarray(self._ranges[name][index])

    @cached_property
    def _ranges(self) -> dict[str, Array]:
        names = ("ea_j_mol", "rh_exponent", "eta_years", "beta", "box_rate")
        return {
            name: np.array([getattr(self.materials[key], name) for key in self.keys], dtype=np.float64).T
            for name in names
        }


@dataclass(frozen=True)
class Exposure:
    """What a piece of material has been through, one array a field.

    Attributes:
        material: Index into the keys of ``Materials``.
        made_lo: Earliest manufacture, decimal year.
        made_hi: Latest manufacture, decimal year.
        proof_year: Last worn without failing, decimal year; 0 where never stated.
        trust: Trust in that, 0 to 1.
        life_factor: Factor on its life, 1 for most.
        temp_c: Storage temperature, °C.
        rh_pct: Storage humidity, %.
        rate_factor: Factor on its rate of ageing.
        boxed: Kept in a closed box.
        storage_sd: Spread of the logarithm of the storage factor.
        now: Decimal year its age refers to.
    """

    material: npt.NDArray[np.int64]
    made_lo: Array
    made_hi: Array
    proof_year: Array
    trust: Array
    life_factor: Array
    temp_c: Array
    rh_pct: Array
    rate_factor: Array
    boxed: npt.NDArray[np.bool_]
    storage_sd: Array
    now: Array

    def chunks(self, rows: int) -> Iterator["Exposure"]:
        """Yield pieces of so many rows."""
        for start in range(0, len(self.material), rows):
            yield Exposure(*(getattr(self, f.name)[start : start + rows] for f in fields(self)))


@dataclass(frozen=True)
class Chances:
    """Per row: effective and calendar years, and chances by storage node for long, all, short lives."""

    effective_years: Array
    age_years: Array
    low: Array
    mid: Array
    high: Array


def node_chances(exposure: Exposure, known: Materials, home: Climate, horizon: float) -> Chances:
    """Return the chance of unfit at every storage node, with its range.

    Args:
        exposure: What each piece of material has been through.
        known: The materials' figures.
        home: Climate in which the buyer's years go by.
        horizon: Years of wear still wanted, 0 or more.

    Returns:
        Arrays in the order of ``exposure``; chances are 0 to 1, one column a storage node.

    Source:
        ``ageing.unfit_after_proof``, averaged over the range of manufacture and, for ``mid``, over the
        range of ``eta_years`` as a lognormal; ``low`` and ``high`` take the range's upper and lower end,
        and the mean itself where it lies outside of them.
    """
    pieces = [_chunk(piece, known, home, horizon) for piece in exposure.chunks(CHUNK_ROWS)]
    return Chances(*(np.concatenate([getattr(piece, f.name) for piece in pieces]) for f in fields(Chances)))


def _chunk(rows: Exposure, known: Materials, home: Climate, horizon: float) -> Chances:
    past, age, effective = past_of(rows, known)
    return Chances(effective, age, *chances_after(past, known, home, horizon))


def past_of(rows: Exposure, known: Materials) -> tuple["Past", Array, Array]:
    """Return how far pieces of material have aged by now, their calendar years and their effective years, [rows]."""
    at = rows.material
    ea, n = known.column("ea_j_mol")[at], known.column("rh_exponent")[at]
    rate = ageing_rate(rows.temp_c, rows.rh_pct, ea, n) * rows.rate_factor
    rate = np.where(rows.boxed, rate * known.column("box_rate")[at], rate)
    made = years_made(rows.made_lo, rows.made_hi)
    age = np.maximum(rows.now - made, 0.0)
    # A pair can't have been worn before it was made; a part replaced since then proves nothing older.
    worn = np.minimum(np.clip(rows.proof_year - made, 0.0, None), age)
    mean_age = age.mean(axis=0)
    past = Past(at, rows.trust, rows.life_factor, rows.storage_sd, age * rate, worn * rate)
    return past, mean_age, mean_age * rate


def years_made(made_lo: Array, made_hi: Array) -> Array:
    """Return the decimal years that stand for a range of manufacture, [YEAR_NODES, rows]: middles of equal pieces."""
    middles = (np.arange(YEAR_NODES) + 0.5) / YEAR_NODES
    return np.asarray(made_lo + (made_hi - made_lo) * middles[:, None])


@dataclass(frozen=True)
class Past:
    """How far pieces of material have aged, [rows]; ``aged`` and ``proven`` by year of manufacture, [YEAR_NODES, rows].

    Attributes:
        material: Index into the keys of ``Materials``.
        trust: Trust in the wear that proves it, 0 to 1.
        life_factor: Factor on its life, 1 for most.
        storage_sd: Spread of the logarithm of the storage factor.
        aged: Years at 20 °C and 50 % RH since manufacture, storage at its mean.
        proven: The same, up to the wear that proves it.
    """

    material: npt.NDArray[np.int64]
    trust: Array
    life_factor: Array
    storage_sd: Array
    aged: Array
    proven: Array


def chances_after(past: Past, known: Materials, home: Climate, horizon: float) -> tuple[Array, Array, Array]:
    """Return the chances of unfit for long, all and short lives, [rows, nodes], as ``node_chances`` has them."""
    at = past.material
    ea, n = known.column("ea_j_mol")[at], known.column("rh_exponent")[at]
    scale = known.column("eta_years")[at] * past.life_factor
    nodes, _ = normal_nodes(STORAGE_NODES)
    # Years by node by row: the long axis last. All in lives of the middle scale.
    stored = np.exp(past.storage_sd * nodes[:, None])
    ahead = horizon * ageing_rate(home.temp_c, home.rh_pct, ea, n) / scale
    aged, proven = (years[:, None] * stored for years in (past.aged / scale, past.proven / scale))
    lives = _Lives(known.column("beta")[at], past.trust, aged + ahead, proven)
    low, middle, high = (known.column("eta_years", i)[at] for i in (0, 1, 2))
    spread, weights = normal_nodes(LIFE_NODES)
    sd = log_sd(low, high)
    fit = np.zeros(aged.shape[1:])
    for node, weight in zip(spread, weights, strict=True):
        fit += weight * lives.fit(sd * node)
    # Nearly all failed, the few lives beyond the range pull the mean outside of it: a range holds its mean.
    longest = np.maximum(lives.fit(np.log(high / middle)), fit)
    shortest = np.minimum(lives.fit(np.log(low / middle)), fit)
    low_chance, mid_chance, high_chance = (np.clip(1 - one, 0.0, 1.0).T for one in (longest, fit, shortest))
    return low_chance, mid_chance, high_chance


class _Lives:
    """Chances of fit over the same years for several scales of life: powers are taken once, not once a scale."""

    def __init__(self, beta: Array, trust: Array, end: Array, proof: Array) -> None:
        self.beta = beta
        self.end = np.power(end, beta, out=end)
        self.space = np.empty_like(end)
        self.worn = np.flatnonzero(trust > 0)
        self.trust = trust[self.worn]
        self.since_proof = self.end[:, :, self.worn] - proof[:, :, self.worn] ** beta[self.worn]

    def fit(self, log_scale: Array) -> Array:
        """Return the chance of fit, storage node by row, when lives are ``exp(log_scale)`` times as long.

        As ``ageing.unfit_after_proof``, with the mean over the years of manufacture.
        """
        factor = -np.exp(-self.beta * log_scale)
        np.multiply(self.end, factor, out=self.space)
        found = np.exp(self.space, out=self.space).sum(axis=0) / len(self.space)
        at = self.worn
        if at.size:
            proven = np.exp(self.since_proof * factor[at]).mean(axis=0)
            found[:, at] = self.trust * proven + (1 - self.trust) * found[:, at]
        return np.asarray(found)


def storage_nodes() -> pl.DataFrame:
    """Return the storage nodes: ``node`` from 1, and its ``weight``; weights sum to 1."""
    _, weights = normal_nodes(STORAGE_NODES)
    return pl.DataFrame({"node": np.arange(1, STORAGE_NODES + 1), "weight": weights})


def mean_of(node: Array) -> Array:
    """Return the mean of chances over the storage nodes, one a row.

    A matrix product may add in another order for another number of rows; a subset must give the same bytes.
    """
    _, weights = normal_nodes(STORAGE_NODES)
    return np.asarray(np.clip((node * weights).sum(axis=1), 0.0, 1.0))
