"""Every part of every life: from releases to pieces of material, and from their chances to those of the part."""

from dataclasses import fields

import numpy as np
import numpy.typing as npt
import polars as pl

from triage.catalogue.materials import PARTS
from triage.prognosis.ageing import Array
from triage.prognosis.chances import Chances, Exposure, Materials, mean_of
from triage.prognosis.clocks import NEW_SOLE


def materials_of(releases: pl.DataFrame, known: Materials) -> pl.DataFrame:
    """Return one row per release, part and material of it, and those of a pair that is no known release.

    Args:
        releases: construction_id and the material keys of the eight parts.

    Returns:
        construction_id (NULL: no known release), ``part`` (its number in ``PARTS``), ``keys`` (as the
        release states them), ``material`` (index of one of the keys) and ``share``: the chance of an
        alternative, 1 for a known part, the mix of ``known.unknown`` for one that is ``?``.
    """
    mix = pl.DataFrame(
        [(part, key, share) for part, shares in known.unknown.mix.items() for key, share in sorted(shares.items())],
        schema={"part": pl.String, "material": pl.String, "share": pl.Float64},
        orient="row",
    )
    no_release = {name: [None if name == "construction_id" else "?"] for name in releases.schema}
    long = pl.concat([releases, pl.DataFrame(no_release, schema=releases.schema)]).unpivot(
        PARTS, index="construction_id", variable_name="part", value_name="keys"
    )
    stated = long.filter((pl.col("keys") != "") & (pl.col("keys") != "?"))
    stated = stated.with_columns(material=pl.col("keys").str.split(";"), share=pl.lit(1.0)).explode("material")
    guessed = long.filter(pl.col("keys") == "?").join(mix, on="part").select(stated.columns)
    part = {name: i for i, name in enumerate(PARTS)}
    index = {key: i for i, key in enumerate(known.keys)}
    return (
        pl.concat([stated, guessed])
        .with_columns(
            pl.col("part").replace_strict(part, return_dtype=pl.UInt8),
            pl.col("material").str.strip_chars().replace_strict(index, return_dtype=pl.UInt16),
            pl.col("keys").cast(pl.Categorical),
        )
        .sort("construction_id", "part", "material")
    )


def part_rows(lives: pl.DataFrame, made_of: pl.DataFrame) -> pl.DataFrame:
    """Return one row per life, part, alternative and material of it, in that order.

    Args:
        lives: As ``clocks.distinct_lives`` returns them.
        made_of: As ``materials_of`` returns it.
    """
    rows = lives.join(made_of, on="construction_id", nulls_equal=True, maintain_order="left_right")
    of_sole = pl.col("part").is_in([PARTS.index(part) for part in NEW_SOLE])
    renewed = of_sole & pl.col("new_sole_lo").is_not_null()
    flawed = pl.col("part") == PARTS.index("midsole")
    return rows.with_columns(
        # A new sole restarts the clock of its parts; a release's own flaw is one of its midsole.
        made_lo=pl.when(renewed).then("new_sole_lo").otherwise("made_lo"),
        made_hi=pl.when(renewed).then("new_sole_hi").otherwise("made_hi"),
        life_factor=pl.when(flawed).then(pl.col("life_factor").fill_null(1.0)).otherwise(1.0),
        proof_year=pl.col("proof_year").fill_null(0.0),
    )


def exposure_of(rows: pl.DataFrame) -> Exposure:
    """Return the columns of ``part_rows`` that decide how a material has aged, as arrays."""
    return Exposure(**{f.name: rows[f.name].to_numpy() for f in fields(Exposure)})


def joined_parts(rows: pl.DataFrame, chances: Chances, known: Materials) -> pl.DataFrame:
    """Return one row per life and part: materials that must all hold, or alternatives.

    A part of several materials is unfit when one of them is (given the storage node they fail
    independently); a part of unknown material is the mix of its alternatives. What the part is said to
    fail by is its weakest material.
    """
    group = rows["life"].to_numpy().astype(np.int64) * len(PARTS) + rows["part"].to_numpy()
    first = np.flatnonzero(np.diff(group, prepend=-1))
    sizes = np.diff(first, append=len(group))
    alone = sizes == 1
    guessed = rows["keys"].cast(pl.String).eq("?").to_numpy()[first]
    share = rows["share"].to_numpy()[:, None]
    node = {name: _joined(getattr(chances, name), share, first, alone, guessed) for name in ("low", "mid", "high")}
    weakest = _weakest(mean_of(chances.mid), first, sizes)
    material = rows["material"].to_numpy()
    bears = np.array([known.materials[key].load_bearing for key in known.keys])[material]
    # Four bytes a node: seven digits are more than any chance here deserves, and the nodes fill most of the table.
    kept = {name: chance.astype(np.float32) for name, chance in node.items()}
    return pl.DataFrame(
        {
            "life": rows["life"].gather(first),
            "part": _named(PARTS, rows["part"].to_numpy()[first]),
            "material": rows["keys"].gather(first),
            "mode": _named([known.materials[key].mode for key in known.keys], material[weakest]),
            "load_bearing": np.logical_or.reduceat(bears, first),
            "made_lo": rows["made_lo"].gather(weakest),
            "made_hi": rows["made_hi"].gather(weakest),
            "age_years": chances.age_years[weakest],
            "effective_years": chances.effective_years[weakest],
            "p_unfit_lo": mean_of(node["low"]),
            "p_unfit": mean_of(node["mid"]),
            "p_unfit_hi": mean_of(node["high"]),
            "p_unfit_lo_node": kept["low"],
            "p_unfit_node": kept["mid"],
            "p_unfit_hi_node": kept["high"],
            "basis": _named([known.materials[key].basis for key in known.keys], material[weakest]),
        }
    )


def _joined(
    chance: Array, share: Array, first: npt.NDArray[np.int64], alone: npt.NDArray[np.bool_],
    guessed: npt.NDArray[np.bool_],
) -> Array:  # fmt: skip
    """Return the chances of each group of rows; most are of one row and stay as they are."""
    joined = chance[first]
    for mixed in (True, False):
        at = np.flatnonzero(~alone & (guessed == mixed))
        if at.size:
            starts, stops = first[at], np.append(first, len(chance))[at + 1]
            sizes = stops - starts
            inside = np.cumsum(sizes) - sizes
            rows = np.repeat(starts - inside, sizes) + np.arange(sizes.sum())
            if mixed:
                joined[at] = np.clip(np.add.reduceat(chance[rows] * share[rows], inside, axis=0), 0.0, 1.0)
            else:
                joined[at] = 1 - np.multiply.reduceat(1 - chance[rows], inside, axis=0)
    return joined


def _weakest(chance: Array, first: npt.NDArray[np.int64], sizes: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """Return the row of each group whose chance is highest, the first of several."""
    highest = np.repeat(np.maximum.reduceat(chance, first), sizes)
    at = np.where(chance >= highest, np.arange(len(chance)), len(chance))
    return np.asarray(np.minimum.reduceat(at, first))


def _named(names: tuple[str, ...] | list[str], index: npt.NDArray[np.integer]) -> pl.Series:
    """Return names by their index, each distinct one stored once."""
    return pl.Series(names, dtype=pl.Enum(list(dict.fromkeys(names)))).gather(pl.Series(index))
