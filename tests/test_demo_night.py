"""The demo night, end to end: every row accounted for, the same again is the same, calls a buyer would sign."""

import csv
import filecmp
import hashlib
import shutil
from collections import Counter
from datetime import date
from pathlib import Path

import polars as pl
import pytest

from triage import batch, catalogue, store
from triage.errors import TriageError

ROOT = Path(__file__).parent.parent
AS_OF = date(2026, 11, 25)
TABLES = (
    "run", "feed", "raw_row", "reject", "listing", "sighting", "twin", "match", "match_evidence", "observation",
    "prognosis", "finding", "posterior", "soundness", "verdict", "plan", "question", "answer", "inspection",
    "call_history",
)  # fmt: skip


def state_of(connection: store.Connection) -> dict[str, str]:
    """Return a hash of every table's rows, whatever their order."""
    found = {}
    for table in TABLES:
        rows = connection.execute(f"SELECT CAST(t AS VARCHAR) FROM {table} t ORDER BY 1").fetchall()
        found[table] = hashlib.sha256(repr(rows).encode()).hexdigest()
    return found


class Demo:
    """The demo night once, and once more over the same exports."""

    def __init__(self, place: Path) -> None:
        known = catalogue.load(ROOT / "rules")
        self.out = place / "reports"
        self.again = place / "again"
        with store.open_store(place / "demo.duckdb") as connection:
            self.night = batch.nightly(connection, known, [ROOT / "demo_feeds"], AS_OF, self.out)
            self.state = state_of(connection)
            self.second = batch.nightly(connection, known, [ROOT / "demo_feeds"], AS_OF, self.again)
            self.state_again = state_of(connection)
            self.frames = {table: store.frame(connection, f"SELECT * FROM {table}") for table in TABLES}


@pytest.fixture(scope="module")
def demo(tmp_path_factory) -> Demo:
    return Demo(tmp_path_factory.mktemp("demo"))


