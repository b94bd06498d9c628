"""What rules find: they fire, stay open for a missing fact, and never take silence for an answer."""

import re

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from triage import catalogue
from triage.catalogue.penalties import Rule, RulePart
from triage.errors import Problem
from triage.rules import askable, check_rules, columns_of, compile_rules, find, findings
from triage.rules.findings import FEW_ROWS

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


def told(known, columns, cases: list[tuple[str, dict]], askable: frozenset[str]) -> dict[int, str]:
    """Return, for each case by number, what the one rule it is for says: fired or open; nothing when it clears."""
    problems: list[Problem] = []
    compiled = compile_rules(known.rules, columns, problems)
    assert problems == []
    found = find(facts_of(columns, *(case for _, case in cases)), compiled, askable).rows()
    return {
        int(listing[1:]): state
        for listing, rule, state in found.select("listing_id", "rule_id", "state").iter_rows()
        if cases[int(listing[1:])][0] == rule
    }


def test_there_are_at_least_sixty_rules_for_every_part_and_the_pair_as_a_whole(known):
    assert len(known.rules) >= 60
    assert {rule.part for rule in known.rules} == set(RulePart.__args__)


def test_every_rule_names_its_source_and_how_it_can_be_wrong(known):
    for rule in known.rules:
        assert re.search(r"[MT]-[A-Z]\d|common_practice|our_judgement", rule.source), rule.id
        assert len(rule.misses) >= 10, rule.id


@pytest.mark.parametrize(("kind", "state"), [("hits", "fired"), ("clears", None), ("unknowns", "open")])
def test_every_case_of_every_rule_gives_what_it_says(known, columns, kind, state):
    cases = [(rule.id, case) for rule in known.rules for case in getattr(rule, kind)]
    assert {rule for rule, _ in cases} == {rule.id for rule in known.rules}
    states = told(known, columns, cases, frozenset(columns))
    assert [(cases[number], states.get(number)) for number in range(len(cases)) if states.get(number) != state] == []


def test_forgetting_a_fact_never_turns_a_rule_that_fired_into_one_that_clears(known, columns):
    cases = []
    for one in compile_rules(known.rules, columns, []):
        for case in one.rule.hits:
            for forgotten in one.when.facts:
                less = {name: value for name, value in case.items() if name != forgotten}
                cases.append((one.rule.id, less))
    assert len(cases) > len(known.rules)
    # Still fired, or open for want of the fact; a case that is missing would be a "no".
    states = told(known, columns, cases, frozenset(columns))
    assert [cases[number] for number in range(len(cases)) if number not in states] == []


def test_a_reason_carries_its_values(known, columns):
    compiled = compile_rules(known.rules, columns, [])
    cases = [one.rule.hits[0] for one in compiled]
    found = find(facts_of(columns, *cases), compiled, frozenset()).rows()
    for number, one in enumerate(compiled):
        (row,) = found.filter(listing_id=f"L{number}", rule_id=one.rule.id).to_dicts()
        assert "{" not in row["because"]
        assert row["decibans"] != 0
        for value in (case for name, case in cases[number].items() if f"{{{name}}}" in one.rule.because):
            assert str(value) in row["because"], one.rule.id


def rule_of(when: str, weight: float | str = 1.0, because: str = "so it is", name: str = "made-here") -> Rule:
    case = ({"age_years": 1.0},)
    return Rule(id=name, part="whole", when=when, weight=weight, because=because, source="none", misses="all",
                hits=case, clears=case, unknowns=case, path=f"penalties/{name}.toml", when_line=4)  # fmt: skip


def test_a_weight_and_a_reason_are_computed_row_by_row(columns):
    rule = rule_of("age_years > 5", "least(4, 0.5 * age_years)", "{age_years:.1f} years, {photo_count} photos")
    cases = ({"age_years": 6.0, "photo_count": 3}, {"age_years": 20.0, "photo_count": 1}, {"age_years": 2.0})
    found = find(facts_of(columns, *cases), compile_rules([rule], columns, []), frozenset()).rows()
    assert found["decibans"].to_list() == [3.0, 4.0]
    assert found["because"].to_list() == ["6.0 years, 3 photos", "20.0 years, 1 photos"]


def test_an_open_rule_names_the_missing_facts_that_can_be_asked_and_only_those(columns):
    rule = rule_of("deadstock AND photo_count < 3 AND age_years > 5")
    cases = ({"age_years": 9.0}, {"age_years": 9.0, "photo_count": 1}, {"deadstock": True, "photo_count": 1}, {})
    compiled = compile_rules([rule], columns, [])
    found = find(facts_of(columns, *cases), compiled, frozenset({"deadstock", "photo_count"})).rows()
    assert found["state"].to_list() == ["open"] * 3
    assert found["listing_id"].to_list() == ["L0", "L1", "L3"]
    assert found["missing"].to_list() == [["deadstock", "photo_count"], ["deadstock"], ["deadstock", "photo_count"]]


