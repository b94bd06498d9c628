"""Every part of every candidate at every storage node: from clocks and materials to chances of unfit."""

from dataclasses import dataclass

import numpy as np
import polars as pl

from triage.catalogue.climates import Climate
from triage.catalogue.materials import PARTS, Material, UnknownMix
from triage.prognosis.ageing import Array, ageing_rate, log_sd, normal_nodes, unfit_after_proof
from triage.prognosis.clocks import NEW_SOLE

STORAGE_NODES = 7
LIFE_NODES = 5
YEAR_NODES = 4
CHUNK_ROWS = 50_000

ROW = ["listing_id", "place", "part"]


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


def part_rows(clocks: pl.DataFrame, unknown: UnknownMix) -> pl.DataFrame:
    """Return one row per listing, candidate, part, alternative and material of it.

    ``joint`` groups materials that must all hold; ``share`` is the chance of an alternative: 1 for a
    known part, the mix of ``unknown`` for one that is ``?`` or of no known release.
    """
    mix = pl.DataFrame(
        [(part, key, share) for part, shares in unknown.mix.items() for key, share in sorted(shares.items())],
        schema={"part": pl.String, "material": pl.String, "share": pl.Float64},
        orient="row",
    )
    keep = [column for column in clocks.columns if column not in PARTS]
    long = clocks.with_columns(
        [pl.when(pl.col("construction_id").is_null()).then(pl.lit("?")).otherwise(pl.col(p)).alias(p) for p in PARTS]
    ).unpivot(PARTS, index=keep, variable_name="part", value_name="keys")
    known = long.filter((pl.col("keys") != "") & (pl.col("keys") != "?"))
    known = known.with_columns(material=pl.col("keys").str.split(";"), share=pl.lit(1.0)).explode("material")
    guessed = long.filter(pl.col("keys") == "?").join(mix, on="part")
    columns = known.columns
    order = pl.col("part").replace_strict({p: i for i, p in enumerate(PARTS)}, return_dtype=pl.Int32)
    return (
        pl.concat([known, guessed.select(columns)])
        .with_columns(pl.col("material").str.strip_chars(), part_no=order)
        .sort("listing_id", "place", "part_no", "material")
    )


def node_chances(rows: pl.DataFrame, known: Materials, home: Climate, now: float, horizon: float) -> Chances:
    """Return the chance of unfit of every row at every storage node, with its range.

    Args:
        rows: As ``part_rows`` returns them.
        home: Climate in which the buyer's years go by.
        now: Decimal year every age refers to.
        horizon: Years of wear still wanted, 0 or more.
    """
    pieces = [
        _chunk(rows.slice(start, CHUNK_ROWS), known, home, now, horizon)
        for start in range(0, max(rows.height, 1), CHUNK_ROWS)
    ]
    return Chances(*(np.concatenate([getattr(p, f) for p in pieces]) for f in Chances.__dataclass_fields__))


