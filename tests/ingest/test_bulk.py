"""The fast way for long clean tables gives the very rows of the slow way, or gives up."""

import json
from datetime import date

import pytest
from polluted import Variant, clean, variants, write

from triage.ingest import bulk, run
from triage.ingest.bulk import NotCleanError, store_bulk
from triage.ingest.readers import csv
from triage.ingest.rows import FileError, Settings
from triage.store import connect, frame, open_store, transaction

CLEAN = ("delimiter comma", "delimiter tab, all quoted", "line end CRLF", "5,000 rows", "three lines in each cell")


@pytest.fixture(scope="module")
def scratch():
    return connect()


def rows_fast(path, words, scratch):
    """Return the rows of the fast way; None when it gives up."""
    try:
        piece = next(csv.read(path, Settings(words, bulk_from=0, folder=path.parent)))
    except FileError:
        return None
    if piece.bulk is None:
        return None
    try:
        with transaction(scratch):
            scratch.execute("DELETE FROM raw_row")
            store_bulk(scratch, path.parent.name, piece.bulk)
    except NotCleanError:
        return None
    found = frame(scratch, "SELECT row_no, cells FROM raw_row ORDER BY row_no")
    return [(row_no, json.loads(cells)) for row_no, cells in found.rows()]


@pytest.mark.parametrize("most", [bulk.IN_MEMORY, -1], ids=["short enough to be numbered in memory", "longer"])
@pytest.mark.parametrize("variant", variants(), ids=lambda variant: variant.name)
def test_the_fast_way_gives_the_rows_of_the_slow_way_or_gives_up(
    variant: Variant, most: int, feeds, scratch, tmp_path, monkeypatch
):
    monkeypatch.setattr(bulk, "IN_MEMORY", most)
    path = tmp_path / "export.csv"
    path.write_bytes(variant.content)
    fast = rows_fast(path, feeds.words, scratch)
    if variant.name in CLEAN:
        assert fast is not None
    if fast is None:
        return
    pieces = list(csv.read(path, Settings(feeds.words)))
    slow = [(row_no, json.loads(cells)) for piece in pieces for row_no, cells in piece.rows.rows()]
    assert fast == slow
    assert not any(piece.broken or piece.skipped for piece in pieces)


def test_a_long_export_takes_the_fast_way_and_one_odd_row_far_down_is_still_refused(feeds, tmp_path):
    folder = tmp_path / "feeds"
    folder.mkdir()
    rows = clean()
    text = write([rows[0], *rows[1:] * 4_000]).text()
    (folder / "a.csv").write_text(text)
    (folder / "b.csv").write_text(text + "000001,lost the rest\n")
    with open_store(tmp_path / "t.duckdb") as store:
        notes = run(store, feeds, [folder], date(2026, 11, 25))
        assert [(note.rows_read, note.rows_rejected) for note in notes] == [(160_000, 0), (160_001, 1)]
        same = "SELECT count(*) FROM raw_row a JOIN raw_row b USING (row_no, cells) WHERE a.feed_id < b.feed_id"
        assert frame(store, same).item() == 160_000
