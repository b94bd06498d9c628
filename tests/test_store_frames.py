"""Frames on their way into the store: every cell arrives, whichever way it goes, and no frame stays behind."""

import gc
import weakref
from datetime import date

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from triage import store

ROW = {
    "listing_id": "a", "place": 1, "rule_id": "r", "part": "midsole", "grouping": None, "state": "open",
    "decibans": -1.5, "because": "'; DROP TABLE finding; --\x00\n靴", "missing": ["x", "y"],
}  # fmt: skip


def rows(count: int) -> pl.DataFrame:
    every = [ROW | {"place": place, "missing": None if place % 3 else ["x"] * (place % 2)} for place in range(count)]
    return pl.DataFrame(every, schema_overrides={"grouping": pl.String, "missing": pl.List(pl.String)})


@pytest.mark.parametrize("count", [1, 7, 8, 500])
def test_a_frame_arrives_whole_as_values_and_as_a_view_alike(count):
    assert rows(7).height * rows(7).width <= store.FEW_CELLS < rows(8).height * rows(8).width
    connection = store.connect()
    store.append(connection, "finding", rows(count))
    assert_frame_equal(store.frame(connection, "FROM finding ORDER BY rowid"), rows(count), check_dtypes=False)


def test_days_numbers_and_what_is_no_number_arrive_as_values():
    connection = store.connect()
    connection.execute("CREATE TEMP TABLE cell (day DATE, number DOUBLE, whole BIGINT, flag BOOLEAN)")
    every = pl.DataFrame({
        "day": [date(1987, 6, 5), None], "number": [float("nan"), 0.1], "whole": [2**62, None], "flag": [None, True],
    })  # fmt: skip
    store.append(connection, "cell", every)
    assert_frame_equal(store.frame(connection, "FROM cell ORDER BY rowid"), every)


@pytest.mark.parametrize("count", [1, 500])
def test_no_frame_outlives_its_way_into_the_store(count):
    connection, found = store.connect(), rows(count)
    kept = weakref.ref(found)
    with store.transaction(connection):
        store.append(connection, "finding", found)
        with store.registered(connection, "named", found):
            assert connection.execute("SELECT count(*) FROM named").fetchall() == [(count,)]
        del found
        gc.collect()
        assert kept() is None


def test_a_name_is_free_again_where_the_work_failed():
    connection = store.connect()
    with pytest.raises(ZeroDivisionError), store.registered(connection, "named", rows(1)):
        1 / 0  # noqa: B018
    assert connection.execute("SELECT 1 FROM duckdb_views() WHERE view_name = 'named'").fetchall() == []
