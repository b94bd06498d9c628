"""Nights that weigh only what is due leave the very tables that weighing everything would."""

import csv
import random
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from unittest.mock import patch

import pytest

from benchmarks.exports import write_world
from triage import batch, catalogue, due, rules, store
from triage.catalogue import Catalogue
from triage.prognosis.clocks import decimal_year

ROOT = Path(__file__).parent.parent
FIRST = date(2026, 11, 1)
NIGHTS = 5
# Tables that follow from the exports, the answers and the rules; call_history and run say when something was done.
DERIVED = ("match", "match_evidence", "observation", "prognosis", "finding", "posterior", "soundness", "verdict",
           "plan", "question", "sensitivity", "habit", "weighed")  # fmt: skip
# What stands once in the tables that have no index of it.
KEYS = {
    "twin": ("listing_id", "twin_id"), "twin_key": ("listing_id",), "match": ("listing_id", "place"),
    "life_led": ("listing_id", "place"),
    "life_part": ("life", "part", "horizon_years", "climate"), "weighed": ("listing_id",),
    "posterior": ("listing_id", "horizon_years", "climate", "part"),
    "soundness": ("listing_id", "horizon_years", "climate"), "verdict": ("listing_id", "buyer"),
    "plan": ("listing_id", "buyer", "plan"), "question": ("listing_id", "buyer", "place"),
    "sensitivity": ("listing_id", "buyer", "place"), "habit": ("source", "seller", "sentence"),
}  # fmt: skip


def rows_of(connection: store.Connection) -> dict[str, list[tuple]]:
    return {name: connection.execute(f"SELECT t::VARCHAR FROM {name} t ORDER BY 1").fetchall() for name in DERIVED}


def exports(place: Path) -> Path:
    """Write the whole list of a marketplace for some nights: pairs come and go, three sellers write all of them.

    One seller ends each text with a sentence of his own; prices fall; one pair is listed again under a new number.
    """
    chance = random.Random(5)
    with (ROOT / "demo_feeds/2026-11-24/harbour_auction.csv").open(encoding="utf-8", newline="") as stream:
        heading, *rows = csv.reader(stream)
    rows = [row for row in rows if len(row) == len(heading)][:40]
    at = {name: number for number, name in enumerate(heading)}
    for number, row in enumerate(rows):
        row[at["Seller"]] = f"seller_{number % 3}"
        row[at["State"]] = "open"
        if number % 3 == 0:
            row[at["Description"]] += " All shoes are cleaned and the soles checked before they leave us."
    shown = rows[:20]
    for night in range(NIGHTS):
        if night:
            gone = shown.pop(chance.randrange(len(shown)))
            again = [*gone]
            again[at["Item"]] = f"H9000{night}"
            shown += [rows[20 + night], again] if night == 2 else [rows[20 + night]]
            shown[0] = [*shown[0]]
            shown[0][at["Price"]] = f"{90 - night}.00"
        path = place / (FIRST + timedelta(days=night)).isoformat() / "harbour_auction.csv"
        path.parent.mkdir(parents=True)
        with path.open("w", encoding="utf-8", newline="") as stream:
            csv.writer(stream).writerows([heading, *shown])
    return place


def counted(connection: store.Connection, known: Catalogue, feeds: Path, day: date, reports: Path) -> int:
    """Run a night and return how many listings it weighed."""
    found: list[int] = []

    def kept(one: store.Connection, as_of: date) -> None:
        found.append(one.execute("SELECT count(*) FROM todo").fetchall()[0][0])
        keep(one, as_of)

    keep = due.keep
    with patch.object(due, "keep", kept):
        batch.nightly(connection, known, [feeds], day, reports)
    return found[0]


@pytest.fixture(scope="module")
def nights(known, tmp_path_factory) -> tuple[store.Connection, dict[str, list[tuple]], list[int]]:
    """Return a store after some nights, what it held, and how many listings each night weighed."""
    place = tmp_path_factory.mktemp("due")
    feeds, counts = exports(place / "feeds"), []
    with store.open_store(place / "t.duckdb") as connection:
        for night in range(NIGHTS):
            day = FIRST + timedelta(days=night)
            counts.append(counted(connection, known, feeds / day.isoformat(), day, place / "reports"))
        yield connection, rows_of(connection), counts


LAST = FIRST + timedelta(days=NIGHTS - 1)


