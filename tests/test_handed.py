"""Tables as several stages read them: whose word holds, what year was stated, and lives of few pairs."""

import polars as pl
import pytest

from triage import store
from triage.handed import Lives, read_said
from triage.store import Connection
from triage.verdict.beliefs import weigh_signs


@pytest.fixture
def connection() -> Connection:
    """Return a store in which everybody spoke of one sign, each contradicting the one before, in no order."""
    connection = store.connect()
    rows = [
        ("b", "midsole_springy", "inspection", "denied", None),
        ("a", "midsole_springy", "buyer", "denied", None),
        ("a", "midsole_springy", "listing", "affirmed", None),
        ("a", "midsole_springy", "inspection", "affirmed", None),
        ("a", "midsole_springy", "answer", "affirmed", None),
        ("a", "date_proof_shown", "listing", "affirmed", "1994"),
        ("a", "sole_swapped", "listing", "affirmed", "in spring"),
        ("c", "midsole_springy", "listing", "affirmed", None),
    ]
    names = ("listing_id", "sign", "said_by", "state", "value")
    said = pl.DataFrame(rows, schema=dict.fromkeys(names, pl.String), orient="row")
    store.append(connection, "observation", said.with_columns(hedged=False, counts=True, field=pl.lit("body")))
    connection.execute("CREATE TEMP TABLE todo AS SELECT unnest(['a', 'b']) AS listing_id")
    return connection


def test_the_word_that_holds_comes_last(connection):
    said = read_said(connection)
    assert said["listing_id"].to_list() == ["a"] * 6 + ["b"]
    springy = said.filter(listing_id="a", sign="midsole_springy")
    assert springy["said_by"].to_list() == ["listing", "answer", "buyer", "inspection"]


@pytest.mark.parametrize(("silent", "state"), [(("inspection",), "denied"), (("inspection", "buyer"), "affirmed")])
def test_the_strongest_speaker_decides(connection, known, silent, state):
    connection.execute("DELETE FROM observation WHERE list_contains($1::VARCHAR[], said_by)", [list(silent)])
    counted = read_said(connection, signs=["midsole_springy"]).filter("counts", listing_id="a")
    weighed = weigh_signs(counted, known.signs, frozenset())
    assert weighed["state"].to_list() == [state]
    assert weighed["said_by"].to_list() == [counted["said_by"][-1]]


def test_a_year_is_a_whole_number_or_none(connection):
    years = read_said(connection, signs=["date_proof_shown", "sole_swapped"])
    assert dict(years.select("sign", "year").iter_rows()) == {"date_proof_shown": 1994, "sole_swapped": None}


def test_lives_in_one_outlook_are_those_of_that_outlook():
    parts = pl.DataFrame({
        "life": [1, 1, 2, 2], "horizon_years": [1.0, 2.0, 1.0, 2.0], "climate": ["c"] * 4, "part": ["bond"] * 4,
    })  # fmt: skip
    lives = Lives(pl.DataFrame({"listing_id": ["a", "b"], "place": [1, 1], "life": [1, 2]}), parts)
    assert lives.of_first_outlook().parts.equals(parts.filter(horizon_years=1.0))
    assert lives.of((2.0, "c")).parts.equals(parts.filter(horizon_years=2.0))
    assert Lives(lives.led, parts.clear()).of_first_outlook().parts.is_empty()
