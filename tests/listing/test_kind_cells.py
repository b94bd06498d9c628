"""Hand-made offers: what is on offer, pair or not (common practice, no source)."""

from pathlib import Path

import polars as pl

from triage.catalogue.words import Words
from triage.listing import claims
from triage.listing.phrases import compatible, spaced


def test_every_offer_of_the_table_is_told_for_what_it_is(words: Words) -> None:
    lines = (Path(__file__).parent / "kinds.txt").read_text("utf-8").splitlines()
    parted = [line.split(" | ", 1) for line in lines if line and not line.startswith("#")]
    rows = [(place, *rest.rsplit(" => ", 1)) for place, rest in parted]
    table = pl.DataFrame(rows, schema=["place", "cell", "expected"], orient="row").with_row_index("row")
    halves = pl.col("cell").str.split(" // ").list
    asked = table.with_columns(
        title=halves.first(),
        body=pl.when(pl.col("place") == "both").then(halves.last()).otherwise(pl.lit("")),
        category=pl.lit(None, pl.String),
        size_count=pl.lit(0, pl.UInt32),
    )
    asked = asked.with_columns(compatible(asked["title"]), compatible(asked["body"]))
    asked = asked.with_columns(title_key=spaced(pl.col("title")), body_key=spaced(pl.col("body")))
    found = claims.read_kinds(asked, words.kind, claims.kind_books(words.kind))["kind"]
    wrong = table.with_columns(found=found).filter(pl.col("expected") != pl.col("found"))
    assert wrong.select("cell", "expected", "found").rows() == []
