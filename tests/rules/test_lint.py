"""What is odd about rules that all may run is told with file and line, and said only of what is odd."""

import polars as pl
import pytest

from triage import catalogue
from triage.catalogue.penalties import Rule
from triage.rules import columns_of, compile_rules, lint

COLUMNS = {"age_years": "DOUBLE", "midsole_p": "DOUBLE", "photo_count": "INTEGER", "deadstock": "BOOLEAN"}
NUMBER = range(120)
STORE = pl.DataFrame({
    "listing_id": [f"L{i:03}" for i in NUMBER], "place": [1] * 120, "age_years": [float(i % 40) for i in NUMBER],
    "midsole_p": [None] * 120, "photo_count": [i % 7 for i in NUMBER], "deadstock": [i % 2 == 0 for i in NUMBER],
}, schema_overrides={"midsole_p": pl.Float64})  # fmt: skip


def rule(name: str, when: str, weight: float | str = 1.0, **more) -> Rule:
    case = ({"age_years": 1.0},)
    plain = {"part": "midsole", "because": "so it is", "source": "none", "misses": "all", "hits": case, "clears": case,
             "unknowns": case, "path": f"penalties/{name}.toml", "when_line": 3}  # fmt: skip
    return Rule(id=name, when=when, weight=weight, **(plain | more))


def said(*rules: Rule, store: pl.DataFrame = STORE) -> list[str]:
    compiled = compile_rules(rules, COLUMNS, [])
    assert len(compiled) == len(rules)
    return [str(remark) for remark in lint(store, compiled)]


def test_a_rule_that_fires_on_some_candidates_is_nothing_odd():
    assert said(rule("old", "age_years > 20"), rule("few", "photo_count < 3")) == []


def test_a_rule_that_never_fires_is_a_hint():
    (told,) = said(rule("ancient", "age_years > 90"))
    assert told.startswith("penalties/ancient.toml:3: hint: ancient fires on none of 120 candidates")


def test_a_rule_that_always_fires_is_a_warning():
    (told,) = said(rule("any", "age_years >= 0"))
    assert told.startswith("penalties/any.toml:3: warning: any fires on all of 120 candidates")


def test_nothing_is_said_of_how_often_on_a_handful_of_candidates():
    assert said(rule("ancient", "age_years > 90"), store=STORE.head(20)) == []


def test_two_rules_that_always_fire_together_should_share_a_group():
    one, other = rule("old", "age_years > 30"), rule("aged", "age_years >= 31 AND photo_count >= 0")
    (told,) = said(one, other)
    assert told.startswith("penalties/aged.toml:3: warning: aged and old fire on the same 27 candidates; if they say")
    grouped = [each.model_copy(update={"group": "age"}) for each in (one, other)]
    assert said(*grouped) == []


def test_two_rules_of_different_parts_may_fire_together():
    assert said(rule("old", "age_years > 30"), rule("aged", "age_years >= 31", part="trim")) == []


def test_a_group_holds_within_a_part_only():
    told = said(rule("old", "age_years > 30", group="age"), rule("aged", "age_years >= 31", part="whole", group="age"))
    assert len(told) == 1


@pytest.mark.parametrize("weight", [-1.0, "-0.1 * age_years"])
def test_two_rules_that_fire_together_with_opposite_weights_contradict_each_other(weight):
    (told,) = said(rule("old", "age_years > 30"), rule("proven", "age_years >= 31", weight))
    assert "contradict each other" in told


def test_two_rules_with_one_when_are_told_even_without_a_store():
    first, second = rule("old", "age_years > 30"), rule("aged", "AGE_YEARS > 30", 1.0)
    (told,) = said(first, second, store=STORE.clear())
    assert "aged has the when and the part of old, and its weight" in told
    (told,) = said(first, second.model_copy(update={"weight": 2.0}), store=STORE.clear())
    assert "with another weight" in told


@pytest.mark.parametrize(
    ("odd", "found"),
    [
        (rule("nought", "age_years > 30", 0), "a weight of 0"),
        (rule("huge", "age_years > 30", 40.0), "weighs 40 decibans"),
        (rule("gap", "age_years > 30", because="{photo_count} photos"), "shows photo_count"),
        (rule("twice", "midsole_p > 0.5"), "looks at midsole_p"),
    ],
)
def test_what_is_odd_about_a_rule_alone_is_told_without_a_store(odd, found):
    (told,) = said(odd, store=STORE.clear())
    assert found in told


def test_the_rules_that_come_along_have_nothing_odd_about_them_alone():
    known = catalogue.load()
    compiled = compile_rules(known.rules, columns_of(known.facts, tuple(known.signs)), [])
    assert len(compiled) == len(known.rules)
    assert lint(pl.DataFrame(), compiled) == []