def _chunk(rows: pl.DataFrame, known: Materials, home: Climate, now: float, horizon: float) -> Chances:
    index = rows["material"].replace_strict({k: i for i, k in enumerate(known.keys)}, return_dtype=pl.Int64)
    at = index.to_numpy()
    ea, n = known.column("ea_j_mol")[at], known.column("rh_exponent")[at]
    rate = ageing_rate(rows["temp_c"].to_numpy(), rows["rh_pct"].to_numpy(), ea, n)
    rate = rate * rows["rate_factor"].to_numpy()
    rate = np.where(rows["boxed"].to_numpy(), rate * known.column("box_rate")[at], rate)
    home_rate = ageing_rate(home.temp_c, home.rh_pct, ea, n)
    made_lo, made_hi = _made(rows)
    nodes, _ = normal_nodes(STORAGE_NODES)
    storage = np.exp(rows["storage_sd"].to_numpy()[:, None] * nodes)[:, :, None]
    middles = (np.arange(YEAR_NODES) + 0.5) / YEAR_NODES
    made = made_lo[:, None] + (made_hi - made_lo)[:, None] * middles
    age = np.maximum(now - made, 0.0)[:, None, :]
    end = age * rate[:, None, None] * storage + (horizon * home_rate)[:, None, None]
    # A pair can't have been worn before it was made; a part replaced since then proves nothing older.
    worn = np.clip(rows["proof_year"].fill_null(0.0).to_numpy()[:, None] - made, 0.0, None)[:, None, :]
    proof = np.minimum(worn, age) * rate[:, None, None] * storage
    trust = rows["trust"].to_numpy()[:, None, None]
    factor = np.where((rows["part"] == "midsole").to_numpy(), rows["life_factor"].fill_null(1.0).to_numpy(), 1.0)
    beta = known.column("beta")[at][:, None, None]

    def unfit(eta: Array) -> Array:
        return np.asarray(unfit_after_proof(end, proof, trust, (eta * factor)[:, None, None], beta).mean(axis=2))

    low, middle, high = (known.column("eta_years", i)[at] for i in (0, 1, 2))
    spread, weights = normal_nodes(LIFE_NODES)
    lives = [unfit(middle * np.exp(log_sd(low, high) * node)) * w for node, w in zip(spread, weights, strict=True)]
    mean_age = age.mean(axis=(1, 2))
    return Chances(mean_age * rate, mean_age, made_lo, made_hi, unfit(high), np.sum(lives, axis=0), unfit(low))


def _made(rows: pl.DataFrame) -> tuple[Array, Array]:
    """Return the manufacture range of each row's part: the new sole's where there is one."""
    renewed = rows["part"].is_in(NEW_SOLE) & rows["new_sole_lo"].is_not_null()
    lo = np.where(renewed, rows["new_sole_lo"].fill_null(0.0), rows["made_lo"])
    hi = np.where(renewed, rows["new_sole_hi"].fill_null(0.0), rows["made_hi"])
    return lo.astype(np.float64), hi.astype(np.float64)


def joined_parts(rows: pl.DataFrame, chances: Chances, known: Materials) -> pl.DataFrame:
    """Return one row per listing, candidate and part: materials that must all hold, or alternatives.

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
        pl.Series("chance", chances.mid @ weights),
        pl.Series("effective_years", chances.effective_years),
        pl.Series("age_years", chances.age_years),
        pl.Series("made_lo", chances.made_lo),
        pl.Series("made_hi", chances.made_hi),
        *(_named(known, field, rows["material"]) for field in ("mode", "fails", "load_bearing", "basis")),
    )
    worst = described.sort(*ROW, "chance", "material", descending=[False, False, False, True, False])
    weakest = worst.group_by(*ROW, maintain_order=True).agg(
        pl.col("keys").first().alias("material"),
        pl.col("mode", "fails", "basis", "effective_years", "age_years", "made_lo", "made_hi").first(),
        pl.col("load_bearing").any(),
    )
    chances_of = rows.select(*ROW)[first.tolist()].with_columns(
        p_unfit_lo=pl.Series(node["low"] @ weights),
        p_unfit=pl.Series(node["mid"] @ weights),
        p_unfit_hi=pl.Series(node["high"] @ weights),
        p_unfit_lo_node=_lists(node["low"]),
        p_unfit_node=_lists(node["mid"]),
        p_unfit_hi_node=_lists(node["high"]),
        node_weight=_lists(np.broadcast_to(weights, node["mid"].shape)),
    )
    joined: pl.DataFrame = chances_of.join(weakest, on=ROW, how="left", maintain_order="left")
    return joined


def _named(known: Materials, field: str, keys: pl.Series) -> pl.Series:
    values = {key: getattr(material, field) for key, material in known.materials.items()}
    kind = pl.Boolean if field == "load_bearing" else pl.String
    return keys.replace_strict(values, return_dtype=kind).alias(field)


def _lists(values: Array) -> pl.Series:
    return pl.Series(np.ascontiguousarray(values)).cast(pl.List(pl.Float64))
