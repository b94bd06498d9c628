"""Every part of every candidate at every storage node: from clocks and materials to chances of unfit."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
import polars as pl

from triage.catalogue.climates import Climate
from triage.catalogue.materials import PARTS, Material, UnknownMix
from triage.prognosis.ageing import Array, ageing_rate, log_sd, normal_nodes, unfit_from_hazards
from triage.prognosis.clocks import NEW_SOLE

STORAGE_NODES = 7
LIFE_NODES = 5
YEAR_NODES = 4
# Small enough for the cache of one core.
CHUNK_ROWS = 4_000
CORES = 2

ROW = ["life", "part"]
# What the chances of one material depend on; rows that agree in all of it are worked out once.
EXPOSURE = (
    "material", "made_lo", "made_hi", "proof_year", "trust", "life_factor", "temp_c", "rh_pct", "rate_factor",
    "boxed", "storage_sd",
)  # fmt: skip


@dataclass(frozen=True)
class Materials:
    """Material parameters as arrays, one row a material, in the order of ``keys``."""

    keys: tuple[str, ...]
    materials: dict[str, Material]
    unknown: UnknownMix

    def column(self, name: str, index: int = 1) -> Array:
        """Return the lo, mid or hi (0, 1, 2) of a range for every material."""
        return np.array([getattr(self.materials[key], name)[index] for key in self.keys], dtype=np.float64)


@dataclass(frozen=True)
class Chances:
    """Per row: effective and calendar years, and chances by storage node for short, all, long lives."""

    effective_years: Array
    age_years: Array
    made_lo: Array
    made_hi: Array
    low: Array
    mid: Array
    high: Array


def part_rows(lives: pl.DataFrame, releases: pl.DataFrame, unknown: UnknownMix) -> pl.DataFrame:
    """Return one row per life, part, alternative and material of it.

    Args:
        lives: As ``clocks.distinct_lives`` returns them.
        releases: construction_id and the material keys of the eight parts.
        unknown: What a part is made of that is ``?`` or of no known release.

    Returns:
        The columns of ``lives``, ``part``, ``keys`` (as the release states them), ``material`` (one of
        the keys) and ``share``: the chance of an alternative, 1 for a known part.
    """
    mix = pl.DataFrame(
        [(part, key, share) for part, shares in unknown.mix.items() for key, share in sorted(shares.items())],
        schema={"part": pl.String, "material": pl.String, "share": pl.Float64},
        orient="row",
    )
    made_of = pl.concat([releases, releases.clear().vstack(_of_no_release(releases.schema))])
    long = made_of.unpivot(PARTS, index="construction_id", variable_name="part", value_name="keys")
    known = long.filter((pl.col("keys") != "") & (pl.col("keys") != "?"))
    known = known.with_columns(material=pl.col("keys").str.split(";"), share=pl.lit(1.0)).explode("material")
    guessed = long.filter(pl.col("keys") == "?").join(mix, on="part").select(known.columns)
    order = pl.col("part").replace_strict({p: i for i, p in enumerate(PARTS)}, return_dtype=pl.Int32)
    materials = pl.concat([known, guessed]).with_columns(pl.col("material").str.strip_chars(), part_no=order)
    rows = lives.join(materials, on="construction_id", nulls_equal=True)
    return rows.sort("life", "part_no", "material").with_columns(*_of_part())


def _of_no_release(schema: pl.Schema) -> pl.DataFrame:
    return pl.DataFrame({name: [None if name == "construction_id" else "?"] for name in schema}, schema=schema)


def _of_part() -> list[pl.Expr]:
    """Return the years of the part itself: the new sole's where there is one; a release's flaw is its midsole's."""
    renewed = pl.col("part").is_in(NEW_SOLE) & pl.col("new_sole_lo").is_not_null()
    return [
        pl.when(renewed).then("new_sole_lo").otherwise("made_lo").alias("made_lo"),
        pl.when(renewed).then("new_sole_hi").otherwise("made_hi").alias("made_hi"),
        pl.when(pl.col("part") == "midsole").then(pl.col("life_factor").fill_null(1.0)).otherwise(1.0),
    ]


