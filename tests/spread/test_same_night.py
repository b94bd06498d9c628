"""Nights over a cluster leave the very bytes of nights in one process."""

from datetime import date

from benchmarks.exports import write_world
from tests.spread.conftest import ROOT, Left, rows_of
from triage import batch, catalogue, store
from triage.spread import Here, Spread

AS_OF = date(2026, 11, 25)


def test_two_nights_with_answers_are_the_same_over_four_parts_row_for_row_and_byte_for_byte(
    tmp_path, one_buyer, here, spread
):
    left = Left(tmp_path, one_buyer, spread)
    assert len(left.tables["verdict"]) > 400
    assert len(left.tables["twin"]) > 0
    assert len(left.tables["call_history"]) > len(left.tables["verdict"]) / 2
    left.is_as(here)


def test_no_number_of_parts_changes_a_row(tmp_path):
    write_world(tmp_path, 1500, 60)
    known = catalogue.load(ROOT / "rules", [tmp_path / "constructions.csv"])
    found = {}
    for parts in (None, 1, 3, 11):
        place = tmp_path / str(parts)
        place.mkdir()
        spread = None if parts is None else Spread(Here(), parts)
        with store.open_store(place / "t.duckdb") as connection:
            batch.nightly(connection, known, [tmp_path / "exports"], AS_OF, place / "reports", spread=spread)
            names = ("listing", "twin", "match", "finding", "soundness", "verdict", "plan", "question", "sensitivity")
            found[parts] = {name: rows_of(connection, name) for name in names}
    comparable = [row for (row,) in found[None]["verdict"] if "comparable pairs of" in row]
    assert comparable, "the reduction of comparable offers has something to reduce"
    for parts, tables in found.items():
        for name, rows in tables.items():
            assert rows == found[None][name], (parts, name)
