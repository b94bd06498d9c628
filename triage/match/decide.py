"""From bits to probabilities, places and levels; ties stay ties."""

import numpy as np
import polars as pl

from triage.catalogue.matching import MatchWeights
from triage.match.score import FACT_BITS, NAME_BITS

PLACES = {
    "item": pl.UInt32,
    "place": pl.Int64,
    "construction_id": pl.String,
    "level": pl.String,
    "probability": pl.Float64,
    "accepted": pl.Boolean,
}


def with_probability(pairs: pl.DataFrame, match: MatchWeights) -> pl.DataFrame:
    """Return pairs with ``bits`` and ``probability`` against each other and against "none of them".

    "None of them" is two things: another shoe altogether, and a release of the same model that the table lacks.
    The second explains the names as well as the best release does, but no number, year or colour counts against it.

    Args:
        pairs: item, row, identity and the columns of bits.
        match: Priors and temperature.
    """
    prior, temperature = match.weights.prior, match.weights.decide.temperature
    bits = pl.sum_horizontal(*NAME_BITS, *FACT_BITS)
    scored = pairs.with_columns(bits=bits)
    shared = pl.max_horizontal(pl.col("year") + pl.col("colour"), pl.lit(0.0)) * prior.sibling_facts
    sibling = (pl.col("identity") + pl.col("compared") + shared).max().over("item") + prior.sibling
    top = pl.max_horizontal(pl.col("bits").max().over("item"), sibling, pl.lit(prior.unrelated))
    scored = scored.with_columns(top=top, sibling=sibling)
    power = scored.select(
        "item",
        own=((pl.col("bits") - pl.col("top")) / temperature * np.log(2)).exp(),
        rest=((pl.col("sibling") - pl.col("top")) / temperature * np.log(2)).exp()
        + ((prior.unrelated - pl.col("top")) / temperature * np.log(2)).exp(),
    )
    probability = pl.col("own") / (pl.col("own").sum().over("item") + pl.col("rest"))
    return scored.with_columns(power.select(probability=probability).to_series()).drop("top", "sibling")


def placed(pairs: pl.DataFrame, releases: pl.DataFrame, match: MatchWeights) -> pl.DataFrame:
    """Return the likeliest releases of every text: item, row, construction_id, level, probability, accepted.

    Args:
        pairs: item, row, probability, ``number_strength`` (NULL: no style number found this release).
        releases: row, model_id.
        match: How many are kept and when one is accepted.
    """
    decide = match.weights.decide
    named = pairs.join(releases.select("row", construction_id="model_id"), on="row")
    ordered = named.sort(["item", "probability", "construction_id"], descending=[False, True, False])
    ordered = ordered.with_columns(rank=pl.int_range(pl.len()).over("item"))
    kept = ordered.filter((pl.col("rank") < decide.keep) & (pl.col("probability") > 1e-6))
    accepted = (pl.col("rank") == 0) & (pl.col("probability") >= decide.accept_at)
    second = pl.col("probability").sort(descending=True).get(1, null_on_oob=True).over("item").fill_null(0.0)
    clear = pl.col("probability") >= 2 * second
    level = (
        pl.when(pl.col("number_strength").is_in(["exact", "partial"])).then(pl.lit("style_number"))
        .when((pl.col("rank") == 0) & clear & (pl.col("probability") >= 0.5)).then(pl.lit("release"))
        .otherwise(pl.lit("model"))
    )  # fmt: skip
    return kept.with_columns(level=level, accepted=accepted)


def with_rest(kept: pl.DataFrame, items: pl.DataFrame) -> pl.DataFrame:
    """Return the places of every text, the rest included, probabilities summing to one.

    Args:
        kept: item, construction_id, level, probability, accepted of the releases kept.
        items: Every item, with ``generic`` (id of the construction that stands in, NULL where none fits).
    """
    taken = kept.group_by("item").agg(taken=pl.col("probability").sum())
    rest = items.join(taken, on="item", how="left").select(
        "item",
        construction_id="generic",
        level=pl.when(pl.col("generic").is_null()).then(pl.lit("none")).otherwise(pl.lit("generic")),
        probability=(1 - pl.col("taken").fill_null(0.0)).clip(0.0, 1.0),
        accepted=pl.lit(False),
    )
    columns = ["item", "construction_id", "level", "probability", "accepted"]
    both = pl.concat([kept.select(columns), rest.select(columns)])
    ordered = both.sort(["item", "probability", "construction_id"], descending=[False, True, False], nulls_last=True)
    return ordered.with_columns(place=pl.int_range(1, pl.len() + 1).over("item")).select(list(PLACES))
