"""Calibration: the chances of the day, never recomputed, against what was found; and what it may not conclude."""

import json
import subprocess
import sys
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from sklearn.metrics import brier_score_loss

from triage import store
from triage.learning.calibration import LEAST, calibration
from triage.writeup.calibration import calibration_page, calibration_text, view_of

DAY = date(2026, 11, 25)
ROOT = Path(__file__).parent.parent.parent


class Past:
    """A store filled by hand with calls, purchases, inspections and answers."""

    def __init__(self) -> None:
        self.connection = store.connect()
        self.place: dict[tuple[str, str], int] = {}

    def listing(self, listing: str, seen: date = DAY, status: str = "open") -> None:
        self.connection.execute(
            "INSERT INTO listing (listing_id, source, external_id, title, price_kind, condition, kind, first_seen, "
            "last_seen, status) VALUES (?, 'made up', ?, 'shoes', 'fixed', 'worn', 'pair', ?, ?, ?)",
            [listing, listing, seen, seen, status],
        )

    def call(self, listing: str, on: date, call: str = "buy", buyer: str = "bench", **more: object) -> None:
        """Append a call; ``p_unfit`` and what else differs from a plain one by column."""
        place = self.place[listing, buyer] = self.place.get((listing, buyer), 0) + 1
        row = {
            "p_unfit": {"midsole": 0.3}, "surplus_minor": 2000, "landed_minor": 6000, "heard": [],
            "construction_id": None, "currency": "EUR",
        } | more  # fmt: skip
        self.connection.execute(
            "INSERT INTO call_history (listing_id, buyer, place, as_of, call, plan, surplus_minor, landed_minor, "
            "currency, p_unfit, reason, because, construction_id, text_md5, heard, held, rules_sha256, buyer_sha256) "
            "VALUES (?, ?, ?, ?, ?, 'wear', ?, ?, ?, map(?, ?), 'r', 'b', ?, 't', ?, [], 'x', 'y')",
            [listing, buyer, place, on, call, row["surplus_minor"], row["landed_minor"], row["currency"],
             list(row["p_unfit"]), list(row["p_unfit"].values()), row["construction_id"], row["heard"]],
        )  # fmt: skip

    def found(self, listing: str, part: str, state: str, on: date = DAY) -> None:
        self.connection.execute("INSERT INTO inspection VALUES (?, ?, ?, ?, NULL, NULL)", [listing, part, on, state])

    def bought(self, listing: str, on: date, buyer: str | None = None, **more: object) -> None:
        row = {"listing_id": listing, "buyer": buyer, "bought_on": on, "currency": "EUR"} | more
        marks = ", ".join("?" for _ in row)
        self.connection.execute(f"INSERT INTO purchase ({', '.join(row)}) VALUES ({marks})", [*row.values()])

    def answer(self, listing: str, on: date, state: str = "affirmed", by: str = "answer") -> None:
        sign = None if state == "no_reply" else "midsole_springy"
        self.connection.execute("INSERT INTO answer VALUES (?, ?, ?, ?, ?, NULL)", [listing, sign, on, by, state])


@pytest.fixture
def past():
    made = Past()
    yield made
    made.connection.close()


def days_ago(number: int) -> date:
    return DAY - timedelta(days=number)


def of(found, by: str, name: str) -> dict:
    (row,) = [row for row in found.slices.to_dicts() if (row["by"], row["name"]) == (by, name)]
    return row


def test_the_chance_is_that_of_the_last_call_up_to_the_purchase(past, known):
    past.call("a", days_ago(20), "skip", p_unfit={"midsole": 0.9})
    past.call("a", days_ago(10), "buy", p_unfit={"midsole": 0.25})
    past.call("a", days_ago(5), "skip", p_unfit={"midsole": 0.7})
    past.bought("a", days_ago(8))
    past.found("a", "midsole", "unfit")
    found = calibration(past.connection, known, DAY)
    assert found.score.brier == pytest.approx(0.75**2)
    assert [row["said"] for row in found.bins.to_dicts()] == [0.25]
    assert of(found, "call", "buy")["parts"] == 1
    # What is believed tonight does not matter.
    past.connection.execute(
        "INSERT INTO posterior VALUES ('a', 2, 'unknown', 'midsole', 0.5, 0, 0, 0.98, 0.99, 1.0)",
    )
    assert calibration(past.connection, known, DAY).score == found.score


def test_a_corrected_purchase_counts_from_its_new_day(past, known):
    past.call("a", days_ago(20), p_unfit={"midsole": 0.9})
    past.call("a", days_ago(10), p_unfit={"midsole": 0.25})
    past.bought("a", days_ago(8))
    past.bought("a", days_ago(15))
    past.found("a", "midsole", "unfit")
    assert calibration(past.connection, known, DAY).score.brier == pytest.approx(0.1**2)