def node_chances(rows: pl.DataFrame, known: Materials, home: Climate, now: float, horizon: float) -> Chances:
    """Return the chance of unfit of every row at every storage node, with its range.

    Args:
        rows: The columns of ``EXPOSURE``, as ``part_rows`` returns them.
        known: The materials' figures.
        home: Climate in which the buyer's years go by.
        now: Decimal year every age refers to.
        horizon: Years of wear still wanted, 0 or more.

    Returns:
        Arrays in the order of ``rows``; chances are 0 to 1, one column a storage node.
    """
    exposures = rows.select(EXPOSURE).unique(maintain_order=True).with_row_index("exposure")
    at = rows.select(EXPOSURE).join(exposures, on=EXPOSURE, how="left", nulls_equal=True, maintain_order="left")
    starts = range(0, max(exposures.height, 1), CHUNK_ROWS)
    # NumPy works outside the interpreter's lock; pieces come back in their order, whoever is first.
    with ThreadPoolExecutor(CORES) as cores:
        pieces = list(
            cores.map(lambda start: _chunk(exposures.slice(start, CHUNK_ROWS), known, home, now, horizon), starts)
        )
    index = at["exposure"].to_numpy()
    return Chances(*(np.concatenate([getattr(p, f) for p in pieces])[index] for f in Chances.__dataclass_fields__))


def _chunk(rows: pl.DataFrame, known: Materials, home: Climate, now: float, horizon: float) -> Chances:
    at = rows["material"].replace_strict({k: i for i, k in enumerate(known.keys)}, return_dtype=pl.Int64).to_numpy()
    ea, n = known.column("ea_j_mol")[at], known.column("rh_exponent")[at]
    rate = ageing_rate(rows["temp_c"].to_numpy(), rows["rh_pct"].to_numpy(), ea, n) * rows["rate_factor"].to_numpy()
    rate = np.where(rows["boxed"].to_numpy(), rate * known.column("box_rate")[at], rate)
    made_lo, made_hi = rows["made_lo"].to_numpy(), rows["made_hi"].to_numpy()
    nodes, _ = normal_nodes(STORAGE_NODES)
    stored = (rate[:, None] * np.exp(rows["storage_sd"].to_numpy()[:, None] * nodes))[:, :, None]
    middles = (np.arange(YEAR_NODES) + 0.5) / YEAR_NODES
    made = made_lo[:, None] + (made_hi - made_lo)[:, None] * middles
    age = np.maximum(now - made, 0.0)
    end = age[:, None, :] * stored + (horizon * ageing_rate(home.temp_c, home.rh_pct, ea, n))[:, None, None]
    # A pair can't have been worn before it was made; a part replaced since then proves nothing older.
    worn = np.clip(rows["proof_year"].fill_null(0.0).to_numpy()[:, None] - made, 0.0, None)
    proof = np.minimum(worn, age)[:, None, :] * stored
    scale = known.column("eta_years")[at] * rows["life_factor"].to_numpy()
    lives = _Lives(scale, known.column("beta")[at], rows["trust"].to_numpy(), end, proof)
    low, middle, high = (known.column("eta_years", i)[at] for i in (0, 1, 2))
    spread, weights = normal_nodes(LIFE_NODES)
    mixed = [lives.unfit(log_sd(low, high) * node) * w for node, w in zip(spread, weights, strict=True)]
    mean_age = age.mean(axis=1)
    longest, shortest = lives.unfit(np.log(high / middle)), lives.unfit(np.log(low / middle))
    return Chances(mean_age * rate, mean_age, made_lo, made_hi, longest, np.sum(mixed, axis=0), shortest)


