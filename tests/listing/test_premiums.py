"""Hand-made statements of a buyer's premium: every one read as a person would (common practice, no source)."""

from pathlib import Path

import polars as pl

from triage.catalogue.words import Words
from triage.listing.premium import REFUSALS, read_premiums


def read(words: Words) -> pl.DataFrame:
    """Return the table of this folder with what was read: ``place, cell, expected, found, premium_refusal``."""
    lines = (Path(__file__).parent / "premiums.txt").read_text("utf-8").splitlines()
    parted = [line.split(" | ", 1) for line in lines if line and not line.startswith("#")]
    rows = [(place, *rest.rsplit(" => ", 1)) for place, rest in parted]
    table = pl.DataFrame(rows, schema=["place", "cell", "expected"], orient="row").with_row_index("row")
    in_text = pl.col("place") == "text"
    asked = table.select(
        "row", premium=pl.when(~in_text).then("cell"), title=pl.lit("Torquellan High"),
        body=pl.when(in_text).then("cell"), minor=pl.lit(20_000), code=pl.lit("EUR"),
        kind=pl.when(pl.col("place") == "bid").then(pl.lit("bid")).otherwise(pl.lit("fixed")),
        ships_from=pl.lit("DE"), set_currency=pl.lit("EUR"), set_country=pl.lit("DE"), set_decimal=pl.lit(","),
    )  # fmt: skip
    found = read_premiums(asked, words.money)
    percent = (pl.col("premium_rate") * 100).round(2).cast(pl.String).str.replace(r"\.0$", "").fill_null("?")
    return table.join(found, on="row", maintain_order="left").with_columns(found=percent)


def test_every_premium_of_the_table_is_read_or_left(words: Words) -> None:
    wrong = read(words).filter(pl.col("expected") != pl.col("found"))
    assert wrong.select("place", "cell", "expected", "found").rows() == []


def test_a_premium_column_that_cannot_be_read_is_refused_with_a_reason(words: Words) -> None:
    unread = read(words).filter((pl.col("place") != "text") & (pl.col("found") == "?"))
    assert not unread.is_empty()
    assert set(unread["premium_refusal"]) <= set(REFUSALS)
