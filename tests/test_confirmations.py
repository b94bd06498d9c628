"""Releases a user knows for certain: recorded, fitted to, and what the tables lack."""

from datetime import date
from pathlib import Path

import polars as pl
import pytest

from triage import batch, catalogue, store
from triage.errors import TriageError
from triage.learning.refit import refit, report_text

ROOT = Path(__file__).parent.parent
AS_OF = date(2026, 11, 25)


@pytest.fixture(scope="module")
def night(tmp_path_factory):
    place = tmp_path_factory.mktemp("night")
    known = catalogue.load(ROOT / "rules")
    with store.open_store(place / "t.duckdb") as connection:
        batch.nightly(connection, known, [ROOT / "demo_feeds" / "2026-11-24"], AS_OF, place / "reports")
        yield connection, known


@pytest.fixture(scope="module")
def truth() -> pl.DataFrame:
    rows = pl.read_csv(ROOT / "tests" / "demo_truth.csv", infer_schema=False)
    return rows.filter((pl.col("kind") == "pair") & (pl.col("night") == "2026-11-24")).with_columns(
        listing_id=pl.format("{}/{}", "source", "external_id")
    )


def test_a_listing_or_release_that_does_not_exist_is_refused(night):
    connection, known = night
    with pytest.raises(TriageError, match="nowhere/1"):
        batch.confirm(connection, known, "nowhere/1", "HD-04", AS_OF)
    with pytest.raises(TriageError, match="XX-99"):
        batch.confirm(connection, known, "attic board/D03", "XX-99", AS_OF)
    assert connection.execute("SELECT count(*) FROM confirmation").fetchall() == [(0,)]


def test_too_few_confirmations_fit_nothing(night, tmp_path):
    connection, known = night
    with pytest.raises(TriageError, match="0 confirmed releases"):
        refit(connection, known, tmp_path / "rules", AS_OF)
    assert not (tmp_path / "rules").exists()


def test_weights_fitted_to_confirmed_releases_are_new_rules_and_overwrite_nothing(night, truth, tmp_path):
    connection, known = night
    for listing, release in truth.head(120).select("listing_id", "true_release").iter_rows():
        batch.confirm(connection, known, listing, "none" if release == "-" else release, AS_OF)
    before = (known.folder / "match" / "weights.toml").read_text("utf-8")
    report = refit(connection, known, tmp_path / "rules", AS_OF)
    assert "120 confirmed releases" in report_text(report)
    assert (known.folder / "match" / "weights.toml").read_text("utf-8") == before
    assert (tmp_path / "rules" / "match" / "weights.toml").read_text("utf-8") != before
    assert catalogue.load(tmp_path / "rules").match_weights != known.match_weights
    with pytest.raises(TriageError, match="exists already"):
        refit(connection, known, tmp_path / "rules", AS_OF)


def test_what_is_offered_often_and_in_no_table_comes_as_rows_to_fill(night):
    connection, known = night
    told = batch.gaps_text(connection, known)
    rows = [line for line in told.splitlines() if not line.startswith("#")]
    comments = [line for line in told.splitlines() if line.startswith("#")]
    assert rows
    assert len(rows) == len(comments)
    assert all(row.count(",") >= 20 for row in rows)
