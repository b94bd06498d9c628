"""The connection rules run in: what they reach, what they may take, and that a runaway is stopped and named."""

import time

import duckdb
import polars as pl
import pytest

from triage.catalogue.penalties import Rule
from triage.errors import TriageError
from triage.rules import compile_rules, find
from triage.rules.locked import TooMuch, computed, locked_connection

ROWS = pl.DataFrame({"listing_id": ["L0", "L1"], "place": [1, 1], "age_years": [7.0, None]})

# What would still work in a connection that only had its options set: each must fail even without the gate.
REACHES = [
    "SELECT * FROM read_text('{file}')",
    "SELECT * FROM read_csv('{file}')",
    "SELECT * FROM read_blob('{file}')",
    "SELECT * FROM glob('{folder}/*')",
    "SELECT * FROM '{file}'",
    "COPY (SELECT 1) TO '{folder}/out.csv'",
    "EXPORT DATABASE '{folder}/out'",
    "ATTACH '{folder}/x.duckdb'",
    "INSTALL httpfs",
    "LOAD httpfs",
    "SET threads = 8",
    "SET memory_limit = '8GB'",
    "SET max_execution_time = 0",
    "SET enable_external_access = true",
    "SET lock_configuration = false",
    "RESET memory_limit",
    "PRAGMA enable_profiling = 'json'",
    "SET log_query_path = '{folder}/log'",
    "CREATE PERSISTENT SECRET s (TYPE http)",
    "SELECT * FROM rows_of_the_caller",
    "SELECT list(range) FROM range(2000000000)",
]


@pytest.mark.parametrize("statement", REACHES)
def test_the_connection_reaches_nothing_and_keeps_its_settings(statement, tmp_path):
    rows_of_the_caller = ROWS
    file = tmp_path / "secret.csv"
    file.write_text("a,b\n1,2\n", "utf-8")
    connection = locked_connection(20)
    with pytest.raises(duckdb.Error):
        connection.execute(statement.format(file=file, folder=tmp_path)).fetchall()
    connection.close()
    assert [path.name for path in tmp_path.iterdir()] == ["secret.csv"]
    assert rows_of_the_caller.height == 2


def test_a_runaway_query_is_stopped_in_time():
    connection = locked_connection(0.3)
    start = time.monotonic()
    with pytest.raises(TooMuch, match="execution time"):
        computed(connection, ROWS, "SELECT count(*) AS n FROM range(1000000000000) WHERE range % 7 = 3")
    assert time.monotonic() - start < 10
    connection.close()


def test_a_query_that_needs_too_much_memory_is_stopped():
    connection = locked_connection(30)
    with pytest.raises(TooMuch, match="Memory"):
        computed(connection, ROWS, "SELECT list(range) AS n FROM range(2000000000)")
    connection.close()


def test_a_rule_that_runs_away_is_named_with_its_file_and_line():
    case = ({"age_years": 1.0},)
    plain = {"part": "whole", "weight": 1, "because": "old", "source": "none", "misses": "all", "hits": case,
             "clears": case, "unknowns": case}  # fmt: skip
    quick = Rule(id="quick", when="age_years > 5", path="penalties/quick.toml", when_line=3, **plain)
    # Many terms over many rows; the bound is looked at between batches of rows.
    slow_terms = " OR ".join(f"contains(lower(text), 'äää{number}')" for number in range(40))
    slow = Rule(id="slow", when=slow_terms, path="penalties/slow.toml", when_line=4, **plain)
    columns = {"age_years": "DOUBLE", "text": "VARCHAR"}
    compiled = compile_rules([quick, slow], columns, [])
    assert len(compiled) == 2
    rows = pl.DataFrame({"listing_id": [f"L{i}" for i in range(262_144)]}).with_columns(
        place=1, age_years=7.0, text=pl.lit("Ä" * 6)
    )
    with pytest.raises(TriageError) as stopped:
        find(rows, compiled, frozenset(), max_seconds=0.1)
    assert [problem.place for problem in stopped.value.problems] == ["penalties/slow.toml:4"]
    assert "slow was stopped" in str(stopped.value)


def test_rows_keep_their_order_over_many_pieces():
    rows = pl.DataFrame(
        {"listing_id": [str(i) for i in range(100_000)], "age_years": pl.int_range(100_000, eager=True)}
    )
    connection = locked_connection()
    told = computed(connection, rows, "SELECT age_years FROM facts")
    connection.close()
    assert told["age_years"].to_list() == list(range(100_000))
