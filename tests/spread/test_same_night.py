"""Nights in partitions leave the very rows of nights in one piece, whatever the number of partitions."""

from datetime import date
from pathlib import Path

import pytest

from benchmarks.exports import write_world
from tests.spread.conftest import ROOT, TABLES, rows_of
from triage import batch, catalogue, store
from triage.spread import Here, Spread


def night_of(place: Path, spread: Spread | None) -> tuple[dict[str, list[tuple]], dict[str, list[tuple]]]:
    """Return the rows of a night over the exports of a made world, and in which order some tables have theirs."""
    known = catalogue.load(ROOT / "rules", [place / "constructions.csv"], [place / "daily.toml"])
    with store.open_store(place / f"{spread and spread.partitions}.duckdb") as connection:
        batch.nightly(connection, known, [place / "exports"], date(2026, 11, 25), place / "reports", spread=spread)
        rows = {name: rows_of(connection, name) for (name,) in connection.execute(TABLES).fetchall()}
        ordered = {
            name: connection.execute(f"SELECT listing_id FROM {name} ORDER BY rowid").fetchall()
            for name in ("match", "match_evidence", "observation", "finding_fired", "finding_open", "life_led", "twin")
        }
    return rows, ordered


@pytest.fixture(scope="module")
def world(tmp_path_factory) -> Path:
    """Return a folder with exports of 800 listings of 40 releases."""
    place = tmp_path_factory.mktemp("world")
    write_world(place, 800, 40)
    # Without figures of its own a buyer goes by comparable pairs.
    buyer = (ROOT / "rules" / "buyers" / "daily.toml").read_text("utf-8").partition("[[want]]")[0]
    (place / "daily.toml").write_text(buyer, "utf-8")
    return place


@pytest.fixture(scope="module")
def whole(world) -> tuple[dict[str, list[tuple]], dict[str, list[tuple]]]:
    """Return the night in one piece."""
    rows, ordered = night_of(world, None)
    # What hangs on listings of other partitions is there to be got wrong.
    assert len(rows["twin"]) > 20
    assert any("comparable pairs of" in row for (row,) in rows["verdict"])
    assert any("price-far-below" in row for (row,) in rows["finding_fired"])
    return rows, ordered


@pytest.mark.parametrize("partitions", [1, 7])
def test_no_number_of_partitions_changes_a_row_or_the_order_of_listings(world, whole, partitions):
    rows, ordered = night_of(world, Spread(Here(), partitions))
    assert rows.keys() == whole[0].keys()
    for name, found in rows.items():
        assert found == whole[0][name], name
    assert ordered == whole[1]


def test_an_empty_night_is_the_same(tmp_path):
    known = catalogue.load(buyers=[ROOT / "rules" / "buyers" / "daily.toml"])
    found = []
    for spread in (None, Spread(Here(), 4)):
        connection = store.connect()
        batch.nightly(connection, known, [], date(2026, 11, 25), tmp_path / "r", spread=spread)
        found.append({name: rows_of(connection, name) for (name,) in connection.execute(TABLES).fetchall()})
    assert found[0] == found[1]