class _Lives:
    """Chances for several life scales over the same years: the powers are taken once, not once a scale."""

    def __init__(self, scale: Array, beta: Array, trust: Array, end: Array, proof: Array) -> None:
        self.beta = beta
        self.end = (end / scale[:, None, None]) ** beta[:, None, None]
        self.worn = np.flatnonzero(trust > 0)
        at = self.worn
        self.proof = (proof[at] / scale[at, None, None]) ** beta[at, None, None]
        self.trust = trust[at, None, None]

    def unfit(self, log_scale: Array) -> Array:
        """Return the chance of unfit by storage node when lives are ``exp(log_scale)`` times as long."""
        factor = np.exp(-self.beta * log_scale)[:, None, None]
        end = self.end * factor
        found = -np.expm1(-end)
        at = self.worn
        if at.size:
            found[at] = unfit_from_hazards(end[at], self.proof * factor[at], self.trust)
        return np.asarray(found.mean(axis=2))


def joined_parts(rows: pl.DataFrame, chances: Chances, known: Materials) -> pl.DataFrame:
    """Return one row per life and part: materials that must all hold, or alternatives.

    A part of several materials is unfit when one of them is (given the storage node they fail
    independently); a part of unknown material is the mix of its alternatives.
    """
    guess = (rows["keys"] == "?").to_numpy()
    share = rows["share"].to_numpy()[:, None]
    key = rows.select(*ROW).with_row_index("row")
    first = key.group_by(*ROW, maintain_order=True).agg(pl.col("row").min())["row"].to_numpy()
    node = {}
    for name in ("low", "mid", "high"):
        value = getattr(chances, name)
        all_hold = 1 - np.multiply.reduceat(1 - value, first, axis=0)
        mixed = np.add.reduceat(value * share, first, axis=0)
        node[name] = np.where(guess[first][:, None], mixed, all_hold)
    _, weights = normal_nodes(STORAGE_NODES)
    described = rows.select(*ROW, "material", "keys").with_columns(
        pl.Series("chance", mean_of(chances.mid)),
        pl.Series("effective_years", chances.effective_years),
        pl.Series("age_years", chances.age_years),
        pl.Series("made_lo", chances.made_lo),
        pl.Series("made_hi", chances.made_hi),
        *(_named(known, field, rows["material"]) for field in ("mode", "fails", "load_bearing", "basis")),
    )
    worst = described.sort(*ROW, "chance", "material", descending=[False, False, True, False])
    weakest = worst.group_by(*ROW, maintain_order=True).agg(
        pl.col("keys").first().alias("material"),
        pl.col("mode", "fails", "basis", "effective_years", "age_years", "made_lo", "made_hi").first(),
        pl.col("load_bearing").any(),
    )
    chances_of = rows.select(*ROW)[first.tolist()].with_columns(
        p_unfit_lo=pl.Series(mean_of(node["low"])),
        p_unfit=pl.Series(mean_of(node["mid"])),
        p_unfit_hi=pl.Series(mean_of(node["high"])),
        p_unfit_lo_node=_lists(node["low"]),
        p_unfit_node=_lists(node["mid"]),
        p_unfit_hi_node=_lists(node["high"]),
        node_weight=_lists(np.broadcast_to(weights, node["mid"].shape)),
    )
    joined: pl.DataFrame = chances_of.join(weakest, on=ROW, how="left", maintain_order="left")
    return joined


def mean_of(node: Array) -> Array:
    """Return the mean of chances over the storage nodes, one a row.

    A matrix product may add in another order for another number of rows; a subset must give the same bytes.
    """
    _, weights = normal_nodes(STORAGE_NODES)
    return np.asarray((node * weights).sum(axis=1))


def _named(known: Materials, field: str, keys: pl.Series) -> pl.Series:
    values = {key: getattr(material, field) for key, material in known.materials.items()}
    kind = pl.Boolean if field == "load_bearing" else pl.String
    return keys.replace_strict(values, return_dtype=kind).alias(field)


def _lists(values: Array) -> pl.Series:
    return pl.Series(np.ascontiguousarray(values)).cast(pl.List(pl.Float64))
