"""What says the same thing counts once: signs among themselves, rules among themselves, and both together."""

import polars as pl
import pytest

from triage.verdict.beliefs import (
    RULES_LEAST_DB,
    RULES_MOST_DB,
    TEXT_LEAST_DB,
    TEXT_MOST_DB,
    part_weights,
    strongest_rules,
    weigh_signs,
)

FINDING = {"listing_id": pl.String, "place": pl.Int64, "rule_id": pl.String, "part": pl.String,
           "grouping": pl.String, "state": pl.String, "decibans": pl.Float64}  # fmt: skip
SIGN = {"listing_id": pl.String, "part": pl.String, "group": pl.String, "sign": pl.String, "decibans": pl.Float64,
        "said_by": pl.String}  # fmt: skip


def findings(*rows: tuple[str, str, float]) -> pl.DataFrame:
    """Return findings on the midsole of one listing: rule, group, decibans."""
    rows_of = [("L", 1, rule, "midsole", group, "fired", db) for rule, group, db in rows]
    return pl.DataFrame(rows_of, FINDING, orient="row")


def signs(*rows: tuple[str, float]) -> pl.DataFrame:
    """Return what groups of signs carry on the midsole of one listing: group, decibans."""
    rows_of = [("L", "midsole", group, f"sign of {group}", db, "listing") for group, db in rows]
    return pl.DataFrame(rows_of, SIGN, orient="row")


def added(found: pl.DataFrame) -> dict[str, float]:
    return dict(found.select("rule_id", "decibans").iter_rows())


def test_of_rules_that_say_the_same_only_the_strongest_counts():
    found = strongest_rules(findings(("a", "rot", 1.0), ("b", "rot", 3.0), ("c", "c", 2.0)), signs())
    assert added(found) == {"b": 3.0, "c": 2.0}


def test_a_rule_weaker_than_a_sign_of_its_group_adds_nothing():
    assert added(strongest_rules(findings(("a", "rot", 3.0)), signs(("rot", 12.0)))) == {}


def test_a_rule_stronger_than_a_sign_of_its_group_adds_what_it_is_stronger():
    assert added(strongest_rules(findings(("a", "rot", 3.0)), signs(("rot", 2.0)))) == {"a": 1.0}


def test_signs_of_another_group_leave_a_rule_alone():
    assert added(strongest_rules(findings(("a", "rot", 3.0)), signs(("press", 12.0)))) == {"a": 3.0}


def observed(*rows: tuple[str, str, str, bool]) -> pl.DataFrame:
    """Return what counts of one listing: sign, said_by, state, hedged."""
    names = ("listing_id", "sign", "said_by", "state", "hedged")
    return pl.DataFrame([("L", *row) for row in rows], schema=list(names), orient="row")


def test_of_signs_that_say_the_same_only_the_strongest_counts(known):
    names = ("midsole_crumbling", "foam_crumbs_in_box")
    told = observed(*((name, "listing", "affirmed", False) for name in names))
    both = weigh_signs(told, known.signs, frozenset())
    assert both["group"].to_list() == ["midsole-rot"]
    strongest = max(known.signs[name].weight["listing"].if_true for name in names)
    assert both["decibans"].to_list() == [strongest]


def test_a_hedge_halves_the_decibans_and_an_answer_beats_the_listing(known):
    weight = known.signs["midsole_springy"].weight
    hedged = weigh_signs(observed(("midsole_springy", "listing", "affirmed", True)), known.signs, frozenset())
    assert hedged["decibans"].to_list() == [weight["listing"].if_true / 2]
    answered = weigh_signs(
        observed(("midsole_springy", "listing", "affirmed", False), ("midsole_springy", "answer", "denied", False)),
        known.signs, frozenset(),
    )  # fmt: skip
    assert answered["decibans"].to_list() == [weight["answer"].if_false]


def test_a_sign_that_acts_through_age_carries_no_decibans(known):
    told = observed(("worn_recently_ok", "listing", "affirmed", False))
    assert weigh_signs(told, known.signs, known.ageing_signs).is_empty()
    places = {"stored_attic", "stored_cellar", "stored_shed", "stored_hot_damp"}
    assert {"worn_recently_ok", "sole_swapped", *places} <= known.ageing_signs


def test_a_text_moves_a_part_only_within_its_bounds_and_an_answer_beyond():
    text = pl.DataFrame([("L", "midsole", f"g{n}", "s", 9.0, "listing") for n in range(4)], SIGN, orient="row")
    answer = pl.DataFrame([("L", "midsole", "h", "s", 10.0, "answer")], SIGN, orient="row")
    assert part_weights(text)["decibans"].to_list() == [TEXT_MOST_DB]
    assert part_weights(pl.concat([text, answer]))["decibans"].to_list() == [TEXT_MOST_DB + 10]
    low = text.with_columns(decibans=-pl.col("decibans"))
    assert part_weights(low)["decibans"].to_list() == [TEXT_LEAST_DB]


def test_all_rules_of_a_part_together_stay_within_their_bounds(weigh):
    found = weigh(pair={"title": "Haldrassen Torquellan High HDN-91-0214", "body": "Nice."})
    query = "SELECT min(rule_db), max(rule_db) FROM posterior"
    low, high = found.one(query)
    assert low >= RULES_LEAST_DB
    assert high <= RULES_MOST_DB
    assert pytest.approx(-4.0) == RULES_LEAST_DB
