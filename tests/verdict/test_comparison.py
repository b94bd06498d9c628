"""Pairs of one model beside each other, purpose by purpose."""

from datetime import date

import polars as pl
import pytest

from triage import batch
from triage.verdict.comparison import compare, indifference, pairs_of, recommended
from triage.writeup.compare_text import comparison_text, recommendation

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
        (pair, purpose) for pair in ("boxed", "worn") for purpose in ("wear", "restore", "display", "resell")
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


def test_money_by_hand(rows, known):
    """Prices 90 and 50, postage 6, from the same country: no duty, no tax, no fees."""
    bench = known.buyers["bench"]
    (want,) = [one for one in bench.want if one.category == "basketball"]
    assert (want.sound_minor, want.display_minor, want.parts_minor) == (15_000, 8000, None)
    by = {(row["listing_id"], row["purpose"]): row for row in rows.to_dicts()}
    for pair, landed, sound in (("boxed", 9600, 15_000), ("worn", 5600, round(15_000 * 0.85))):
        for purpose in ("wear", "restore", "display", "resell"):
            row = by[pair, purpose]
            assert row["landed_minor"] == landed
            # Worn but not heavily: 0.85 of what an unworn pair is worth.
            assert row["value_minor"] == sound
            assert row["surplus_minor"] == pytest.approx(row["expected_minor"] - landed, abs=1)
        # At worst a pair to wear is good for its parts alone, 20 for this category.
        assert by[pair, "wear"]["at_risk_minor"] == landed - 2000
        assert by[pair, "wear"]["repair_minor"] == 0
        assert by[pair, "wear"]["p_after"] == pytest.approx(by[pair, "wear"]["p_wearable"], abs=1e-9)


def test_chances_by_part_are_those_of_the_night(rows, two):
    for row in rows.filter(pl.col("purpose") == "wear").to_dicts():
        query = "SELECT part, p_unfit FROM posterior WHERE listing_id = ? AND horizon_years = 2"
        believed = dict(two.connection.execute(query, [row["listing_id"]]).fetchall())
        told = {name.removeprefix("p_unfit_"): value for name, value in row.items() if name.startswith("p_unfit_")}
        assert len(told) == 8
        assert {part: value for part, value in told.items() if value is not None} == pytest.approx(believed, abs=1e-9)


@pytest.mark.parametrize(("nudge", "better"), [(-100, "deadstock"), (100, "worn")])
def test_the_better_pair_turns_where_the_gap_says(weigh, known, rows, nudge, better):
    gap = next(row for row in indifference(rows).to_dicts() if row["purpose"] == "restore")
    price = 5000 + gap["gap_minor"] + nudge
    market = weigh(
        boxed={**EVA, "body": "Deadstock, never worn.", "condition": "deadstock", "price_base_minor": price},
        worn={**EVA, "body": "Worn last week without problems.", "condition": "worn", "price_base_minor": 5000},
    )
    pairs = pairs_of(market.connection, "HD-04")
    again = compare(market.connection, batch.ground(known), known.buyers["bench"], pairs, date(2026, 11, 25))
    turned = next(row for row in indifference(again).to_dicts() if row["purpose"] == "restore")
    assert turned["gap_minor"] == pytest.approx(gap["gap_minor"], abs=1)
    assert turned["better"] == better


def test_one_pair_is_recommended_with_its_reason_in_words(rows, known):
    best = recommended(rows, known.buyers["bench"])
    assert best["take"]["listing_id"] == "worn"
    assert best["against"]["listing_id"] == "boxed"
    words = recommendation(best, "EUR").replace("\u00a0", " ")
    assert words.startswith("take the worn pair [worn] to ")
    assert "It costs EUR 40 less at the door and is worth EUR " in words
    text = comparison_text(rows, indifference(rows), best, "Bench", "EUR").replace("\u00a0", " ")
    assert words in text
    assert text.count("fails: ") == rows.height


def test_where_nothing_keeps_the_margin_none_is_recommended(rows, known):
    greedy = known.buyers["bench"].model_copy(update={"margin_minor": 90_000})
    best = recommended(rows.with_columns(offer_minor=pl.lit(0)), greedy)
    assert best["take"] is None
    assert best["offer"] is None
    assert recommendation(best, "EUR").startswith("take none; even the ")
    some = recommended(rows, greedy)
    assert recommendation(some, "EUR").startswith("take none as priced; the ")


def test_a_pair_to_wear_is_recommended_only_above_the_floor(rows, known):
    wearer = known.buyers["daily"].model_copy(update={"wearable_floor": 1.0})
    best = recommended(rows, wearer)
    assert best["take"] is None
    assert "wearable after the plan" in recommendation(best, "EUR")
