"""The rules that come along, taken together: more signs of risk or more years never make a pair look better."""

import polars as pl
import pytest

from triage import catalogue
from triage.rules import columns_of, compile_rules, find

SPEAKER = "listing"
AGES = ("age_years", "storage_years", "midsole_age_years", "outsole_age_years", "cushion_age_years", "bond_age_years",
        "trim_age_years", "coating_age_years", "upper_age_years", "lining_age_years")  # fmt: skip


@pytest.fixture(scope="module")
def known():
    return catalogue.load()


@pytest.fixture(scope="module")
def compiled(known):
    return compile_rules(known.rules, columns_of(known.facts, tuple(known.signs)), [])


def weighed(cases: list[dict], compiled, known) -> list[float]:
    """Return the decibans of each case: of every group of rules, in every part, the strongest; signs beside them."""
    kinds = {"VARCHAR": pl.String, "BOOLEAN": pl.Boolean, "INTEGER": pl.Int32, "BIGINT": pl.Int64}
    columns = columns_of(known.facts, tuple(known.signs))
    schema = {name: kinds.get(kind, pl.Float64) for name, kind in columns.items()}
    rows = [{**dict.fromkeys(schema), "place": 1, **case, "listing_id": str(i)} for i, case in enumerate(cases)]
    found = find(pl.DataFrame(rows, schema=schema), compiled, frozenset()).rows()
    groups = {rule.id: rule.group or rule.id for rule in known.rules}
    strongest = (
        found.with_columns(group=pl.col("rule_id").replace_strict(groups), strength=pl.col("decibans").abs())
        .sort("strength", descending=True, maintain_order=True)
        .unique(["listing_id", "part", "group"], keep="first", maintain_order=True)
    )
    total = dict(strongest.group_by("listing_id").agg(pl.col("decibans").sum()).iter_rows())
    return [total.get(str(number), 0.0) + sum(sign_weights(case, known)) for number, case in enumerate(cases)]


def sign_weights(case: dict, known) -> list[float]:
    """Return the decibans of the signs of a case, the strongest of each group."""
    best: dict[str, float] = {}
    for name, told in case.items():
        weight = known.signs[name].weight.get(SPEAKER) if name in known.signs and told is not None else None
        if weight is not None and name not in known.ageing_signs:
            value = weight.if_true if told else weight.if_false
            group = known.signs[name].group
            best[group] = max(best.get(group, 0.0), value, key=abs)
    return list(best.values())


def cases_of(known) -> list[dict]:
    return [case for rule in known.rules for kind in ("hits", "clears", "unknowns") for case in getattr(rule, kind)]


def flipped(known, compiled, risk_signs: list[str], bases: list[dict], *states: bool | None) -> list[list]:
    """Return, for each state of each sign, the case and its decibans; all in one pass."""
    silent = [{name: value for name, value in case.items() if name != risk} for risk in risk_signs for case in bases]
    signs = [risk for risk in risk_signs for _ in bases]
    every = [{**case, risk: state} for state in states for risk, case in zip(signs, silent, strict=True)]
    decibans = weighed(every, compiled, known)
    size = len(silent)
    return [list(zip(every[i : i + size], decibans[i : i + size], strict=True)) for i in range(0, len(every), size)]


def test_affirming_a_risk_never_makes_any_pair_of_the_cases_look_better(known, compiled):
    looked_at = {name for one in compiled for name in one.when.facts if name in known.signs}
    risks = sorted(name for name in looked_at if known.signs[name].polarity == "risk")
    assert len(risks) >= 20
    # The cases as they are, and with no sign at all.
    plain = [{name: value for name, value in case.items() if name not in known.signs} for case in cases_of(known)]
    without, told = flipped(known, compiled, risks, [*plain, *cases_of(known)], None, True)
    worse = [case for (_, before), (case, after) in zip(without, told, strict=True) if after < before - 1e-9]
    assert worse == []


def test_denying_a_risk_never_weighs_more_than_affirming_it(known, compiled):
    risks = sorted(sign.id for sign in known.signs.values() if sign.polarity == "risk" and sign.weight)
    denied, affirmed = flipped(known, compiled, risks, cases_of(known), False, True)
    assert [case for (case, no), (_, yes) in zip(denied, affirmed, strict=True) if no > yes + 1e-9] == []


@pytest.mark.parametrize("years", [1.0, 7.0, 20.0])
def test_more_years_never_make_any_pair_of_the_cases_look_better(known, compiled, years):
    cases = [case for case in cases_of(known) if any(name in AGES for name in case)]
    older = [{name: value + years if name in AGES else value for name, value in case.items()} for case in cases]
    assert len(cases) > 50
    now, later = weighed(cases, compiled, known), weighed(older, compiled, known)
    assert [case for case, before, after in zip(cases, now, later, strict=True) if after < before - 1e-9] == []


def test_no_rule_leans_on_what_ageing_alone_has_computed(compiled):
    chances = {f"{part}_p" for part in catalogue.penalties.RulePart.__args__}
    assert [one.rule.id for one in compiled if one.facts & chances] == []


def test_a_rule_that_weighs_on_every_part_at_once_stays_small(known):
    for rule in known.rules:
        if rule.part == "whole":
            assert abs(float(rule.weight)) <= 2.0, rule.id


def test_a_reason_shows_only_facts_the_rule_has_looked_at(compiled):
    assert [one.rule.id for one in compiled if set(one.because.facts) - set(one.when.facts)] == []
