"""Frames on their way into the store: every cell arrives, whichever way it goes, and no frame stays behind."""

import gc
import weakref
from datetime import date

import duckdb
import polars as pl
import pytest
from polars.testing import assert_frame_equal

from triage import store

ROW = {
    "listing_id": "a", "place": 1, "rule_id": "r", "part": "midsole", "grouping": None, "state": "open",
    "decibans": -1.5, "because": "'; DROP TABLE told; --\x00\n靴", "missing": ["x", "y"],
}  # fmt: skip


def rows(count: int) -> pl.DataFrame:
    every = [ROW | {"place": place, "missing": None if place % 3 else ["x"] * (place % 2)} for place in range(count)]
    return pl.DataFrame(every, schema_overrides={"grouping": pl.String, "missing": pl.List(pl.String)})


@pytest.fixture
def connection():
    """Return a store with a table of a column of each kind that the contract has."""
    connection = store.connect()
    connection.execute(
        "CREATE TABLE told (listing_id VARCHAR, place INTEGER, rule_id VARCHAR, part VARCHAR, grouping VARCHAR, "
        "state VARCHAR, decibans DOUBLE, because VARCHAR, missing VARCHAR[])"
    )
    return connection


@pytest.mark.parametrize("count", [1, 4, 5, 64, 65, 500])
def test_a_frame_arrives_whole_as_values_as_lists_and_as_a_view_alike(connection, count):
    assert rows(4).height * rows(4).width <= store.FEW_CELLS < rows(5).height * rows(5).width
    assert store.FEW_ROWS == 64
    store.append(connection, "told", rows(count))
    assert_frame_equal(store.frame(connection, "FROM told ORDER BY rowid"), rows(count), check_dtypes=False)


@pytest.mark.parametrize("times", [1, 20, 50])
def test_days_numbers_and_what_is_no_number_arrive(times):
    connection = store.connect()
    connection.execute("CREATE TEMP TABLE cell (day DATE, number DOUBLE, whole BIGINT, flag BOOLEAN)")
    every = pl.DataFrame({
        "day": [date(1987, 6, 5), None] * times, "number": [float("nan"), 0.1] * times, "whole": [2**62, None] * times,
        "flag": [None, True] * times,
    })  # fmt: skip
    store.append(connection, "cell", every)
    assert_frame_equal(store.frame(connection, "FROM cell ORDER BY rowid"), every)


@pytest.mark.parametrize("count", [1, 500])
def test_no_frame_outlives_its_way_into_the_store(connection, count):
    found = rows(count)
    kept = weakref.ref(found)
    with store.transaction(connection):
        store.append(connection, "told", found)
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


def test_a_query_asked_again_is_answered_by_what_is_there_now():
    connection = store.connect()
    query = "\nSELECT life, kind FROM told ORDER BY life\n"
    connection.execute("CREATE TABLE told AS SELECT 1 AS life, 'a' AS kind")
    for _ in range(2):
        assert store.frame(connection, query).rows() == [(1, "a")]
    connection.execute("INSERT INTO told VALUES (2, 'b')")
    assert store.frame(connection, query).rows() == [(1, "a"), (2, "b")]
    # Other columns, another connection, nothing there.
    connection.execute("CREATE OR REPLACE TABLE told AS SELECT 'x' AS life, 0.5 AS kind")
    assert store.frame(connection, query).rows() == [("x", 0.5)]
    other = store.connect()
    other.execute("CREATE TABLE told AS SELECT 7 AS life, 'c' AS kind")
    assert store.frame(other, query).rows() == [(7, "c")]
    connection.execute("DROP TABLE told")
    with pytest.raises(duckdb.CatalogException):
        store.frame(connection, query)
    for name, life in (("shown", 3), ("shown", 4)):
        with store.registered(connection, name, pl.DataFrame({"life": [life]})):
            assert store.frame(connection, "FROM shown").rows() == [(life,)]


def test_what_a_query_does_is_done_each_time_it_is_asked():
    connection = store.connect()
    connection.execute("CREATE SEQUENCE number")
    connection.execute("CREATE TABLE told (life INTEGER)")
    assert [store.frame(connection, "SELECT nextval('number') AS n").item() for _ in range(3)] == [1, 2, 3]
    grown = [store.frame(connection, "INSERT INTO told VALUES (1) RETURNING life").height for _ in range(3)]
    assert grown == [1, 1, 1]
    assert store.frame(connection, "SELECT count(*) FROM told").item() == 3
