"""Hand-made price cells: at least 99 % read as a person would, and none read as another amount.

The expectations are our reading of how sellers write (common practice, no source).
"""

from pathlib import Path

import polars as pl
import pytest

from triage.catalogue.words import Words
from triage.listing.money import read_prices

MARKETS = {
    "de": ("EUR", "DE", ","), "at": ("EUR", "AT", ","), "fr": ("EUR", "FR", ","), "it": ("EUR", "IT", ","),
    "es": ("EUR", "ES", ","), "ch": ("CHF", "CH", "."), "us": ("USD", "US", "."), "gb": ("GBP", "GB", "."),
    "jp": ("JPY", "JP", "."), "se": ("SEK", "SE", ","), "no": ("NOK", "NO", ","), "dk": ("DKK", "DK", ","),
    "ca": ("CAD", "CA", "."), "au": ("AUD", "AU", "."), "pl": ("PLN", "PL", ","), "cz": ("CZK", "CZ", ","),
    "hu": ("HUF", "HU", ","), "kw": ("KWD", "KW", "."), "cn": ("CNY", "CN", "."), "any": (None, None, None),
}  # fmt: skip


@pytest.fixture(scope="module")
def cells(words: Words) -> pl.DataFrame:
    """The table with what was read beside what is expected: ``market, price, expected, found``."""
    lines = (Path(__file__).parent / "prices.txt").read_text("utf-8").splitlines()
    parted = [line.split(" | ", 1) for line in lines if line and not line.startswith("#")]
    rows = [(market, *rest.rsplit(" => ", 1)) for market, rest in parted]
    table = pl.DataFrame(rows, schema=["market", "price", "expected"], orient="row").with_row_index("row")
    known = pl.DataFrame(
        [(market, *facts) for market, facts in MARKETS.items()],
        schema=["market", "set_currency", "set_country", "set_decimal"],
        orient="row",
    )
    asked = table.join(known, on="market", how="left", maintain_order="left")
    missing = {name: pl.lit(None, pl.String) for name in ("currency", "price_kind", "ships_from")}
    read = read_prices(asked.with_columns(**missing), words.money)
    amount = pl.format("{} {}", "minor", "code")
    found = (
        pl.when(pl.col("kind") == "free").then(pl.lit("free"))
        .when(pl.col("minor").is_not_null() & (pl.col("kind") == "bid")).then(pl.format("{} bid", amount))
        .when(pl.col("minor").is_not_null()).then(amount)
        .when(pl.col("refusal").is_null()).then("kind")
        .otherwise(pl.lit("?"))
    )  # fmt: skip
    return table.with_columns(read.select(found=found).to_series())


def test_there_are_three_hundred_price_cells(cells: pl.DataFrame) -> None:
    assert cells.select("market", "price").n_unique() >= 300


def test_ninety_nine_of_a_hundred_price_cells_are_read_right(cells: pl.DataFrame) -> None:
    wrong = cells.filter(pl.col("found") != pl.col("expected"))
    assert wrong.height <= 0.01 * cells.height, wrong.rows()


def test_no_price_cell_is_read_as_another_amount(cells: pl.DataFrame) -> None:
    silent = cells.filter((pl.col("found") != pl.col("expected")) & (pl.col("found") != "?"))
    assert silent.rows() == []


def test_of_no_cells_the_same_columns_are_read(words: Words) -> None:
    names = ("price", "currency", "price_kind", "ships_from", "set_currency", "set_country", "set_decimal")
    cells = {"row": 3, **dict.fromkeys(names, "20 EUR")}
    some = pl.DataFrame([cells], schema_overrides={"row": pl.UInt32})
    assert read_prices(some.clear(), words.money).schema == read_prices(some, words.money).schema