@pytest.fixture(scope="module")
def truth() -> pl.DataFrame:
    with (ROOT / "tests" / "demo_truth.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    return pl.DataFrame(rows).with_columns(listing_id=pl.format("{}/{}", "source", "external_id"))


def test_every_row_ends_as_listing_further_sighting_or_reject(demo):
    account = demo.night.account
    assert account.height >= 10
    for row in account.iter_rows(named=True):
        assert row["rows_read"] == row["listings"] + row["further"] + row["rejects"], row["path"]
    assert account["listings"].sum() == demo.frames["listing"].height
    assert account["rows_read"].sum() == demo.frames["raw_row"].height + demo.frames["reject"].filter(
        (pl.col("scope") == "row") & (pl.col("stage") == "ingest")).height  # fmt: skip


def test_there_are_300_listings_in_six_languages_over_44_releases(demo, truth):
    assert demo.frames["listing"].height >= 300
    languages = Counter(truth["language"])
    assert set(languages) == {"en", "de", "fr", "it", "es", "ja"}
    assert min(languages.values()) >= 30
    assert truth.filter(pl.col("true_release") != "-")["true_release"].n_unique() == 44


def test_the_same_exports_again_change_nothing(demo):
    assert {note.outcome for note in demo.second.notes} == {"seen"}
    assert demo.state_again == demo.state


def test_the_same_night_again_writes_the_same_report(demo):
    for path in sorted(demo.out.rglob("*")):
        if path.is_file():
            assert filecmp.cmp(path, demo.again / path.relative_to(demo.out), shallow=False), path.name


def test_the_committed_report_is_what_the_demo_writes(demo):
    written = {path.relative_to(demo.out).as_posix() for path in demo.out.rglob("[!.]*") if path.is_file()}
    assert {"2026-11-25/index.html", "latest/index.html"} <= written
    for name in sorted(written):
        assert (ROOT / "reports" / name).read_bytes() == (demo.out / name).read_bytes(), (
            f"{name} differs: python tests/docs/demo.py"
        )


def test_one_file_of_the_second_night_is_recognised_as_read_before(demo):
    assert Counter(note.outcome for note in demo.night.notes)["seen"] == 1


def test_broken_rows_are_refused_with_place_field_value_and_what_was_expected(demo):
    refused = demo.frames["reject"]
    assert refused.filter(pl.col("scope") == "row").height >= 5
    assert refused.filter(pl.col("scope") == "value").height >= 5
    assert refused.filter(pl.col("hint").str.len_chars() < 3).height == 0


def test_kinds_are_told_apart(demo, truth):
    joined = truth.join(demo.frames["listing"], on="listing_id")
    assert joined.height == truth.height
    wrong = joined.filter(pl.col("kind") != pl.col("kind_right"))
    assert wrong.height <= 0.01 * truth.height, wrong.select("listing_id", "kind", "kind_right").to_dicts()


def test_what_is_no_pair_gets_no_weighing_and_a_reason(demo):
    none = demo.frames["verdict"].filter(pl.col("plan") == "none")
    assert none.height > 50
    assert set(none["call"]) == {"skip"}
    assert none.filter(pl.col("reason").str.len_chars() < 3).height == 0


def test_an_accepted_release_is_the_right_one(demo, truth):
    accepted = demo.frames["match"].filter(pl.col("accepted") & (pl.col("place") == 1))
    joined = accepted.join(truth.filter(pl.col("kind") == "pair"), on="listing_id")
    right = joined.filter(pl.col("construction_id") == pl.col("true_release")).height
    assert joined.height > 200
    assert right >= 0.98 * joined.height


def test_candidates_sum_to_one(demo):
    sums = demo.frames["match"].group_by("listing_id").agg(pl.col("probability").sum())
    assert sums.filter((pl.col("probability") - 1).abs() > 1e-9).height == 0


def test_the_night_yields_buys_asks_and_skips_for_buyers_of_each_purpose(demo):
    calls = Counter(demo.frames["verdict"].select("buyer", "call").iter_rows())
    for buyer in ("bench", "daily", "hills", "cabinet"):
        for call in ("buy", "ask", "skip"):
            assert calls[(buyer, call)] >= 1, (buyer, call)


def test_a_buy_keeps_margin_budget_and_floor(demo):
    known = catalogue.load(ROOT / "rules")
    buys = demo.frames["verdict"].filter(pl.col("call") == "buy")
    assert buys.height
    for row in buys.iter_rows(named=True):
        buyer = known.buyers[row["buyer"]]
        assert row["surplus_minor"] >= buyer.margin_minor - 1
        assert row["landed_minor"] <= buyer.budget_minor
        assert row["plan"] not in ("wear", "restore") or row["p_after_plan"] >= buyer.wearable_floor


def test_every_ask_has_a_question_in_the_sellers_language(demo):
    asks = demo.frames["verdict"].filter(pl.col("call") == "ask").select("listing_id", "buyer")
    questions = demo.frames["question"]
    assert asks.join(questions, on=["listing_id", "buyer"], how="anti").height == 0
    counts = questions.group_by("listing_id", "buyer").len()["len"]
    assert counts.max() <= 3
    told = questions.join(demo.frames["listing"].select("listing_id", spoken="language"), on="listing_id")
    known = told.filter(pl.col("spoken").is_in(["en", "de", "fr", "it", "es", "ja"]))
    assert known.filter(pl.col("spoken") != pl.col("language")).height == 0


@pytest.mark.parametrize(
    ("listing", "buyer", "call"),
    [
        # Deadstock ester foam of 1991, asked far too high, never returned: nobody buys that to wear.
        ("harbour auction/D01", "bench", "skip"),
        ("attic board/D04", "daily", "skip"),
        # Hydrolysis named, display only.
        ("lantern flea/D05", "bench", "skip"),
        # A moulded PU unit sole that can't be transplanted.
        ("attic board/D08", "daily", "skip"),
        # One gas bubble burst and a pod off.
        ("harbour auction/D10", "bench", "skip"),
        # A tacky monobloc is the soft half reverting.
        ("harbour auction/D13", "hills", "skip"),
        # Box only, wanted, copy.
        ("harbour auction/D18", "bench", "skip"),
        ("attic board/D19", "bench", "skip"),
        ("attic board/D20", "bench", "skip"),
        # Untested PU unit boots of 1995.
        ("lantern flea/D23", "bench", "skip"),
    ],
)
def test_a_described_listing_gets_the_call_an_experienced_buyer_would_make(demo, listing, buyer, call):
    row = demo.frames["verdict"].filter((pl.col("listing_id") == listing) & (pl.col("buyer") == buyer))
    assert row["call"].to_list() == [call]


def test_a_file_that_does_not_exist_leaves_everything_as_it_was(tmp_path):
    shutil.copytree(ROOT / "demo_feeds" / "2026-11-24", tmp_path / "feeds" / "2026-11-24")
    known = catalogue.load(ROOT / "rules")
    with store.open_store(tmp_path / "t.duckdb") as connection:
        batch.nightly(connection, known, [tmp_path / "feeds"], AS_OF, tmp_path / "reports")
        before = state_of(connection)
        with pytest.raises(TriageError, match="nowhere"):
            batch.nightly(connection, known, [tmp_path / "feeds", tmp_path / "nowhere"], AS_OF, tmp_path / "reports")
        assert state_of(connection) == before