def test_the_latest_inspection_of_a_part_counts_and_the_last_told_of_a_day(past, known):
    past.call("a", days_ago(20), p_unfit={"midsole": 0.5, "outsole": 0.5, "bond": 0.5})
    past.found("a", "midsole", "fit", days_ago(3))
    past.found("a", "midsole", "unfit", days_ago(1))
    past.found("a", "outsole", "unfit", days_ago(2))
    past.found("a", "outsole", "fit", days_ago(2))
    past.found("a", "bond", "unfit", days_ago(1))
    past.found("a", "bond", "fit", days_ago(2))
    found = calibration(past.connection, known, DAY)
    assert {row["name"]: row["unfit"] for row in found.slices.to_dicts() if row["by"] == "part"} == {
        "midsole": 1, "outsole": 0, "bond": 1,
    }  # fmt: skip
    assert calibration(past.connection, known, days_ago(2)).score.unfit == 0


def test_the_call_is_that_of_the_buyer_it_was_bought_for_else_of_the_one_it_suited_best(past, known):
    for listing in ("a", "b"):
        past.call(listing, days_ago(9), "skip", "daily", p_unfit={"midsole": 0.8}, surplus_minor=9000)
        past.call(listing, days_ago(9), "buy", "bench", p_unfit={"midsole": 0.1}, surplus_minor=100)
        past.call(listing, days_ago(9), "buy", "hills", p_unfit={"midsole": 0.2}, surplus_minor=200)
        past.found(listing, "midsole", "fit")
    past.bought("a", days_ago(5), "daily")
    past.bought("b", days_ago(5))
    found = calibration(past.connection, known, DAY)
    assert of(found, "call", "skip")["said"] == pytest.approx(0.8)
    assert of(found, "call", "buy")["said"] == pytest.approx(0.2)


def test_parts_without_a_chance_are_counted_and_not_scored(past, known):
    past.call("early", days_ago(3))
    past.bought("early", days_ago(4))
    past.found("early", "midsole", "fit")
    past.call("other", days_ago(3))
    past.found("other", "cushion", "unfit")
    past.found("unknown", "cushion", "unfit")
    found = calibration(past.connection, known, DAY)
    assert found.score is None
    assert found.inspected == 3
    assert found.unscored == {"no call on the pair up to its purchase": 2, "no chance was given for the part": 1}
    told = calibration_text(view_of(found, known))
    assert "2 inspected parts not scored: no call on the pair up to its purchase." in told
    assert "Nothing to score yet" in told


def test_slices_go_by_material_sign_and_part(past, known):
    past.connection.execute(
        "INSERT INTO construction (model_id, midsole, outsole, life_factor, generic) VALUES "
        "('X', 'pu_ester_midsole', NULL, 1, FALSE)"
    )
    heard = ["listing midsole_springy affirmed", "answer midsole_springy affirmed", "listing outsole_hard denied",
             "listing claimed_wearable affirmed hedged", "listing returns_ok affirmed"]  # fmt: skip
    past.call("a", days_ago(3), p_unfit={"midsole": 0.4, "outsole": 0.2}, heard=heard, construction_id="X")
    past.found("a", "midsole", "unfit")
    past.found("a", "outsole", "fit")
    found = calibration(past.connection, known, DAY)
    assert of(found, "material", "pu_ester_midsole")["said"] == pytest.approx(0.4)
    assert of(found, "material", "?")["said"] == pytest.approx(0.2)
    assert of(found, "sign", "midsole_springy affirmed")["parts"] == 1
    assert of(found, "sign", "outsole_hard denied")["unfit"] == 0
    assert of(found, "sign", "claimed_wearable affirmed")["parts"] == 2
    assert not [row for row in found.slices.to_dicts() if row["name"].startswith("returns_ok")]
    told = calibration_text(view_of(found, known))
    assert "the foam springs back" in told
    assert "pu_ester" not in told


def test_the_years_of_a_chance_count_from_the_purchase_whatever_was_found_when(past, known):
    for listing, ago, buyer in (("old", 800, "bench"), ("new", 700, "bench"), ("lost", 800, "nobody")):
        past.call(listing, days_ago(900), buyer=buyer)
        past.bought(listing, days_ago(ago), buyer)
        past.found(listing, "midsole", "unfit", days_ago(600))
    found = calibration(past.connection, known, DAY)
    assert known.buyers["bench"].horizon_years == 2
    names = {row["name"]: row["parts"] for row in found.slices.to_dicts() if row["by"] == "horizon"}
    assert names == {"years are over": 1, "years still run": 1, "a buyer with no file any more": 1}


