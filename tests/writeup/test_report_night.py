"""The account of the night and what changed: every row somewhere, every change with its two nights."""

from collections.abc import Callable
from datetime import date
from typing import Any

import polars as pl
import pytest
from made_night import AS_OF, BEFORE, whole_night

from triage.store import Connection
from triage.writeup.calls import best_calls
from triage.writeup.changes import Changes, call_changes, changes_of, price_changes
from triage.writeup.frames import read_night
from triage.writeup.night import account_of

Tables = dict[str, list[dict[str, Any]]]
StoreOf = Callable[[Tables], Connection]


def changes(store: Connection) -> Changes | None:
    night = read_night(store, AS_OF)
    calls = best_calls(night.listing, night.verdict, {})
    leads = pl.concat([calls.buy, calls.ask, calls.near, calls.skip])
    return changes_of(night, leads, call_changes(None, leads))


def test_every_row_read_is_a_new_listing_a_further_sighting_or_a_reject(store: Connection) -> None:
    account = account_of(read_night(store, AS_OF))
    assert [(f.name, f.read, f.new, f.further, f.refused) for f in account.feeds] == [
        ("attic board", 3, 1, 1, 1),
        ("harbour auction", 2, 2, 0, 0),
        ("lantern flea", 1, 1, 0, 0),
    ]
    assert all(feed.adds_up for feed in account.feeds)
    assert (account.total.read, account.total.new, account.total.further, account.total.refused) == (6, 4, 1, 1)


def test_exports_of_an_earlier_report_are_one_line(store: Connection) -> None:
    account = account_of(read_night(store, AS_OF))
    assert account.earlier is not None
    assert (account.earlier.name, account.earlier.read, account.earlier.adds_up) == ("1 earlier export", 3, True)


def test_without_an_earlier_report_all_exports_are_accounted_for(store_of: StoreOf) -> None:
    account = account_of(read_night(store_of(whole_night() | {"run": []}), AS_OF))
    assert len(account.feeds) == 4
    assert account.earlier is None


def test_a_row_that_went_nowhere_is_seen(store_of: StoreOf) -> None:
    tables = whole_night()
    tables["sighting"] = [row for row in tables["sighting"] if row["feed_id"] != "f3"]
    account = account_of(read_night(store_of(tables), AS_OF))
    assert [feed.adds_up for feed in account.feeds] == [True, True, False]
    assert not account.total.adds_up


def test_a_row_refused_for_two_fields_is_one_reject(store_of: StoreOf) -> None:
    tables = whole_night()
    refused = next(row for row in tables["reject"] if row["feed_id"] == "f2")
    tables["reject"].append(refused | {"field": "title", "code": "no-title"})
    account = account_of(read_night(store_of(tables), AS_OF))
    assert account.feeds[0].refused == 1
    assert len(account.rejects) == 3


def test_a_reject_says_where_what_and_what_was_expected(store: Connection) -> None:
    line = account_of(read_night(store, AS_OF)).rejects[0]
    assert (line.place, line.field, line.value, line.expected) == (
        "2026-11-25/attic_board.csv, row 3", "price", "=1+1", "an amount such as 95,00",
    )  # fmt: skip


def test_a_price_drop_shows_its_path(store: Connection) -> None:
    found = changes(store)
    assert found is not None
    assert [line.words.replace("\u00a0", " ") for line in found.prices] == ["EUR 90 → EUR 70 (down 22 %), buy"]


def test_new_listings_are_those_first_seen_after_the_night_before(store: Connection) -> None:
    found = changes(store)
    assert found is not None
    assert found.new_counts == "0 buys, 1 ask, 2 skips"
    assert [line.source for line in found.new] == ["lantern flea"]


def test_gone_is_what_an_export_of_tonight_no_longer_shows(store: Connection) -> None:
    found = changes(store)
    assert found is not None
    assert [line.title for line in found.left] == ["Tavrelin Mid 43"]


def test_a_marketplace_not_exported_tonight_loses_nothing(store_of: StoreOf) -> None:
    tables = {name: [row for row in rows if row.get("feed_id") != "f2"] for name, rows in whole_night().items()}
    earlier = next(row for row in tables["feed"] if row["feed_id"] == "f1")
    tables["feed"].append(earlier | {"feed_id": "f0", "sha256": "f0" * 8, "seen_on": date(2026, 11, 23)})
    gone = next(row for row in tables["listing"] if row["status"] == "gone")
    gone |= {"first_seen": date(2026, 11, 23), "last_seen": date(2026, 11, 23)}
    found = changes(store_of(tables))
    assert found is not None
    assert found.left == ()


def test_a_first_night_has_nothing_to_compare_with(store_of: StoreOf) -> None:
    tables = whole_night()
    tables["feed"] = [row for row in tables["feed"] if row["feed_id"] != "f1"]
    assert changes(store_of(tables)) is None


@pytest.mark.parametrize(
    ("prices", "shown"),
    [
        ([(BEFORE, 9000, "EUR"), (AS_OF, 7000, "EUR")], ["a/1"]),
        ([(AS_OF, 7000, "EUR")], []),
        ([(BEFORE, 9000, "EUR"), (BEFORE, 8000, "EUR")], []),
        ([(BEFORE, 9000, "EUR"), (AS_OF, 9000, "USD")], []),
    ],
    ids=["dropped tonight", "new tonight", "dropped the night before", "other currency"],
)
def test_only_a_change_of_tonight_in_one_currency_counts(prices: list[Any], shown: list[str]) -> None:
    path = pl.DataFrame(
        [("a/1", *price) for price in prices],
        schema=["listing_id", "seen_on", "price_minor", "currency"],
        orient="row",
    )
    assert price_changes(path, BEFORE)["listing_id"].to_list() == shown


def test_what_was_gone_before_the_last_two_nights_is_not_read(store_of: StoreOf) -> None:
    tables = whole_night()
    gone = {"status": "gone", "first_seen": date(2024, 1, 1), "last_seen": date(2024, 2, 1)}
    tables["listing"] = [*tables["listing"], tables["listing"][0] | gone | {"listing_id": "attic board/years-ago"}]
    connection = store_of(tables)
    assert connection.execute("SELECT count(*) FROM listing WHERE last_seen < '2025-01-01'").fetchall() == [(1,)]
    read = read_night(connection, AS_OF).listing["listing_id"]
    assert sorted(read) == sorted(row["listing_id"] for row in whole_night()["listing"])
