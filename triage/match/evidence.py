"""Why a release is a candidate: one agreement or conflict a row."""

import numpy as np
import numpy.typing as npt
import polars as pl

from triage.match.reading import Reading
from triage.match.table import Index
from triage.match.ties import APART, SAME, tie_evidence

Ints = npt.NDArray[np.int64]
FIELDS = {
    "style_number": "style number", "model": "model", "maker": "maker", "number": "number in the name",
    "qualifier": "qualifier", "year": "year", "colour": "colour", "edition": "edition",
    "construction": "construction", "audience": "audience", "category": "category", "compared": "only compared with",
}  # fmt: skip
COLUMN = pl.Enum(list(FIELDS))
# In the order in which evidence of one weight is told.
TOLD = sorted([*FIELDS.values(), APART, SAME])
PLACE = pl.col("column").replace_strict(
    list(FIELDS), [TOLD.index(field) for field in FIELDS.values()], return_dtype=pl.Int64
)
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
    # Rows are numbered by model_id: to sort by row is to sort by id.
    kept = kept.sort("item", "row")
    # A row a release and a column a field, so that what is said and what is made are found by counting, not by joins.
    weight = np.zeros((kept.height, len(TOLD)))
    for name, field in FIELDS.items():
        weight[:, TOLD.index(field)] = kept[name].to_numpy()
    there = np.abs(weight) > 1e-9
    ties = _ties(kept, index)
    there[ties["at"].to_numpy(), ties["told"].to_numpy()] = True
    order = np.argsort(-weight, axis=1, kind="stable")
    at, nth = np.nonzero(np.take_along_axis(there, order, axis=1))
    told = order[at, nth]
    item, row = kept["item"].to_numpy()[at], kept["row"].to_numpy()[at]
    of_tie, of_table = _found(ties, "at", "table_value", at, told), _found(_has(index), "row", "table_value", row, told)
    return pl.DataFrame(
        {
            "item": item,
            "construction_id": index.releases["model_id"].gather(row),
            "field": pl.Series(TOLD).gather(told),
            "listing_value": _found(_said(reading, kept), "item", "said", item, told),
            "table_value": pl.select(pl.coalesce(of_tie, of_table)).to_series(),
            "weight": weight[at, told],
        },
        schema=EVIDENCE,
    )


def _ties(kept: pl.DataFrame, index: Index) -> pl.DataFrame:
    """Return what releases of a tie share or are told apart by: at (row of ``kept``), told, table_value."""
    found = tie_evidence(kept, index.releases).join(kept.select("item", "row").with_row_index("at"), on=["item", "row"])
    return found.select("at", "table_value", told=pl.col("field").cast(pl.Enum(TOLD)).to_physical().cast(pl.Int64))


def _found(values: pl.DataFrame, key: str, value: str, wanted: Ints, told: Ints) -> pl.Series:
    """Return the value of each key and field wanted, NULL where there is none.

    Args:
        values: Whole numbers in ``key``, ``told`` (place in ``TOLD``) and ``value``.
        key, value: Names of columns.
        wanted: Keys.
        told: Fields.
    """
    keys = values[key].to_numpy()
    place = np.full((1 + max(keys.max(initial=0), wanted.max(initial=0)), len(TOLD)), -1)
    place[keys, values["told"].to_numpy()] = np.arange(len(keys))
    at = pl.Series(place[wanted, told])
    return values[value].gather(pl.select(pl.when(at >= 0).then(at)).to_series())


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
    return said.drop_nulls("column").join(items, on="item", how="semi").select("item", "said", told=PLACE)


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
    return has.select("row", "table_value", told=PLACE)
