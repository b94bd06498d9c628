"""The contract between the stages, and that stages meet nowhere else."""

import ast
from pathlib import Path

import duckdb
import pytest

import triage
from triage import store

PACKAGE = Path(triage.__file__).parent
STAGES = ("ingest", "listing", "match", "observation", "prognosis", "rules", "verdict", "writeup")

# Tables and columns that other tools rely on.
PROMISED = {
    "run": "run_id as_of started_at finished_at rules_sha256 counts",
    "feed": "feed_id path sha256 reader source rows_read rows_rejected",
    "raw_row": "feed_id row_no cells",
    "reject": "feed_id row_no field stage value code hint",
    "listing": "listing_id source external_id url seller title body language price_minor currency price_base_minor "
    "shipping_minor ships_from size_text size_system foot_mm_lo foot_mm_hi condition stated_year_lo stated_year_hi "
    "kind first_seen last_seen status",
    "sighting": "listing_id feed_id row_no seen_on price_minor currency status",
    "twin": "listing_id twin_id kind probability why",
    "match": "listing_id place construction_id level probability accepted",
    "match_evidence": "listing_id construction_id field listing_value table_value weight",
    "observation": "listing_id sign said_by state hedged quote start language",
    "prognosis": "listing_id place part material age_years effective_years p_unfit_lo p_unfit p_unfit_hi basis",
    "finding": "listing_id place rule_id part decibans because",
    "verdict": "listing_id buyer call plan rank p_wearable_lo p_wearable p_wearable_hi weak_part value_minor "
    "landed_minor surplus_minor offer_minor ask_gain_minor reason",
    "question": "listing_id buyer place sign fact text language gain_minor if_yes if_no",
    "answer": "listing_id sign answered_on state text",
    "inspection": "listing_id part inspected_on state wears note",
}


@pytest.fixture(scope="module")
def contract():
    connection = store.connect(comments=True)
    yield connection
    connection.close()


@pytest.mark.parametrize("table", sorted(PROMISED))
def test_a_promised_table_has_its_promised_columns(contract, table):
    found = contract.execute("SELECT column_name FROM duckdb_columns() WHERE table_name = ?", [table]).fetchall()
    assert set(PROMISED[table].split()) <= {name for (name,) in found}


def test_every_table_has_a_comment(contract):
    query = "SELECT table_name FROM duckdb_tables() WHERE NOT internal AND coalesce(comment, '') = ''"
    assert contract.execute(query).fetchall() == []


def test_every_column_has_a_comment(contract):
    query = """
        SELECT table_name, column_name FROM duckdb_columns()
        WHERE NOT internal AND coalesce(comment, '') = ''
    """
    assert contract.execute(query).fetchall() == []
    total = contract.execute("SELECT count(*) FROM duckdb_columns() WHERE NOT internal").fetchall()[0][0]
    assert total > 150


def test_comments_are_all_that_is_left_out_without_them(contract):
    bare = store.connect()
    kept = "SELECT table_name, column_name, data_type, is_nullable, column_default FROM duckdb_columns() ORDER BY ALL"
    for query in (kept, "SELECT table_name, constraint_text FROM duckdb_constraints() ORDER BY ALL"):
        assert bare.execute(query).fetchall() == contract.execute(query).fetchall()
    assert bare.execute("SELECT count(comment) FROM duckdb_columns() WHERE NOT internal").fetchall() == [(0,)]
    bare.close()


def test_the_contract_refuses_what_its_checks_forbid(contract):
    with pytest.raises(duckdb.ConstraintException):
        contract.execute("INSERT INTO answer VALUES ('x', 'y', DATE '2026-01-01', 'answer', 'perhaps', NULL)")


def imports_of(path: Path) -> set[str]:
    """Return every module a file imports, as dotted names."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module)
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
    return found


@pytest.mark.parametrize("stage", STAGES)
def test_no_stage_imports_another(stage):
    files = sorted((PACKAGE / stage).rglob("*.py"))
    assert files, f"stage {stage} has no code"
    others = tuple(f"triage.{other}" for other in STAGES if other != stage)
    for path in files:
        strangers = {name for name in imports_of(path) if name.startswith(others)}
        assert strangers == set(), path


def test_stages_import_neither_the_command_line_nor_the_batch():
    for path in PACKAGE.rglob("*.py"):
        if path.relative_to(PACKAGE).parts[0] in STAGES:
            above = ("triage.cli", "triage.commands", "triage.batch")
            assert not [name for name in imports_of(path) if name.startswith(above)], path


def test_data_definition_stands_only_in_the_contract():
    for path in PACKAGE.rglob("*.py"):
        text = path.read_text("utf-8").upper()
        assert "CREATE TABLE IF NOT EXISTS" not in text, path
        assert "ALTER TABLE" not in text, path
