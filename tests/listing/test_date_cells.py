"""Hand-made dates and years: at least 99 % read as a person would, and none read as another day or year.

The expectations are our reading of how sellers and exports write (common practice, no source); ISO 8601 for the
machine formats.
"""

from datetime import date
from pathlib import Path

import polars as pl
import pytest

from triage.catalogue.words import Words
from triage.listing.dates import read_dates
from triage.listing.phrases import compatible, spaced
from triage.listing.years import read_years

NIGHT = date(2026, 11, 25)
Line = tuple[str, str, str, str]


def table(name: str) -> pl.DataFrame:
    """Return a table of this folder: where, cell, expected."""
    lines = (Path(__file__).parent / name).read_text("utf-8").splitlines()
    parted = [line.split(" | ", 1) for line in lines if line and not line.startswith("#")]
    rows = [(place, *rest.rsplit(" => ", 1)) for place, rest in parted]
    frame = pl.DataFrame(rows, schema=["place", "cell", "expected"], orient="row")
    return frame.with_row_index("row").with_columns(seen_on=NIGHT)


def days(words: Words) -> list[Line]:
    """Return the lines of ``dates.txt`` with the day that was read."""
    asked = table("dates.txt").with_columns(order=pl.when(pl.col("place") != "xx").then("place"))
    found = read_dates(asked, words.year).select(pl.col("day").dt.to_string("iso").fill_null("?")).to_series()
    return list(zip(asked["place"], asked["cell"], asked["expected"], found, strict=True))


def years(words: Words) -> list[Line]:
    """Return the lines of ``years.txt`` with the years that were read."""
    asked = table("years.txt").with_columns(
        title=pl.when(pl.col("place") == "title").then("cell").otherwise(pl.lit("Torquellan High")),
        body=pl.when(pl.col("place") == "body").then("cell"),
        year=pl.when(pl.col("place") == "year").then("cell"),
    )
    asked = asked.with_columns([compatible(asked[name]) for name in ("title", "body", "year")])
    read = read_years(asked.with_columns(title_key=spaced(pl.col("title"))), words.year)
    span = pl.when(pl.col("lo") == pl.col("hi")).then(pl.format("{}", "lo")).otherwise(pl.format("{}..{}", "lo", "hi"))
    both = asked.join(read, on="row", how="left", maintain_order="left")
    found = both.select(pl.format("{} {}", span, "kind").fill_null("?")).to_series()
    return list(zip(asked["place"], asked["cell"], asked["expected"], found, strict=True))


@pytest.fixture(scope="module")
def cells(words: Words) -> list[Line]:
    return days(words) + years(words)


def test_there_are_three_hundred_date_cells(cells: list[Line]) -> None:
    assert len({(place, cell) for place, cell, *_ in cells}) >= 300


def test_ninety_nine_of_a_hundred_date_cells_are_read_right(cells: list[Line]) -> None:
    wrong = [line for line in cells if line[2] != line[3]]
    assert len(wrong) <= 0.01 * len(cells), wrong


def test_no_date_cell_is_read_as_another_day_or_year(cells: list[Line]) -> None:
    silent = [line for line in cells if line[2] != line[3] and line[3] != "?"]
    assert silent == []
