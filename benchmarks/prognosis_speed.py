"""Time stage 5 on many listings with three candidates of eight parts each, at seven storage nodes.

    python benchmarks/prognosis_speed.py [listings] [releases] [--store FILE]

The listings are drawn: releases with made ranges of up to four years, any country of ``countries.csv`` or region of
``regions.csv``, and for some of them a label year, a purchase year, a new sole, wear in a given year, words on storage.
Timed is everything from the frames that the queries give to the rows of the contract's tables, one for every part of
every distinct life with its chances at every node, some thousand lives at a time; the store's own reading and
writing is not. With ``--store`` the same listings are laid into a new store file and the whole stage is timed, from
its queries to the commit. On a busy machine look at the processor time: two threads work on the blocks.
"""

import argparse
import resource
import time
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from pathlib import Path

import numpy as np
import polars as pl

from triage.blocks import CORES
from triage.catalogue.buyers import Outlook
from triage.catalogue.climates import Climates, load_climates
from triage.catalogue.materials import PARTS, load_materials, load_unknown
from triage.prognosis import Years, prognoses, run
from triage.prognosis.chances import Materials
from triage.prognosis.clocks import clocks_of, decimal_year, distinct_lives
from triage.prognosis.parts import materials_of
from triage.store import append, connect, transaction

RULES = Path(__file__).parent.parent / "rules"
AS_OF = date(2026, 11, 25)
# Share of listings that say it, sign, and whether it carries a year.
SAYINGS = (
    (0.05, "date_proof_shown", True), (0.08, "purchase_year_stated", True), (0.03, "sole_swapped", True),
    (0.15, "worn_recently_ok", True), (0.06, "stored_box_indoors", False), (0.02, "stored_attic", False),
    (0.01, "stored_cellar", False), (0.01, "stored_shed", False),
    (0.03, "stored_controlled", False), (0.02, "sun_shop_display", False),
)  # fmt: skip

ID = "construction_id"
draw = np.random.default_rng(20261125)


@dataclass(frozen=True)
class Drawn:
    """What all listings share."""

    releases: pl.DataFrame
    climates: Climates


