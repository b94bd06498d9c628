"""The same titles through splink 5: words as arrays, blocked on the rarest known word, weights by its own EM."""

import logging

import duckdb
import polars as pl
import splink.comparison_library as cl
from splink import DuckDBAPI, Linker, SettingsCreator, block_on

from benchmarks.match_world import World

logging.getLogger("splink").setLevel(logging.ERROR)


def best_rows(world: World) -> pl.Series:
    """Return the model_id splink finds likeliest for each title, NULL where it makes no pair."""
    table = world.constructions.table
    text = pl.concat_str("maker", "model", separator=" ").str.to_lowercase()
    rows = _prepared(table.select(unique_id="model_id", text=text))
    known = rows.select("unique_id", word="tokens").explode("word").group_by("word").len()
    titles = _prepared(world.listings.select(unique_id="listing_id", text="title"))
    rows, titles = _with_key(rows, known), _with_key(titles, known)
    connection = duckdb.connect()
    api = DuckDBAPI(connection=connection)
    sides = []
    for name, side in (("titles", titles), ("rows", rows)):
        connection.register(f"raw_{name}", side.to_arrow())
        connection.execute(f"CREATE TABLE {name} AS SELECT * FROM raw_{name}")
        sides.append(api.register(name))
    settings = SettingsCreator(
        link_type="link_only",
        comparisons=[
            cl.ArrayIntersectAtSizes("tokens", [5, 4, 3, 2]),
            cl.JaroWinklerAtThresholds("text", [0.9, 0.8, 0.7]),
        ],
        blocking_rules_to_generate_predictions=[block_on("key")],
    )
    linker = Linker(sides, settings)
    linker.training.estimate_u_using_random_sampling(max_pairs=1_000_000)
    linker.training.estimate_parameters_using_expectation_maximisation(block_on("key"))
    pairs = pl.DataFrame(linker.inference.predict().as_record_list())
    ids = table.select(unique_id="model_id")
    swapped = pl.col("unique_id_l").is_in(ids["unique_id"].implode())
    found = pairs.select(
        "match_weight",
        listing_id=pl.when(swapped).then("unique_id_r").otherwise("unique_id_l"),
        model_id=pl.when(swapped).then("unique_id_l").otherwise("unique_id_r"),
    )
    best = found.sort(["match_weight", "model_id"], descending=[True, False]).unique(
        "listing_id", keep="first", maintain_order=True
    )
    return world.listings.select("listing_id").join(best, on="listing_id", how="left", maintain_order="left")[
        "model_id"
    ]


def _prepared(frame: pl.DataFrame) -> pl.DataFrame:
    return frame.with_columns(tokens=pl.col("text").str.extract_all(r"[a-z]+|\d+").list.unique(maintain_order=True))


def _with_key(frame: pl.DataFrame, known: pl.DataFrame) -> pl.DataFrame:
    """Add ``key``, the word of a text that fewest rows have."""
    words = frame.select("unique_id", word="tokens").explode("word").join(known, on="word")
    rarest = words.sort("len", "word").unique("unique_id", keep="first", maintain_order=True)
    return frame.join(rarest.select("unique_id", key="word"), on="unique_id", how="left")