def due_now(connection: store.Connection, known: Catalogue, day: date = LAST) -> set[str]:
    due.fill(connection, known, day)
    return {one for (one,) in connection.execute("SELECT listing_id FROM todo").fetchall()}


def ended(connection: store.Connection) -> list[str]:
    query = "SELECT listing_id FROM listing WHERE status <> 'open' ORDER BY listing_id"
    return [one for (one,) in connection.execute(query).fetchall()]


def test_weighing_everything_anew_changes_no_table(nights, known):
    connection, held, _ = nights
    assert len(ended(connection)) >= 4
    connection.execute("DELETE FROM weighed")
    batch.weigh(connection, known, LAST)
    anew = rows_of(connection)
    assert all(held[name] for name in DERIVED if name not in ("sensitivity", "question", "plan"))
    assert [name for name in DERIVED if anew[name] != held[name]] == []


@pytest.mark.parametrize("table", KEYS)
def test_what_stands_once_stands_once(nights, market, table):
    found, key = 0, ", ".join(KEYS[table])
    for connection, *_ in (nights, market):
        query = f"SELECT count(*), count(DISTINCT ({key})) FROM {table}"
        ((rows, distinct),) = connection.execute(query).fetchall()
        assert rows == distinct
        found += rows
    assert found > 0


def test_what_is_gone_is_left_alone(nights, known):
    connection, _, counts = nights
    ((listings,),) = connection.execute("SELECT count(*) FROM listing").fetchall()
    assert max(counts) < listings
    assert due_now(connection, known).isdisjoint(ended(connection))
    # On another night too.
    assert due_now(connection, known, LAST + timedelta(days=30)).isdisjoint(ended(connection))


@pytest.fixture
def tried(nights) -> Iterator[store.Connection]:
    """Return the store, for changes that are taken back."""
    connection = nights[0]
    connection.execute("BEGIN")
    yield connection
    connection.execute("ROLLBACK")


def test_an_answer_on_a_pair_that_is_gone_has_it_weighed(tried, known):
    gone = ended(tried)[0]
    tried.execute("INSERT INTO answer BY NAME SELECT ? AS listing_id, 'midsole_springy' AS sign, ?::DATE AS "
                  "answered_on, 'answer' AS said_by, 'affirmed' AS state", [gone, LAST])  # fmt: skip
    assert set(ended(tried)) & due_now(tried, known) == {gone}


def test_other_words_of_a_seller_have_his_other_pairs_weighed(tried, known):
    ((gone, seller),) = tried.execute(
        "SELECT listing_id, seller FROM listing WHERE listing_id = ?", [ended(tried)[0]]
    ).fetchall()
    theirs = {one for (one,) in tried.execute("SELECT listing_id FROM listing WHERE seller = ?", [seller]).fetchall()}
    tried.execute("UPDATE listing SET body = body || ' New.' WHERE seller = ? AND status = 'open'", [seller])
    assert gone in theirs
    assert set(ended(tried)) & due_now(tried, known) == set(ended(tried)) & theirs


def test_other_rules_have_everything_weighed(nights, known):
    connection, _, _ = nights
    assert set(ended(connection)) <= due_now(connection, replace(known, sha256_without_buyers="other"))


def test_a_pair_that_is_gone_is_as_old_as_when_last_seen(nights):
    query = """
    SELECT l.status = 'open', l.last_seen, p.age_years, (p.made_lo + p.made_hi) / 2
    FROM listing l
    JOIN prognosis p USING (listing_id)
    WHERE p.part = 'upper' AND p.material <> '?' AND p.made_hi < 2026
    """
    found = nights[0].execute(query).fetchall()
    assert {on_offer for on_offer, *_ in found} == {True, False}
    for on_offer, seen, age, made in found:
        month = (LAST if on_offer else seen).replace(day=1)
        assert age == pytest.approx(decimal_year(month) - made, abs=1e-9)