def test_surplus_is_reckoned_at_the_price_that_was_paid(past, known):
    past.call("a", days_ago(9), surplus_minor=2000, landed_minor=6000)
    past.bought("a", days_ago(5), landed_minor=5000, repair_minor=1500, worth_minor=9000)
    past.call("b", days_ago(9), surplus_minor=1000, landed_minor=4000)
    past.bought("b", days_ago(5), worth_minor=4500)
    past.call("kept", days_ago(9))
    past.bought("kept", days_ago(5), landed_minor=5000)
    past.call("abroad", days_ago(9))
    past.bought("abroad", days_ago(5), currency="JPY", landed_minor=900000, worth_minor=900000)
    found = calibration(past.connection, known, DAY)
    rows = {row["listing_id"]: (row["expected_minor"], row["realised_minor"]) for row in found.money.to_dicts()}
    assert rows == {"a": (3000, 2500), "b": (1000, 500)}
    assert (found.bought, found.surplus.pairs, found.surplus.at_least) == (4, 2, 0)
    assert (found.surplus.expected_minor, found.surplus.realised_minor) == (2000, 1500)
    assert "too few to conclude from" in calibration_text(view_of(found, known))


def test_an_ask_counts_as_changed_where_its_answer_was_heard_and_the_call_moved(past, known):
    springs = ["answer midsole_springy affirmed"]
    past.call("moved", days_ago(9), "ask")
    past.answer("moved", days_ago(8))
    past.call("moved", days_ago(8), "buy", heard=springs)
    past.call("stayed", days_ago(9), "ask")
    past.answer("stayed", days_ago(8))
    past.call("stayed", days_ago(8), "ask", heard=springs)
    past.call("cheaper", days_ago(9), "ask", heard=springs)
    past.answer("cheaper", days_ago(8))
    past.call("cheaper", days_ago(7), "buy", heard=springs)
    past.call("silent", days_ago(9), "ask")
    past.answer("silent", days_ago(8), "no_reply")
    past.call("silent", days_ago(7), "skip")
    past.call("looked", days_ago(9), "ask")
    past.answer("looked", days_ago(8), by="buyer")
    past.call("looked", days_ago(8), "skip", heard=["buyer midsole_springy affirmed"])
    past.call("bought", days_ago(9), "buy")
    past.answer("bought", days_ago(8))
    asks = calibration(past.connection, known, DAY).asks
    assert (asks.asks, asks.answered, asks.silent, asks.changed) == (5, 3, 1, 1)
    assert calibration(past.connection, known, days_ago(9)).asks.answered == 0


def test_an_answer_of_the_real_chain_counts(weigh, known):
    from triage import answers

    boots = {"title": "Ostrevik Holmkrag Light GTR boots, one owner", "condition": "worn", "ships_from": "GB",
             "body": "Bought in the 2011 sale. Walked the fells. Dry cupboard ever since."}  # fmt: skip
    prices = {f"p{n:02}": 3000 + 500 * n for n in range(14)}
    night = weigh(
        **{key: {**boots, "price_base_minor": price, "price_minor": price} for key, price in prices.items()}
    ).connection
    asked = night.execute("SELECT DISTINCT listing_id FROM call_history WHERE call = 'ask' ORDER BY 1").fetchall()
    assert asked, "no ask to answer"
    before = calibration(night, known, DAY).asks
    told = answers.Told(asked[0][0], "midsole_crumbling", DAY, "answer", "affirmed", None)
    answers.take(night, known, [told], DAY)
    after = calibration(night, known, DAY).asks
    assert before.answered == 0
    assert after.answered >= 1
    now = dict(night.execute("SELECT buyer, call FROM verdict WHERE listing_id = ?", [asked[0][0]]).fetchall())
    assert after.changed == sum(
        now[buyer] != "ask"
        for (buyer,) in night.execute(
            "SELECT buyer FROM call_history WHERE listing_id = ? AND place = 1 AND call = 'ask'", [asked[0][0]]
        ).fetchall()
    )
    assert after.changed >= 1


def test_skipped_pairs_are_counted_by_what_became_of_them(past, known):
    for listing, status in (
        ("open", "open"),
        ("sold", "sold"),
        ("gone", "gone"),
        ("again", "gone"),
        ("rotten", "gone"),
    ):
        past.listing(listing, days_ago(9), status)
        past.call(listing, days_ago(9), "skip")
    for listing in ("bought", "wanted"):
        past.listing(listing, days_ago(9), "gone")
        past.call(listing, days_ago(9), "skip")
    past.call("wanted", days_ago(9), "ask", "daily")
    past.bought("bought", days_ago(3))
    for listing in ("again", "rotten"):
        past.listing(f"{listing} 2", days_ago(2))
        for one, other in ((listing, f"{listing} 2"), (f"{listing} 2", listing)):
            past.connection.execute("INSERT INTO twin VALUES (?, ?, 'relist', 0.9, 'same')", [one, other])
    past.connection.execute(
        "INSERT INTO observation (listing_id, sign, said_by, state, hedged, quote, start, field, language, counts) "
        "VALUES ('rotten 2', 'midsole_crumbling', 'listing', 'affirmed', FALSE, 'crumbs', 0, 'body', 'en', TRUE)"
    )
    past.call("again 2", days_ago(2), "skip")
    fates = dict(calibration(past.connection, known, DAY).censored.iter_rows())
    assert fates == {"still open": 2, "sold": 1, "gone": 1, "relisted": 1, "in pieces": 1}


