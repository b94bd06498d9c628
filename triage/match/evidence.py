"""Why a release is a candidate: one agreement or conflict a row."""

import polars as pl

from triage.match.reading import Reading
from triage.match.table import Index
from triage.match.ties import APART, SAME, tie_evidence

FIELDS = {
    "style_number": "style number", "model": "model", "maker": "maker", "number": "number in the name",
    "qualifier": "qualifier", "year": "year", "colour": "colour", "edition": "edition",
    "construction": "construction", "audience": "audience", "category": "category", "compared": "only compared with",
}  # fmt: skip
COLUMN = pl.Enum(list(FIELDS))
FIELD = pl.Enum(sorted([*FIELDS.values(), APART, SAME]))
EVIDENCE = {
    "item": pl.UInt32, "construction_id": pl.String, "field": pl.String, "listing_value": pl.String,
    "table_value": pl.String, "weight": pl.Float64,
}  # fmt: skip


def explain(kept: pl.DataFrame, reading: Reading, index: Index) -> pl.DataFrame:
    """Return the evidence for the releases kept: item, construction_id, field, listing_value, table_value, weight.

    Args:
        kept: The releases kept, with their bits.
        reading: What the texts say.
        index: The table.
    """
    long = pl.concat(
        kept.filter(pl.col(name).abs() > 1e-9).select("item", "row", column=pl.lit(name, COLUMN), weight=name)
        for name in FIELDS
    )
    said = _said(reading, kept).rename({"said": "listing_value"})
    has = _has(index)
    weighed = long.join(said, on=["item", "column"], how="left").join(has, on=["row", "column"], how="left")
    field = pl.col("column").replace_strict(list(FIELDS), list(FIELDS.values()), return_dtype=FIELD)
    weighed = weighed.select("item", "row", "listing_value", "table_value", "weight", field=field)
    ties = tie_evidence(kept, index.releases).with_columns(pl.col("field").cast(FIELD))
    ties = ties.with_columns(listing_value=pl.lit(None, pl.String), weight=pl.lit(0.0)).select(weighed.columns)
    # Rows are numbered by model_id: to sort by row is to sort by id.
    ordered = pl.concat([weighed, ties]).sort(
        ["item", "row", "weight", "field"], descending=[False, False, True, False]
    )
    ids = index.releases.select("row", construction_id="model_id")
    named = ordered.join(ids, on="row", how="left", maintain_order="left").with_columns(pl.col("field").cast(pl.String))
    return named.select(list(EVIDENCE))


def _said(reading: Reading, kept: pl.DataFrame) -> pl.DataFrame:
    items = kept.select("item").unique()
    names = reading.names.select("item", "place", "word", column=pl.when("against").then(pl.lit("compared")).otherwise(
        pl.col("kind").replace({"edition_word": "qualifier", "descriptor": "qualifier"})))  # fmt: skip
    frames = [_joined(names.sort("item", "place"), " ")]
    frames.append(
        pl.concat([reading.found.select("item", "word"), reading.stray.select("item", "word")])
        .unique().sort("item", "word").group_by("item", maintain_order=True).agg("word")
        .select("item", column=pl.lit("style_number"), said=pl.col("word").list.join("; "))
    )  # fmt: skip
    facts = _joined(reading.facts.rename({"kind": "column"}).sort("item", "column", "word"), "; ")
    frames.append(facts.with_columns(pl.col("said").str.replace_all("  ", " ", literal=True)))
    year = reading.years.filter(pl.col("first_lo").is_not_null())
    decade = pl.concat_str("first_lo", pl.lit(" to "), "first_hi")
    one = pl.col("first_lo").cast(pl.String)
    shown = pl.when(pl.col("first_hi") > pl.col("first_lo")).then(decade).otherwise(one)
    last = (
        pl.when(pl.col("last_lo") != pl.col("first_lo"))
        .then(pl.concat_str(pl.lit("; "), "last_lo"))
        .otherwise(pl.lit(""))
    )
    hues = reading.colours.group_by("item", maintain_order=True).agg("word")
    frames.append(hues.select("item", column=pl.lit("colour"), said=pl.col("word").list.join(" ")))
    frames.append(year.select("item", column=pl.lit("year"), said=shown + last))
    said = pl.concat([one.select("item", pl.col("column").cast(COLUMN, strict=False), "said") for one in frames])
    return said.drop_nulls("column").join(items, on="item", how="semi")


def _joined(words: pl.DataFrame, joint: str) -> pl.DataFrame:
    """Return item, column, said: the words (item, column, word) of each in their order, each once."""
    known = words.select("item", pl.col("column").cast(COLUMN, strict=False), "word").drop_nulls("column")
    once = known.unique(maintain_order=True)
    # Gathered first, joined then: a join of its own for each group takes four times as long.
    lists = once.group_by("item", "column", maintain_order=True).agg("word")
    return lists.select("item", "column", said=pl.col("word").list.join(joint))


def _has(index: Index) -> pl.DataFrame:
    made = pl.concat_str(
        pl.col("made_from").floor().cast(pl.Int64), pl.lit(" to "), (pl.col("made_to").ceil() - 1).cast(pl.Int64)
    )
    table = index.releases.select(
        "row",
        style_number=pl.col("style_numbers").list.join("; "),
        model="model", maker="maker", number="model", qualifier="model", compared="model",
        year=pl.when(pl.col("style_year").is_not_null() & (pl.col("edition") != "original"))
        .then(pl.concat_str(made, pl.lit(", style of "), "style_year")).otherwise(made),
        colour=pl.concat_str("colourway", pl.col("nicknames").list.join("; "), separator="; ", ignore_nulls=True),
        edition="edition",
        construction=pl.concat_str(pl.col("bond"), pl.col("midsole"), separator=", ", ignore_nulls=True),
        category="category",
        audience=pl.lit("adults"),
    )  # fmt: skip
    has = table.unpivot(index="row", variable_name="column", value_name="table_value")
    return has.with_columns(pl.col("column").cast(COLUMN))