@pytest.fixture(scope="module")
def market(tmp_path_factory) -> tuple[store.Connection, Catalogue, dict[date, tuple[int, int]]]:
    """Return a store after nights on which many pairs of few releases come, go and change their price.

    And of each night how many listings were on offer and how many it weighed.
    """
    place = tmp_path_factory.mktemp("market")
    write_world(place, 600, 80)
    # Without figures of its own a buyer goes by comparable pairs.
    buyer = (ROOT / "rules" / "buyers" / "daily.toml").read_text("utf-8").partition("[[want]]")[0]
    (place / "daily.toml").write_text(buyer, "utf-8")
    known = catalogue.load(ROOT / "rules", [place / "constructions.csv"], [place / "daily.toml"])
    lines = (place / "exports/harbour_auction.csv").read_text("utf-8").replace("USD", "EUR").splitlines()
    weighed = {}
    with store.open_store(place / "t.duckdb") as connection:
        for number, day in enumerate(MARKET_DAYS):
            shown = [
                line.replace(".00,", f".{number}0,", 1) if at % 60 == number else line
                for at, line in enumerate(lines[1 + 2 * number : 230 + 2 * number])
            ]
            feeds = place / day.isoformat()
            feeds.mkdir()
            (feeds / "harbour_auction.csv").write_text("\n".join([lines[0], *shown]) + "\n", "utf-8")
            count = counted(connection, known, feeds, day, place / "reports")
            ((on_offer,),) = connection.execute("SELECT count(*) FROM listing WHERE status = 'open'").fetchall()
            weighed[day] = (on_offer, count)
        yield connection, known, weighed


MARKET_DAYS = [date(2026, 10, 28), date(2026, 10, 29), date(2026, 10, 30), date(2026, 11, 2), date(2026, 11, 3)]


def test_what_others_ask_and_are_worth_is_followed_too(market):
    connection, known, _ = market
    held = rows_of(connection)
    assert any("price-far-below" in row or "a-heap" in row for (row,) in held["finding"])
    assert any("comparable pairs of" in row for (row,) in held["verdict"])
    connection.execute("DELETE FROM weighed")
    batch.weigh(connection, known, MARKET_DAYS[-1])
    anew = rows_of(connection)
    assert [name for name in DERIVED if anew[name] != held[name]] == []


def test_of_rules_left_open_those_sets_are_kept_that_some_listing_leaves_open(market):
    connection, _, _ = market
    left, told = (
        {number for (number,) in connection.execute(f"SELECT DISTINCT open_set FROM {table}").fetchall()}
        for table in ("finding_open", "open_rule")
    )
    assert len(left) > 10
    assert left == told
    twice = "SELECT 1 FROM open_rule GROUP BY open_set, rule_id, part HAVING count(*) > 1"
    assert connection.execute(twice).fetchall() == []


def test_a_set_that_nobody_leaves_open_any_more_goes_with_the_next_night(market):
    connection, known, _ = market
    numbers = "SELECT DISTINCT open_set FROM open_rule ORDER BY open_set"
    connection.execute("BEGIN TRANSACTION")
    try:
        gone, *others = connection.execute(numbers).fetchall()
        connection.execute("DELETE FROM finding_open WHERE open_set = ?", gone)
        connection.execute("CREATE OR REPLACE TEMP TABLE todo AS SELECT listing_id FROM listing LIMIT 0")
        rules.run(connection, known.rules, known.facts, known.signs)
        assert connection.execute(numbers).fetchall() == others
    finally:
        connection.execute("ROLLBACK")


def test_only_the_turn_of_a_month_has_all_on_offer_weighed(market):
    _, _, weighed = market
    first, *later = MARKET_DAYS
    for day in later:
        on_offer, count = weighed[day]
        assert (count >= on_offer) == (day.month != first.month and day == date(2026, 11, 2)), (day, weighed)


def test_the_same_night_again_weighs_nothing(market):
    connection, known, _ = market
    due.fill(connection, known, MARKET_DAYS[-1])
    assert connection.execute("SELECT count(*) FROM todo").fetchall() == [(0,)]
    due.look_beside(connection, known, MARKET_DAYS[-1], widen=True)
    due.look_at_worth(connection, known, widen=True)
    assert connection.execute("SELECT count(*) FROM todo").fetchall() == [(0,)]


def test_another_buyer_has_what_is_on_offer_weighed_and_nothing_else(market):
    connection, known, weighed = market
    due.fill(connection, known, MARKET_DAYS[-1])
    daily = known.buyers["daily"]
    other = {"daily": daily.model_copy(update={"margin_minor": daily.margin_minor + 100})}
    due.look_beside(connection, replace(known, buyers=other), MARKET_DAYS[-1], widen=True)
    assert connection.execute("SELECT count(*) FROM todo").fetchall() == [(weighed[MARKET_DAYS[-1]][0],)]