def many(past: Past, pairs: int) -> tuple[np.ndarray, np.ndarray]:
    """Fill a store with pairs of two parts; return chances and what was found."""
    rng = np.random.default_rng(7)
    chance = rng.beta(0.8, 0.8, (pairs, 2)).round(3)
    unfit = rng.random((pairs, 2)) < chance
    for n in range(pairs):
        past.call(f"p{n:03}", days_ago(9), p_unfit={"midsole": chance[n, 0], "outsole": chance[n, 1]})
        past.bought(f"p{n:03}", days_ago(8), "bench")
        for part, one in zip(("midsole", "outsole"), unfit[n], strict=True):
            past.found(f"p{n:03}", part, "unfit" if one else "fit")
    return chance.ravel(), unfit.ravel()


def test_the_score_of_a_store_is_scikit_learns_and_its_parts_add_up(past, known):
    chance, unfit = many(past, 80)
    found = calibration(past.connection, known, DAY)
    assert found.score.brier == pytest.approx(brier_score_loss(unfit, chance), abs=1e-12)
    assert found.score.brier_parts.score == pytest.approx(found.score.brier, abs=1e-12)
    assert found.bins["parts"].sum() == found.score.parts == 160
    weighted = (found.bins["found"] * found.bins["parts"]).sum()
    assert weighted == pytest.approx(unfit.sum())
    assert found.score.half is not None
    told = calibration_text(view_of(found, known))
    assert "Too few" not in told
    assert "give or take" in told


def test_with_few_inspections_there_are_intervals_and_no_conclusions(past, known):
    many(past, LEAST - 1)
    found = calibration(past.connection, known, DAY)
    view = view_of(found, known)
    assert not found.score.enough
    assert found.score.half is None
    assert view.warning.startswith("Too few to conclude from: 38 parts of 19 pairs")
    assert {row[-1] for _, rows in view.tables for row in rows} == {"too few"}
    width = of(found, "part", "midsole")
    assert width["found_hi"] - width["found_lo"] > 0.3


def test_a_slice_says_where_too_much_or_too_little_was_said(past, known):
    for n in range(60):
        past.call(f"p{n:02}", days_ago(9), p_unfit={"midsole": 0.9, "outsole": 0.1, "bond": 0.5})
        for part in ("midsole", "outsole", "bond"):
            past.found(f"p{n:02}", part, "unfit" if n % 2 else "fit")
    rows = dict(view_of(calibration(past.connection, known, DAY), known).tables)["Part by part"]
    assert {row[0]: row[-1] for row in rows} == {
        "midsole": "said too much", "outsole": "said too little", "bond": "in line",
    }  # fmt: skip


def test_the_page_names_the_selection_and_takes_no_markup_from_an_id(past, known):
    many(past, 5)
    past.call("<script>x</script>", days_ago(9))
    past.bought("<script>x</script>", days_ago(8), "bench", worth_minor=100)
    page = calibration_page(view_of(calibration(past.connection, known, DAY), known))
    assert "Only pairs that were bought are inspected" in page
    assert "<script>x" not in page
    assert "&lt;script&gt;x" in page
    assert page.count('class="dot"') == calibration(past.connection, known, DAY).bins.height > 3


def test_the_command_prints_text_or_json_and_writes_the_page(known, tmp_path):
    path = tmp_path / "t.duckdb"
    with store.open_store(path):
        pass

    def triage(*more: str) -> str:
        arguments = ["calibration", "--store", str(path), "--as-of", str(DAY), "--out", str(tmp_path / "out"), *more]
        command = [sys.executable, "-m", "triage.cli", *arguments]
        done = subprocess.run(command, capture_output=True, text=True, cwd=ROOT, timeout=120)
        assert done.returncode == 0, done.stderr
        return done.stdout

    assert "Nothing to score yet" in triage()
    assert (tmp_path / "out" / "calibration" / "index.html").is_file()
    told = json.loads(triage("--json"))
    assert told["score"] is None
    assert told["asks"]["asks"] == 0
    assert told["schema_version"] == 1
