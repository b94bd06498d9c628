"""What rules find: they fire, stay open for a missing fact, and never take silence for an answer."""

from pathlib import Path

import polars as pl
import pytest

from triage import catalogue
from triage.errors import Problem
from triage.rules import columns_of, compile_rules, find

TYPES = {"VARCHAR": pl.String, "DOUBLE": pl.Float64, "INTEGER": pl.Int32, "BIGINT": pl.Int64, "BOOLEAN": pl.Boolean,
         "DATE": pl.Date}  # fmt: skip


@pytest.fixture(scope="module")
def known():
    return catalogue.load()


@pytest.fixture(scope="module")
def columns(known):
    return columns_of(known.facts, tuple(known.signs))


def facts_of(columns, *cases: dict) -> pl.DataFrame:
    schema = {name: TYPES[kind] for name, kind in columns.items()}
    rows = [{**dict.fromkeys(schema), "listing_id": f"L{i}", "place": 1, **case} for i, case in enumerate(cases)]
    return pl.DataFrame(rows, schema=schema)


def fired(known, columns, *cases: dict) -> set[tuple[str, str]]:
    problems: list[Problem] = []
    compiled = compile_rules(known.rules, columns, problems)
    assert problems == []
    found = find(facts_of(columns, *cases), compiled, frozenset()).filter(pl.col("state") == "fired")
    return set(found.select("listing_id", "rule_id").iter_rows())


def test_there_are_rules_for_eras_trim_storage_contradictions_views_and_terms(known):
    assert len(known.rules) >= 15
    assert {rule.part for rule in known.rules} >= {"midsole", "outsole", "trim", "whole"}


def test_every_rule_names_its_source_and_how_it_can_be_wrong(known):
    for rule in known.rules:
        assert len(rule.source) >= 10, rule.id
        assert len(rule.misses) >= 10, rule.id


def test_every_case_of_every_rule_gives_what_it_says(known, columns):
    for rule in known.rules:
        cases = [*rule.hits, *rule.clears, *rule.unknowns]
        told = fired(known, columns, *cases)
        hits = {i for i in range(len(cases)) if (f"L{i}", rule.id) in told}
        assert hits == set(range(len(rule.hits))), rule.id


def test_forgetting_a_fact_never_turns_a_rule_that_fired_into_one_that_clears(known, columns):
    problems: list[Problem] = []
    compiled = {one.rule.id: one for one in compile_rules(known.rules, columns, problems)}
    askable = frozenset(columns)
    checked = 0
    for rule in known.rules:
        for case in rule.hits:
            for forgotten in compiled[rule.id].when.facts:
                less = {name: value for name, value in case.items() if name != forgotten}
                found = find(facts_of(columns, less), [compiled[rule.id]], askable)
                # Still fired, or open for want of the fact; a row that is missing would be a "no".
                assert found.height == 1, (rule.id, forgotten)
                checked += 1
    assert checked > len(known.rules)


def test_a_reason_carries_its_values(known, columns):
    problems: list[Problem] = []
    compiled = compile_rules(known.rules, columns, problems)
    for one in compiled:
        found = find(facts_of(columns, one.rule.hits[0]), [one], frozenset())
        assert found["because"][0], one.rule.id
        assert "{" not in found["because"][0]
        assert found["decibans"][0] is not None


def test_a_rule_that_may_not_run_is_named_with_file_and_line(tmp_path, columns, known):
    rule = known.rules[0].model_copy(
        update={"when": "read_text('x') = ''", "path": "penalties/bad.toml", "when_line": 4}
    )
    problems: list[Problem] = []
    assert compile_rules([rule], columns, problems) == []
    assert str(problems[0]).startswith("penalties/bad.toml:4:")
    assert "read_text" in str(problems[0])
    assert "BETWEEN" in problems[0].expected
    assert Path(tmp_path).is_dir()
