"""A night weighs what is on offer; what is gone keeps what was read of it and costs no time."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from tests.faults.common import NIGHTS, ROOT, small_feeds
from triage import batch, catalogue
from triage.due import LATE_DAYS, due
from triage.store import connect, frame

LAST = date.fromisoformat(NIGHTS[1])
LATER = LAST + timedelta(days=30)
GONE = "SELECT listing_id FROM listing WHERE status <> 'open' AND kind = 'pair' ORDER BY listing_id"
SOUND = "SELECT * FROM soundness WHERE listing_id IN ({}) ORDER BY ALL"


@pytest.fixture(scope="module")
def known():
    return catalogue.load(buyers=[ROOT / "rules" / "buyers" / "bench.toml"])


@pytest.fixture(scope="module")
def made(known, tmp_path_factory):
    """Return a store with two nights behind it, after which some listings are gone, and its folder."""
    place = tmp_path_factory.mktemp("due")
    feeds = small_feeds(place / "feeds", rows=15)
    store = connect()
    for night in NIGHTS:
        batch.nightly(store, known, [feeds], date.fromisoformat(night), place / "reports")
    return store, place


def test_what_is_gone_for_long_is_left_as_it_is_and_what_is_on_offer_ages(made, known):
    store, place = made
    gone, open_ = frame(store, GONE), "SELECT listing_id FROM listing WHERE status = 'open'"
    assert gone.height > 1
    weighed = due(store, known, LATER)
    assert weighed is not None
    assert not set(weighed) & set(gone["listing_id"])
    assert set(frame(store, open_)["listing_id"]) <= set(weighed)
    before = [frame(store, SOUND.format(which)) for which in (GONE.split(" ORDER")[0], open_)]
    batch.nightly(store, known, [place / "feeds"], LATER, place / "reports")
    after = [frame(store, SOUND.format(which)) for which in (GONE.split(" ORDER")[0], open_)]
    assert after[0].equals(before[0])
    assert before[0].height > 0
    assert not after[1].equals(before[1])


def test_what_went_lately_is_weighed_and_has_no_call(made, known):
    store, _ = made
    gone = set(frame(store, GONE)["listing_id"])
    assert gone <= set(due(store, known, LAST + timedelta(days=LATE_DAYS - 2)) or ())
    assert not gone & set(frame(store, "SELECT listing_id FROM verdict")["listing_id"])


def test_a_call_on_what_is_gone_is_taken_back_however_long_ago_that_was(made, known):
    store, _ = made
    store.execute("BEGIN TRANSACTION")
    store.execute(
        "INSERT INTO verdict BY NAME SELECT * REPLACE (? AS listing_id) FROM verdict LIMIT 1",
        [gone := frame(store, GONE)["listing_id"][0]],
    )
    assert gone in (due(store, known, LATER) or ())
    store.execute("ROLLBACK")


def test_other_rules_weigh_everything(made, known):
    store, _ = made
    assert due(store, replace(known, sha256="other"), LATER) is None
    assert due(connect(), known, LATER) is None
