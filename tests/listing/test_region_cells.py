"""Regions of sellers: a name to the letter, alone in its country or in the world; else not stated."""

from datetime import date

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.listing import run
from triage.listing.regions import folded_places, read_regions, word_table
from triage.store import Connection, frame

NIGHT = date(2026, 11, 25)
CASES = [
    # as written, country as read, region
    ("Texas, United States", "US", "US-TX"), ("Austin, TX", None, "US-TX"), ("Austin TX 78701", None, "US-TX"),
    ("Portland, OR", None, "US-OR"), ("Portland, OR 97201, USA", "US", "US-OR"), ("Portland", "US", None),
    ("Oregon", None, "US-OR"), ("Georgia", "US", "US-GA"), ("Georgia", None, None), ("Los Angeles, CA", None, "US-CA"),
    ("Toronto, CA", None, "CA-ON"), ("CA", "CA", None), ("Washington, DC", None, "US-DC"), ("NY", "US", "US-NY"),
    ("Sydney NSW 2000", "AU", "AU-NSW"), ("Victoria", None, None), ("Victoria", "AU", "AU-VIC"),
    ("Bayern", None, "DE-BY"), ("BAYERN, Deutschland", "DE", "DE-BY"), ("Sachsen", "DE", "DE-SN"),
    ("Milano (MI)", None, "IT-25"), ("Toscana", "IT", "IT-52"), ("Roma / Milano", "IT", None),
    ("Sevilla, España", "ES", "ES-AN"), ("75011 Paris", "FR", "FR-IDF"), ("Paris", None, None),
    ("Paris, Texas, USA", "US", "US-TX"), ("Provence-Alpes-Côte d’Azur", "FR", "FR-PAC"),
    ("Lyon (France)", "FR", "FR-ARA"), ("東京都", None, "JP-13"), ("東京都渋谷区", None, "JP-13"),
    ("神奈川県横浜市", "JP", "JP-14"), ("北海道", None, "JP-01"),
    ("大阪", "JP", "JP-27"), ("São Paulo - SP", None, "BR-SP"), ("Springfield", "US", None), ("Atlantis", None, None),
    ("Mexico", "MX", None), ("Luxemburg", "LU", None), ("York Street", "GB", None), ("", None, None),
]  # fmt: skip


@pytest.fixture(scope="module")
def words(known) -> pl.DataFrame:
    return word_table(known.climates.regions)


def read(cells: list[tuple[str, str | None]], words: pl.DataFrame) -> dict[tuple[str, str | None], str]:
    asked = pl.DataFrame(cells, schema={"ships_from": pl.String, "country": pl.String}, orient="row")
    return {row[:2]: row[2] for row in read_regions(asked, words).rows()}


@pytest.mark.parametrize(("cell", "country", "region"), CASES)
def test_a_region_is_read_only_where_nothing_is_in_doubt(words, cell, country, region):
    assert read([(cell, country)], words).get((cell, country)) == region


def test_whole_columns_give_what_single_cells_give(words):
    cells = [case[:2] for case in CASES]
    assert read(cells, words) == {case[:2]: case[2] for case in CASES if case[2] is not None}


def test_every_word_of_the_table_is_written_as_it_is_compared(known):
    listed = [word for one in known.climates.regions.values() for word in (*one.only, *one.inland, *one.beside)]
    assert len(listed) > 5_000
    assert folded_places(listed) == listed


def test_a_word_that_stands_alone_names_one_region(words):
    only = words.filter(pl.col("grade") == "only")
    assert only["word"].is_unique().all()
    inland = words.filter(pl.col("grade").is_in(["only", "inland"]))
    assert inland.select("home", "word").is_unique().all()


@given(st.text(max_size=30), st.none() | st.sampled_from(["US", "DE", "JP", "XX"]))
@settings(deadline=None)
def test_any_text_is_read_and_never_as_a_region_of_another_country(words, cell, country):
    region = read([(cell, country)], words).get((cell, country))
    assert region is None or country is None or region.startswith(f"{country}-")


def test_a_region_beyond_doubt_tells_the_country_and_an_empty_cell_nothing(store: Connection, export, known):
    pair = {"title": "Trail shoe", "price": "40"}
    places = ["Portland, OR", "Portland", "Bayern", None]
    export([{**pair, "external_id": f"A{n}", "ships_from": place} for n, place in enumerate(places)], country="US")
    run(store, known.words, NIGHT, known.climates.regions)
    found = frame(store, "SELECT ships_from, region FROM listing ORDER BY listing_id").rows()
    assert found == [("US", "US-OR"), (None, None), ("DE", "DE-BY"), ("US", None)]
