"""How fast and how well titles are matched at scale, beside three common ways of doing it.

    python -m benchmarks.match_scale [listings] [releases] [sample]

The world is invented and seeded (``match_world``): a fifth of the titles sell a release that is not in the table.
The other ways are measured on the first ``sample`` titles of the same world, on their likeliest row alone, and
only where their package is installed; none of them is used by the program itself.
"""

import resource
import sys
import time
from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import polars as pl

from benchmarks.match_world import World, make_world
from triage.catalogue.matching import load_match_weights
from triage.match.link import link_batches
from triage.match.refit import calibration_error, wilson_lo

RULES = Path(__file__).resolve().parents[1] / "rules"
SEED = 7


def main(listings: int = 1_000_000, releases: int = 5_000, sample: int = 2_000) -> None:
    """Print the figures of one world."""
    weights = load_match_weights(RULES / "match", [])
    assert weights is not None
    world = make_world(listings, releases, SEED)
    rows = world.constructions.table.height
    print(f"{listings} titles x {rows} rows = {listings * rows / 1e9:.1f} billion pairs; all of them are never made")
    base = _peak_gb()
    wall, cpu = time.perf_counter(), time.process_time()
    found = pl.concat(part.match for part in link_batches(world.listings, world.constructions, weights, reasons=False))
    wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
    print(f"matched in {wall:.1f} s ({cpu:.1f} CPU s), {listings / wall:.0f} titles/s, peak {_peak_gb():.2f} GB")
    print(f"({base:.2f} GB of it before matching: the world itself)")
    accuracy(found, world)
    print(f"\nFirst {sample} titles, likeliest row only (releases in the table)")
    first = World(world.constructions, world.listings.head(sample), world.truth.head(sample))
    for name, package, way in WAYS:
        if find_spec(package) is None:
            print(f"{name:44} not measured: {package} is not installed")
            continue
        start = time.perf_counter()
        best = way(first)
        spent = time.perf_counter() - start
        print(f"{name:44} top-1 {_hit(best, first):.3f}   {sample / spent:9.0f} titles/s")
    ours = found.filter(pl.col("place") == 1).join(first.truth, on="listing_id").sort("listing_id")
    print(f"{'this program':44} top-1 {_hit(ours['construction_id'], first):.3f}   {listings / wall:9.0f} titles/s")


def accuracy(found: pl.DataFrame, world: World) -> None:
    """Print what the places are worth."""
    top = found.filter(pl.col("place") == 1).join(world.truth, on="listing_id")
    named = ~pl.col("level").is_in(["generic", "none"])
    top = top.with_columns(right=((pl.col("construction_id") == pl.col("release")) & named).fill_null(False))
    inside, outside = top.filter(pl.col("release") != ""), top.filter(pl.col("release") == "")
    accepted = top.filter("accepted")
    right = int(accepted["right"].sum())
    best = found.filter(~pl.col("level").is_in(["generic", "none"])).sort("listing_id", "place")
    best = best.unique("listing_id", keep="first", maintain_order=True).join(world.truth, on="listing_id")
    chance = np.r_[best["probability"].to_numpy(), np.zeros(top.height - best.height)]
    hit = np.r_[(best["construction_id"] == best["release"]).to_numpy(), np.zeros(top.height - best.height, bool)]
    print(f"top-1 of titles whose release is in the table   {inside['right'].mean():.4f}")
    covered = inside.filter("accepted")["right"].sum() / inside.height
    print(f"accepted: precision                             {right / accepted.height:.4f}")
    print(f"          95 % Wilson bound                     {wilson_lo(right, accepted.height):.4f}")
    print(f"          coverage of titles in the table       {covered:.4f}")
    print(f"absent siblings accepted                        {outside['accepted'].mean():.4f}")
    print(f"expected calibration error, ten bins            {calibration_error(chance, hit):.4f}")


def by_token_set_ratio(world: World) -> pl.Series:
    """rapidfuzz: process.extractOne with token_set_ratio over every row."""
    from rapidfuzz import fuzz, process

    names = _names(world).to_list()
    ids = world.constructions.table["model_id"]
    titles = world.listings["title"].to_list()
    best = [process.extractOne(title, names, scorer=fuzz.token_set_ratio) for title in titles]
    return ids.gather([found[2] for found in best])


def by_tf_idf(world: World) -> pl.Series:
    """TF-IDF of words and sparse_dot_topn, no pruning."""
    from sklearn.feature_extraction.text import TfidfVectorizer
    from sparse_dot_topn import sp_matmul_topn

    names = _names(world).to_list()
    counter = TfidfVectorizer(token_pattern=r"[a-z]+|\d+", dtype=np.float32)
    table = counter.fit_transform(names)
    product = sp_matmul_topn(counter.transform(world.listings["title"].to_list()), table.T.tocsr(), top_n=1)
    best = np.asarray(product.argmax(axis=1)).ravel()
    return world.constructions.table["model_id"].gather(best)


def by_splink(world: World) -> pl.Series:
    """splink 5 on DuckDB: words as arrays, blocked on a shared word, weights by its own EM."""
    from benchmarks.match_splink import best_rows

    return best_rows(world)


WAYS: list[tuple[str, str, Callable[[World], pl.Series]]] = [
    ("rapidfuzz extractOne, token_set_ratio", "rapidfuzz", by_token_set_ratio),
    ("TF-IDF words, sparse_dot_topn", "sparse_dot_topn", by_tf_idf),
    ("splink 5, DuckDB", "splink", by_splink),
]


def _names(world: World) -> pl.Series:
    table = world.constructions.table
    return table.select(pl.concat_str("maker", "model", separator=" ").str.to_lowercase()).to_series()


def _hit(best: pl.Series, world: World) -> float:
    known = world.truth["release"] != ""
    return float((best.fill_null("-") == world.truth["release"]).filter(known).mean() or 0.0)  # type: ignore[arg-type]


def _peak_gb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:]))