def releases_of(count: int, keys: tuple[str, ...]) -> pl.DataFrame:
    """Return releases with eight parts each, every fifth part unknown."""
    made = draw.integers(1986 * 4, 2016 * 4, count) / 4
    parts = {part: draw.choice([*keys, *["?"] * (len(keys) // 4)], count) for part in PARTS}
    return pl.DataFrame(
        {
            "construction_id": [f"r{i}" for i in range(count)], "made_from": made,
            "made_to": made + draw.integers(1, 17, count) / 4,
            "life_factor": np.where(draw.random(count) < 0.05, 0.5, 1.0), **parts,
        }
    )  # fmt: skip


def listings_of(count: int, climates: Climates) -> pl.DataFrame:
    """Return what the pairs' query gives for ``count`` listings."""
    year = draw.integers(1985, 2016, count)
    said = draw.random(count)
    stated = pl.Series(np.where(said < 0.5, year, 0)).replace(0, None)
    kind = np.array(["made", "style", "purchase"])[draw.integers(0, 3, count)]
    countries, regions = sorted(climates.countries), sorted(climates.regions)
    # Every second listing names a region.
    region = pl.Series(np.where(draw.random(count) < 0.5, draw.choice(regions, count), ""), dtype=pl.String)
    region = region.replace("", None)
    return pl.DataFrame(
        {
            "listing_id": pl.int_range(count, eager=True).cast(pl.String).str.zfill(8),
            "ships_from": region.str.slice(0, 2).fill_null(pl.Series(draw.choice(countries, count))),
            "region": region,
            "stated_year_lo": stated, "stated_year_hi": stated, "stated_year_kind": kind, "now": decimal_year(AS_OF),
        }
    )  # fmt: skip


def sayings_of(pairs: pl.DataFrame) -> pl.DataFrame:
    """Return what the signs' query gives."""
    found = []
    for share, sign, dated in SAYINGS:
        some = pairs.filter(pl.Series(draw.random(pairs.height) < share)).select("listing_id")
        year = pl.Series("year", draw.integers(2000, 2027, some.height) if dated else [None] * some.height)
        certainty = pl.Series("certainty", draw.integers(1, 3, some.height))
        found.append(some.with_columns(year.cast(pl.Int64), certainty, sign=pl.lit(sign)))
    return pl.concat(found)


def candidates_of(pairs: pl.DataFrame, releases: pl.DataFrame) -> pl.DataFrame:
    """Return three releases per listing; one in twelve is none of the table's."""
    ids = pl.Series("construction_id", [*releases["construction_id"], *[None] * (releases.height // 12)])
    places = []
    for place in (1, 2, 3):
        drawn = ids.gather(draw.integers(0, len(ids), pairs.height))
        places.append(pairs.select("listing_id", place=pl.lit(place)).with_columns(drawn))
    level = pl.when(pl.col("construction_id").is_null()).then(pl.lit("none")).otherwise(pl.lit("release"))
    joined = pl.concat(places).join(releases.drop(PARTS), on="construction_id", how="left")
    return joined.with_columns(level=level).sort("listing_id", "place")


def peak_gb() -> float:
    """Return the highest memory so far, GB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20


def in_store(path: Path, pairs: pl.DataFrame, said: pl.DataFrame, candidates: pl.DataFrame, drawn: Drawn) -> None:
    """Print the seconds of the whole stage over a new store file, and what it leaves there."""
    store = connect(path)
    night = {"source": "drawn", "title": "drawn", "price_kind": "unknown", "condition": "unknown", "kind": "pair"}
    listed = {name: pl.lit(value) for name, value in night.items()}
    with transaction(store):
        append(store, "construction", drawn.releases.with_columns(generic=pl.lit(False)).rename({ID: "model_id"}))
        append(store, "listing", pairs.drop("now").with_columns(
            **listed, external_id="listing_id", status=pl.lit("open"), first_seen=AS_OF, last_seen=AS_OF
        ))  # fmt: skip
        append(store, "match", candidates.select(
            "listing_id", "place", ID, "level", probability=pl.lit(1 / 3), accepted=pl.lit(False)
        ))  # fmt: skip
        append(store, "observation", said.select(
            "listing_id", "sign", said_by=pl.lit("listing"), state=pl.lit("affirmed"), hedged=pl.col("certainty") == 1,
            value=pl.col("year").cast(pl.String),
        ))  # fmt: skip
        store.execute("CREATE TEMP TABLE todo AS SELECT listing_id FROM listing ORDER BY listing_id")
    before, start, busy = peak_gb(), time.perf_counter(), time.process_time()
    with transaction(store):
        run(store, MATERIALS, KNOWN.unknown, drawn.climates, (2.0,), AS_OF)
    spent, busy = time.perf_counter() - start, time.process_time() - busy
    ((rows, mean),) = store.execute("SELECT count(*), avg(p_unfit) FROM prognosis").fetchall()
    store.close()
    print(f"{pairs.height} listings, {rows} rows of prognosis, mean chance {mean:.6f}: {spent:.1f} s with the store")
    print(f"  {busy:.1f} s of processor time, store file {path.stat().st_size / 2**30:.2f} GB")
    print(f"  peak memory {peak_gb():.2f} GB, {before:.2f} GB before")


def main() -> None:
    """Print seconds, distinct lives and peak memory."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("listings", nargs="?", type=int, default=1_000_000)
    asked.add_argument("releases", nargs="?", type=int, default=1_000)
    asked.add_argument("--store", type=Path, help="a file that does not exist yet")
    given = asked.parse_args()
    count, releases = given.listings, releases_of(given.releases, KEYS)
    climates = load_climates(RULES, [])
    pairs = listings_of(count, climates)
    said, candidates = sayings_of(pairs), candidates_of(pairs, releases)
    if given.store is not None:
        in_store(given.store, pairs, said, candidates, Drawn(releases, climates))
        return
    before = peak_gb()
    times, busy = [time.perf_counter()], time.process_time()
    clocks = clocks_of(candidates, pairs, said, climates)
    times.append(time.perf_counter())
    made_of = materials_of(releases.select("construction_id", *PARTS), KNOWN)
    years, parts, checked = Years((Outlook(2.0, "unknown"),), climates.climates), 0, 0.0
    for table, rows in prognoses(clocks, made_of, KNOWN, years):
        if table != "life_part":
            continue
        parts, checked = parts + rows.height, checked + float(rows["p_unfit"].sum())
    times.append(time.perf_counter())
    busy = time.process_time() - busy
    steps = " + ".join(f"{b - a:.1f}" for a, b in pairwise(times))
    print(
        f"{count} listings, {clocks.height} candidates, {parts} parts of lives at 7 nodes: {times[-1] - times[0]:.1f} s"
    )
    print(f"  clocks + ageing and gathering: {steps} s on at most {CORES} cores")
    print(f"  {distinct_lives(clocks)[0].height} distinct lives, mean chance {checked / parts:.6f}")
    print(f"  {busy:.1f} s of processor time")
    print(f"  peak memory {peak_gb():.2f} GB, {before:.2f} GB before")


MATERIALS = load_materials(RULES / "ageing/materials.toml", [])
KEYS = tuple(sorted(MATERIALS))
UNKNOWN = load_unknown(RULES / "ageing/unknown.toml", frozenset(KEYS), [])
KNOWN = Materials(KEYS, MATERIALS, UNKNOWN)


if __name__ == "__main__":
    main()
