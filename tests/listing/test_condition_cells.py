"""Hand-made words about wear: at least 99 % read as a person would, and none read as another condition.

The expectations follow the trade's words (common practice, no source).
"""

from pathlib import Path

import polars as pl
import pytest

from triage.catalogue.words import Words
from triage.listing import claims
from triage.listing.phrases import compatible, spaced


@pytest.fixture(scope="module")
def cells(words: Words) -> list[tuple[str, str, str, str]]:
    """The table: where, words, what is expected, what was read."""
    lines = (Path(__file__).parent / "conditions.txt").read_text("utf-8").splitlines()
    parted = [line.split(" | ", 1) for line in lines if line and not line.startswith("#")]
    rows = [(place, *rest.rsplit(" => ", 1)) for place, rest in parted]
    table = pl.DataFrame(rows, schema=["place", "cell", "expected"], orient="row").with_row_index("row")
    halves = pl.col("cell").str.split(" // ").list
    both = pl.col("place") == "both"
    asked = table.with_columns(
        condition=pl.when(pl.col("place") == "column").then("cell").when(both).then(halves.first()),
        title=pl.when(pl.col("place") == "title").then("cell").otherwise(pl.lit("Torquellan High")),
        body=pl.when(pl.col("place") == "body").then("cell").when(both).then(halves.last()).otherwise(pl.lit("")),
    )
    asked = asked.with_columns(compatible(asked["title"]), compatible(asked["body"]))
    asked = asked.with_columns(title_key=spaced(pl.col("title")), body_key=spaced(pl.col("body")))
    asked = asked.with_columns(claims.without_other_pairs(asked["body_key"], words.condition))
    read = claims.read_conditions(asked, words.condition, claims.condition_books(words.condition))
    mark = pl.when("conflict").then(pl.lit("!")).otherwise(pl.lit(""))
    found = read.select(pl.concat_str("condition", mark)).to_series()
    return list(zip(table["place"], table["cell"], table["expected"], found, strict=True))


def test_there_are_three_hundred_condition_cells(cells: list) -> None:
    assert len({(place, cell) for place, cell, *_ in cells}) >= 300


def test_ninety_nine_of_a_hundred_condition_cells_are_read_right(cells: list) -> None:
    wrong = [line for line in cells if line[2] != line[3]]
    assert len(wrong) <= 0.01 * len(cells), wrong


def test_no_words_about_wear_are_read_as_another_condition(cells: list) -> None:
    silent = [line for line in cells if line[2] != line[3] and line[3] != "unknown"]
    assert silent == []
