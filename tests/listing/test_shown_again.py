"""An offer shown again on a later night: what reads the same stays where it is, every other cell is written over."""

from contextlib import nullcontext
from datetime import date, timedelta
from typing import Any

import polars as pl
import pytest

from tests.listing.conftest import put_export
from triage.catalogue.words import Words
from triage.listing import Reading, normalise
from triage.listing.cells import new_feeds, read_cells
from triage.listing.history import COLUMNS, record
from triage.store import connect, frame, transaction

NIGHT = date(2026, 11, 25)
PAIR = {
    "external_id": "A1",
    "seller": "kellerfund",
    "title": "Pellavane Morrivelle 180 Gr. 43 Original 1991 ungetragen OVP",
    "body": "Dachbodenfund, nie getragen, mit Karton.",
    "price": "180,00 €",
}
ALWAYS_TOLD = {"title", "price_kind", "condition", "condition_conflict", "kind", "text_cut", "status"}
OF_THE_ID = {"listing_id", "lot_id", "source", "external_id"}
NO_REFUSALS = pl.DataFrame(
    schema={"feed_id": pl.String, "row_no": pl.Int64}
    | dict.fromkeys(("field", "scope", "value", "code", "hint"), pl.String)
)
# What a cell may hold beside what PAIR says.
OTHERS: dict[str, Any] = {
    "url": "https://attic.example/1", "seller": "nobody else", "seller_kind": "business", "title": "Pellavane",
    "body": "Getragen.", "named": "Ostrevik", "language": "fr", "price_kind": "bid", "price_minor": 9900,
    "currency": "GBP", "price_base_minor": 11500, "rate_date": date(2026, 11, 20), "shipping_minor": 500,
    "shipping_base_minor": 580, "premium_rate": 0.2, "ships_from": "AT", "region": "AT-9", "size_text": "44",
    "size_system": "EU", "foot_mm_lo": 270.0, "foot_mm_hi": 290.0, "condition": "worn", "condition_conflict": True,
    "stated_year_lo": 1980, "stated_year_hi": 1999, "stated_year_kind": "made", "kind": "single", "photo_count": 3,
    "image_names": "shelf_1", "text_cut": True, "status": "sold",
}  # fmt: skip


@pytest.fixture(scope="module")
def rows(words: Words) -> pl.DataFrame:
    """The listing columns of one export with two pairs in it."""
    store = connect()
    put_export(store, "first", [PAIR, {**PAIR, "external_id": "A2"}], NIGHT, "attic board", {})
    (feed,) = new_feeds(store).to_dicts()
    return normalise(read_cells(store, feed), Reading(words))[0]


def later(rows: pl.DataFrame, nights: int, **cells: Any) -> pl.DataFrame:
    """The same rows from another night's export, its first with other cells."""
    is_first = pl.int_range(pl.len()) == 0
    changed = [
        pl.when(is_first).then(pl.lit(value)).otherwise(name).cast(rows[name].dtype).alias(name)
        for name, value in cells.items()
    ]
    return rows.with_columns(
        changed, feed_id=pl.lit(f"feed {nights}"), seen_on=pl.lit(NIGHT + timedelta(days=nights), pl.Date)
    )


def after(*nights: pl.DataFrame, at_once: bool = False) -> pl.DataFrame:
    store = connect()
    with transaction(store) if at_once else nullcontext():
        for rows in nights:
            record(store, rows, NO_REFUSALS)
    found = frame(store, "FROM listing ORDER BY listing_id")
    store.close()
    return found


def test_every_column_that_a_night_may_change_is_tried() -> None:
    assert set(OTHERS) == set(COLUMNS) - OF_THE_ID


@pytest.mark.parametrize("at_once", [False, True])
@pytest.mark.parametrize("name", OTHERS)
def test_a_cell_that_reads_otherwise_is_written_over(rows: pl.DataFrame, name: str, at_once: bool) -> None:
    changed = later(rows, 1, **{name: OTHERS[name]})
    assert changed[name][0] != rows[name][0]
    found = after(rows, changed, at_once=at_once)
    alone = after(changed)
    assert found[name][0] == OTHERS[name]
    assert found.drop("first_seen").equals(alone.drop("first_seen"))
    assert found["first_seen"].to_list() == [NIGHT, NIGHT]


@pytest.mark.parametrize("name", [name for name in OTHERS if name not in ALWAYS_TOLD])
def test_a_cell_that_says_nothing_any_more_is_emptied(rows: pl.DataFrame, name: str) -> None:
    lower = {"foot_mm_hi": "foot_mm_lo", "stated_year_hi": "stated_year_lo"}
    first = later(rows, 0, **{name: OTHERS[name], **{low: 1 for high, low in lower.items() if high == name}})
    changed = later(rows, 1, **{name: None})
    found = after(first, changed)
    assert found[name][0] is None
    assert found.drop("first_seen").equals(after(changed).drop("first_seen"))


def test_an_offer_that_reads_the_same_keeps_its_row(rows: pl.DataFrame) -> None:
    store = connect()
    record(store, rows, NO_REFUSALS)
    places = "SELECT external_id, rowid FROM listing ORDER BY external_id"
    first = dict(store.execute(places).fetchall())
    record(store, later(rows, 1, price_minor=100), NO_REFUSALS)
    second = dict(store.execute(places).fetchall())
    assert second["A2"] == first["A2"]
    assert second["A1"] != first["A1"]
    nights = "SELECT DISTINCT first_seen, last_seen FROM listing"
    assert store.execute(nights).fetchall() == [(NIGHT, NIGHT + timedelta(days=1))]
    store.close()
