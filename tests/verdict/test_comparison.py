"""Pairs of one model beside each other, purpose by purpose."""

from datetime import date

import polars as pl
import pytest

from triage import batch
from triage.verdict.comparison import compare, indifference, pairs_of

EVA = {"title": "Haldrassen Torquellan High HDN-12-1914"}


@pytest.fixture(scope="module")
def two(weigh):
    return weigh(
        boxed={**EVA, "body": "Deadstock, never worn.", "condition": "deadstock", "price_base_minor": 9000},
        worn={**EVA, "body": "Worn last week without problems.", "condition": "worn", "price_base_minor": 5000},
    )


@pytest.fixture(scope="module")
def rows(two, known) -> pl.DataFrame:
    pairs = pairs_of(two.connection, "torquellan high")
    return compare(two.connection, batch.ground(known), known.buyers["bench"], pairs, date(2026, 11, 25))


def test_a_model_is_found_by_name_with_maker_and_by_release(two):
    for asked in ("Torquellan High", "haldrassen torquellan high", "HD-04"):
        assert pairs_of(two.connection, asked)["listing_id"].to_list() == ["boxed", "worn"]
    assert pairs_of(two.connection, "Torquellan").is_empty()


def test_each_pair_is_weighed_for_each_purpose(rows):
    assert set(rows.select("listing_id", "purpose").iter_rows()) == {
        (pair, purpose) for pair in ("boxed", "worn") for purpose in ("wear", "restore", "display")
    }
    assert (rows["surplus_minor"] - (rows["expected_minor"] - rows["landed_minor"])).abs().max() <= 1
    # Mending may be added to wearing, never forced on it.
    worth = dict(rows.select(pl.format("{} {}", "listing_id", "purpose"), "expected_minor").iter_rows())
    for pair in ("boxed", "worn"):
        assert worth[f"{pair} restore"] >= worth[f"{pair} wear"] - 1


def test_to_show_take_the_boxed_pair_to_wear_the_worn_one(rows):
    gaps = {row["purpose"]: row for row in indifference(rows).to_dicts()}
    assert gaps["display"]["gap_minor"] > 0
    # To wear the boxed pair is worth little more than its use, and is asked 40 more.
    assert gaps["wear"]["better"] == "worn"
    assert gaps["wear"]["asked_minor"] == pytest.approx(4000, abs=1)


def test_at_the_indifferent_price_both_pairs_leave_the_same_over(rows):
    gap = next(row for row in indifference(rows).to_dicts() if row["purpose"] == "wear")
    wear = {row["listing_id"]: row for row in rows.filter(pl.col("purpose") == "wear").to_dicts()}
    boxed, worn = wear["boxed"], wear["worn"]
    at_gap = boxed["expected_minor"] - (worn["landed_minor"] + gap["gap_minor"])
    assert at_gap == pytest.approx(worn["surplus_minor"], abs=2)
