"""From bits to probabilities, places and levels; ties stay ties."""

import math
from functools import reduce
from operator import add

import polars as pl

from triage.catalogue.matching import MatchWeights
from triage.match.score import FACT_BITS, NAME_BITS

NEGLIGIBLE = 1e-6
PLACES = {
    "item": pl.UInt32,
    "place": pl.Int64,
    "construction_id": pl.String,
    "level": pl.String,
    "probability": pl.Float64,
    "accepted": pl.Boolean,
}


def sibling_bits(match: MatchWeights) -> pl.Expr:
    """Return what a release of the same model that the table lacks would score beside a release of the table.

    It explains the names as well, shares part of the best year and colour, and has no number, qualifier or
    edition that could count against it.
    """
    shared = pl.max_horizontal(pl.col("year") + pl.col("colour"), pl.lit(0.0)) * match.weights.prior.sibling_facts
    return total("model", "maker", "compared") + shared + match.weights.prior.sibling


def total(*columns: str) -> pl.Expr:
    """Return the sum of columns, always in one order: in Polars' own the last digit hangs on which core is free."""
    return reduce(add, (pl.col(name) for name in columns))


def with_probability(pairs: pl.DataFrame, match: MatchWeights) -> pl.DataFrame:
    """Return pairs with ``bits`` and ``probability``, against each other and against "none of them".

    "None of them" is two things: another shoe altogether, and a sibling that the table lacks.

    Args:
        pairs: item, row and the columns of bits.
        match: Priors.
    """
    unrelated = match.weights.prior.unrelated
    scored = pairs.with_columns(bits=total(*NAME_BITS, *FACT_BITS), sibling=sibling_bits(match))
    scored = scored.with_columns(pl.col("sibling").max().over("item"))
    top = pl.max_horizontal(pl.col("bits").max().over("item"), "sibling", pl.lit(unrelated))
    scored = scored.with_columns(top=top)
    power = scored.select(
        "item",
        own=_power(pl.col("bits") - pl.col("top")),
        rest=_power(pl.col("sibling") - pl.col("top")) + _power(unrelated - pl.col("top")),
    )
    probability = pl.col("own") / (pl.col("own").sum().over("item") + pl.col("rest"))
    return scored.with_columns(power.select(probability=probability).to_series()).drop("top", "sibling")


def _power(bits: pl.Expr) -> pl.Expr:
    return (bits * math.log(2)).exp()


def placed(pairs: pl.DataFrame, releases: pl.DataFrame, match: MatchWeights) -> pl.DataFrame:
    """Return the likeliest releases of every text: item, row, construction_id, level, probability, accepted.

    Args:
        pairs: item, row, probability, ``number_strength`` (NULL: no style number found this release).
        releases: row, model_id.
        match: How many are kept and when one is accepted.
    """
    decide = match.weights.decide
    # Rows are numbered by model_id: to sort by row is to sort by id.
    possible = pairs.filter(pl.col("probability") > NEGLIGIBLE)
    ordered = possible.sort(["item", "probability", "row"], descending=[False, True, False])
    ordered = ordered.with_row_index("at")
    ordered = ordered.with_columns(rank=(pl.col("at") - pl.col("at").first().over("item")).cast(pl.Int64))
    kept = ordered.filter(pl.col("rank") < max(decide.keep, 2))
    follows = pl.col("item").shift(-1) == pl.col("item")
    second = pl.when(follows).then(pl.col("probability").shift(-1)).fill_null(0.0)
    first = pl.col("rank") == 0
    clear = first & (pl.col("probability") >= 0.5) & (pl.col("probability") >= 2 * second)
    level = (
        pl.when(pl.col("number_strength").is_in(["exact", "partial"]))
        .then(pl.lit("style_number"))
        .when(clear)
        .then(pl.lit("release"))
        .otherwise(pl.lit("model"))
    )
    kept = kept.with_columns(level=level, accepted=first & (pl.col("probability") >= decide.accept_at))
    kept = kept.filter(pl.col("rank") < decide.keep)
    return kept.join(releases.select("row", construction_id="model_id"), on="row", how="left", maintain_order="left")


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