@pytest.mark.parametrize(
    "weight", ["storage_years", "ln(age_years - 6)", "1 / (age_years - 6)", "exp(1000 * age_years)"]
)
def test_a_weight_that_is_no_number_does_not_fire_and_stops_nothing(columns, weight):
    compiled = compile_rules([rule_of("age_years > 5", weight), rule_of("age_years > 5", name="other")], columns, [])
    assert len(compiled) == 2
    found = find(facts_of(columns, {"age_years": 6.0}), compiled, frozenset()).rows()
    assert found["rule_id"].to_list() == ["other"]


def test_all_rules_at_once_say_what_each_says_alone_whatever_the_order(known, columns):
    compiled = compile_rules(known.rules, columns, [])
    cases = [case for rule in known.rules for kind in ("hits", "clears", "unknowns") for case in getattr(rule, kind)]
    facts, asked = facts_of(columns, *cases), askable(known.facts, dict.fromkeys(known.signs, True))
    together = find(facts, compiled, asked).rows()
    assert together.height > len(cases)
    alone = pl.concat([find(facts, [one], asked).rows() for one in compiled])
    assert_frame_equal(together, alone.sort("listing_id", "place", "rule_id", "part"))
    assert_frame_equal(together, find(facts.reverse(), compiled[::-1], asked).rows())


def test_a_set_of_open_rules_stands_once_for_all_listings_that_leave_it_open(known, columns, monkeypatch):
    compiled, every = compile_rules(known.rules, columns, []), frozenset(columns)
    cases = [case for rule in known.rules for kind in ("hits", "clears", "unknowns") for case in getattr(rule, kind)]
    facts = facts_of(columns, *cases, *cases)
    found = find(facts, compiled, every)
    waiting = found.left_open.join(found.rules, on="open_set")
    told = waiting.group_by("listing_id", "open_set").agg(pl.struct("rule_id", "part", "missing").sort().implode())
    # Same number, same rules, and the other way round.
    assert 100 < told["open_set"].n_unique() == told["rule_id"].n_unique() < found.left_open.height / 2
    assert told.select("open_set", "rule_id").unique().height == told["open_set"].n_unique()
    assert found.rules.select("open_set", "rule_id", "part").is_unique().all()
    # Whatever else is looked at, and in whichever pieces.
    alone = find(facts[:40], compiled, every)
    assert_frame_equal(alone.left_open, found.left_open.join(alone.left_open, on="listing_id", how="semi"))
    monkeypatch.setattr(findings, "SLICE_ROWS", 64)
    in_pieces = find(facts, compiled, every)
    for name in ("fired", "left_open", "rules"):
        assert_frame_equal(getattr(found, name), getattr(in_pieces, name))


REFUSED = [
    ("read_text('x') = ''", 1, "so it is", "read_text"),
    ("age_years", 1, "so it is", "no predicate"),
    ("condition + 1 > 0", 1, "so it is", "cannot run"),
    ("age_years > 5", "condition", "so it is", "no number"),
    ("age_years > 5", 1, "{nothing} there", "no fact"),
    ("age_years > 5", 1, "{condition:.0f}", "the format"),
    ("age_years > 5", 1, "{age_years:>9}", "the format"),
    ("age_years > 5", 1, "{age_years", "because"),
    ("age_years > 5 OR " + " OR ".join(f"{part}_age_years > 5 OR {part}_p > 0" for part in
     ("midsole", "outsole", "bond", "trim", "upper", "lining")), 1, "so it is", "more than 12 facts"),
]  # fmt: skip


def test_rules_asked_of_one_pair_after_the_other_say_what_they_say_of_all_at_once(known, columns):
    # Of few rows only rules are asked that something moved for since the rows before.
    compiled, every = compile_rules(known.rules, columns, []), frozenset(columns)
    cases = [case for rule in known.rules for kind in ("hits", "clears", "unknowns") for case in getattr(rule, kind)]
    facts = facts_of(columns, *cases)
    assert facts.height > 10 * FEW_ROWS
    together = find(facts, compiled, every).rows().partition_by("listing_id", as_dict=True)
    spread = [*range(0, facts.height, 2), *range(facts.height - 1, 0, -2)]
    asked = [facts[row] for row in spread] + [facts[row : row + 2] for row in range(0, 60, 3)] + [facts[:1]] * 2
    for rows in asked:
        expected = [together[(one,)] for one in sorted(rows["listing_id"]) if (one,) in together]
        found = find(rows, compiled, every).rows()
        assert_frame_equal(found, pl.concat([found.clear(), *expected]))


@pytest.mark.parametrize(("when", "weight", "because", "told"), REFUSED)
def test_a_rule_that_may_not_run_is_named_with_file_and_line(columns, when, weight, because, told):
    problems: list[Problem] = []
    assert compile_rules([rule_of(when, weight, because)], columns, problems) == []
    assert str(problems[0]).startswith("penalties/made-here.toml:4: made-here says ")
    assert told in problems[0].found
    assert "BETWEEN" in problems[0].expected


def test_a_case_that_fails_is_named_with_its_number(columns):
    wrong = rule_of("age_years > 5").model_copy(
        update={"hits": ({"age_years": 9.0}, {"age_years": 2.0}), "clears": ({"age_years": 2.0},), "unknowns": ({},)}
    )
    assert [str(problem) for problem in check_rules([wrong], columns)] == [
        "penalties/made-here.toml:4: hits 2 of made-here gives False; expected True"
    ]
