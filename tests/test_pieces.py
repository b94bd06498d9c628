"""A night too long to be held at once is done in pieces, and leaves the very rows and files of one done in one."""

from datetime import date
from importlib import import_module
from pathlib import Path

import pytest

from benchmarks.exports import write_world
from triage import batch, catalogue, store

ROOT = Path(__file__).parents[1]
TABLES = "SELECT table_name FROM duckdb_tables() WHERE NOT temporary ORDER BY table_name"
# How much is held at once, as large nights meet it; here a few hundred listings meet each many times over.
BOUNDS = {
    "ingest.readers.csv._PIECE_CHARACTERS": 4_000,
    "listing.BATCH_ROWS": 300,
    "listing.normalise.ONE_CHUNK_ROWS": 50,
    "listing.normalise.CHUNK_ROWS": 70,
    "listing.twins.CHUNK_COUPLES": 40,
    "listing.twins.LISTINGS_AT_ONCE": 45,
    "match.link.BATCH": 90,
    "match.repair.BATCH": 7,
    "observation.LISTINGS_AT_ONCE": 60,
    "observation.habit.TEXTS_AT_ONCE": 60,
    "prognosis.BLOCK_LIVES": 50,
    "prognosis.chances.CHUNK_ROWS": 30,
    "rules.findings.LISTINGS_AT_ONCE": 110,
    "rules.findings.SLICE_ROWS": 64,
    "rules.locked.BATCH_ROWS": 16,
    "verdict.history.LISTINGS_AT_ONCE": 130,
    "verdict.chunks.CHUNK_LISTINGS": 75,
    "verdict.chunks.LEAST_LISTINGS": 75,
    "verdict.believing.BLOCK": 20,
    "verdict.looks.BLOCK": 20,
    "writeup.tables.PIECE_ROWS": 33,
}  # fmt: skip


def night_of(place: Path, name: str) -> tuple[dict[str, list[tuple]], dict[str, bytes]]:
    """Return every row of the store, whatever their order, and every file of the report."""
    buyers = [ROOT / "rules" / "buyers" / f"{one}.toml" for one in ("bench", "daily")]
    known = catalogue.load(ROOT / "rules", [place / "constructions.csv"], buyers)
    out = place / f"reports {name}"
    with store.open_store(place / f"{name}.duckdb") as connection:
        batch.nightly(connection, known, [place / "exports"], date(2026, 11, 25), out)
        rows = {}
        for (table,) in connection.execute(TABLES).fetchall():
            shown = "* EXCLUDE (started_at, finished_at)" if table == "run" else "*"
            query = f"SELECT CAST(t AS VARCHAR) FROM (SELECT {shown} FROM {table}) t ORDER BY 1"
            rows[table] = connection.execute(query).fetchall()
    return rows, {path.relative_to(out).as_posix(): path.read_bytes() for path in out.rglob("*") if path.is_file()}


def test_a_night_in_pieces_leaves_the_very_rows_and_files_of_one_in_one_piece(
    tmp_path, monkeypatch: pytest.MonkeyPatch
):
    write_world(tmp_path, 800, 40)
    rows, files = night_of(tmp_path, "whole")
    for table in ("twin", "match", "observation", "life_part", "finding_fired", "open_rule", "verdict", "question"):
        assert len(rows[table]) > 20, table
    for name, bound in BOUNDS.items():
        module, _, constant = f"triage.{name}".rpartition(".")
        assert getattr(import_module(module), constant) > bound
        monkeypatch.setattr(import_module(module), constant, bound)
    in_pieces, written = night_of(tmp_path, "pieces")
    for table, found in rows.items():
        assert in_pieces[table] == found, table
    assert written == files
