"""What calls would be under other rules: told by listing and buyer, explained, and never written."""

import dataclasses
from datetime import date

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from triage import trial as trials
from triage.catalogue.penalties import Rule
from triage.errors import TriageError
from triage.store import frame
from triage.trial import moves, trial

AS_OF = date(2026, 11, 25)

COURT = {"title": "Haldrassen Torquellan Low, 1986, size 42", "stated_year_lo": 1986, "stated_year_hi": 1986}


@pytest.fixture(scope="module")
def night(weigh):
    """A dozen court shoes at different prices: some are bought, some asked about, some skipped."""
    texts = (
        "Nice.",
        "Midsole springs back when pressed, sole bond solid.",
        "Worn last week, no issues. Soles flexible.",
    )
    return weigh(**{
        f"pair{price}-{number}": {**COURT, "body": text, "price_minor": price * 100, "price_base_minor": price * 100}
        for number, text in enumerate(texts) for price in (5, 20, 40, 90)
    })  # fmt: skip


def everything(connection) -> dict[str, pl.DataFrame]:
    tables = [row[0] for row in connection.execute("SELECT table_name FROM duckdb_tables() ORDER BY 1").fetchall()]
    return {table: frame(connection, f"SELECT * FROM {table} ORDER BY ALL") for table in tables}


def with_rule(known, when: str, weight: float, part: str = "whole"):
    case = ({"age_years": 1.0},)
    rule = Rule(id="tried-here", part=part, when=when, weight=weight, because="so it is", source="none", misses="all",
                hits=case, clears=case, unknowns=case, path="penalties/tried-here.toml", when_line=3)  # fmt: skip
    return dataclasses.replace(known, rules=(*known.rules, rule))


def test_the_same_rules_move_nothing(night, known):
    assert trial(night.connection, known, AS_OF).is_empty()


def test_a_rule_that_condemns_all_turns_every_buy_and_ask_into_something_else(night, known):
    before = frame(night.connection, trials.VERDICTS)
    assert before["call"].n_unique() >= 2
    changed = trial(night.connection, with_rule(known, "age_years > 5", 40.0), AS_OF)
    assert changed.height > 0
    assert set(changed["call_was"]) <= {"buy", "ask", "skip"}
    assert changed.filter(pl.col("call_was") == pl.col("call_now")).is_empty()
    # What is said to have been is what the store has.
    joined = changed.join(before, on=["listing_id", "buyer"])
    assert joined["call_was"].to_list() == joined["call"].to_list()
    assert joined["offer_minor_was"].to_list() == joined["offer_minor"].to_list()
    assert moves(changed)["listings"].sum() == changed.height


def test_the_ten_largest_changes_come_first_and_name_the_rule(night, known):
    changed = trial(night.connection, with_rule(known, "age_years > 5", 40.0), AS_OF)
    size = (changed["surplus_minor_now"].fill_null(0) - changed["surplus_minor_was"].fill_null(0)).abs()
    assert size.to_list() == sorted(size.to_list(), reverse=True)
    first = changed.head(10)
    assert all("tried-here - -> 40.0 dB" in why for why in first["why"])
    assert all(" fails " in why and " -> " in why for why in first["why"])
    assert changed.slice(10)["why"].null_count() == max(0, changed.height - 10)


def test_the_store_is_not_written(night, known):
    before = everything(night.connection)
    trial(night.connection, with_rule(known, "age_years > 5", 40.0), AS_OF)
    after = everything(night.connection)
    assert before.keys() == after.keys()
    for table, rows in before.items():
        assert_frame_equal(rows, after[table])


def test_rules_left_out_are_named_with_what_they_had_weighed(night, known):
    without = dataclasses.replace(known, rules=())
    was, now = frame(night.connection, trials.FINDINGS), frame(night.connection, trials.FINDINGS).clear()
    told = trials.rule_moves(was, now)
    assert told.height == was["listing_id"].n_unique()
    assert all(" dB" in words and "-> - dB" in words for words in told["rule_words"])
    assert trial(night.connection, without, AS_OF).columns[:2] == ["listing_id", "buyer"]


def test_a_buyer_who_is_new_or_gone_is_shown_as_such(night, known):
    (first, *others) = known.buyers.values()
    renamed = {"newcomer": first.model_copy(update={"id": "newcomer"}), **{one.id: one for one in others}}
    changed = trial(night.connection, dataclasses.replace(known, buyers=renamed), AS_OF)
    assert set(changed.filter(pl.col("call_was").is_null())["buyer"]) == {"newcomer"}
    assert set(changed.filter(pl.col("call_now").is_null())["buyer"]) == {first.id}


def test_a_rule_that_may_not_run_stops_the_trial(night, known):
    with pytest.raises(TriageError, match="read_text"):
        trial(night.connection, with_rule(known, "read_text('x') = ''", 1.0), AS_OF)
