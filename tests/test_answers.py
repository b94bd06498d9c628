"""Answers: from the command line or a file, whole or not at all, and only their listings are weighed anew."""

import csv
from datetime import date
from pathlib import Path

import pytest

from triage import answers, store
from triage.answers import COLUMNS, Told
from triage.errors import TriageError
from triage.writeup.history import answered

DAY = date(2026, 11, 25)
PU = {"title": "Haldrassen Torquellan HD-02", "body": "Lightly worn.", "condition": "worn_lightly"}
NONE = dict.fromkeys(("listing", "sign", "answer", "by", "text"))
# Tables whose rows a listing has of its own.
OF_LISTINGS = ("match", "match_evidence", "observation", "prognosis", "finding", "finding_fired", "finding_open",
               "posterior", "soundness", "plan", "question", "verdict", "call_history")  # fmt: skip


@pytest.fixture
def night(weigh):
    """Return a store of six pairs of one release, weighed."""
    return weigh(**{f"p{n}": {**PU, "price_base_minor": 3000 + 100 * n} for n in range(6)}).connection


def written(place: Path, *rows: dict[str, str], columns: tuple[str, ...] = tuple(COLUMNS)) -> Path:
    path = place / "answers.csv"
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, columns)
        writer.writeheader()
        writer.writerows(rows)
    return path


def taken(connection: store.Connection, known, path: Path) -> list[str]:
    given = answers.given(connection, path, NONE, tuple(known.signs), DAY)
    return answers.take(connection, known, given, DAY)


def told(connection: store.Connection, listing: str) -> dict[tuple[str, str], str]:
    """Return what counts of answers: speaker and sign to state."""
    query = "SELECT said_by, sign, state FROM observation WHERE counts AND field = 'answer' AND listing_id = ?"
    return {(by, sign): state for by, sign, state in connection.execute(query, [listing]).fetchall()}


def test_a_file_of_answers_is_taken_and_moves_its_listings(night, known, tmp_path):
    path = written(
        tmp_path,
        {"listing": "p1", "sign": "midsole_crumbling", "answer": "yes", "by": "buyer", "text": "dust in photo 3"},
        {"listing": "p2", "sign": "midsole_springy", "answer": "yes"},
        {"listing": "p3", "sign": "midsole_springy", "answer": "none", "date": "2026-11-20"},
    )
    assert taken(night, known, path) == ["p1", "p2", "p3"]
    assert told(night, "p1") == {("buyer", "midsole_crumbling"): "affirmed"}
    assert told(night, "p2") == {("answer", "midsole_springy"): "affirmed"}
    assert told(night, "p3") == {}
    query = "SELECT listing_id, answered_on, state FROM answer WHERE listing_id = 'p3'"
    assert night.execute(query).fetchall() == [("p3", date(2026, 11, 20), "no_reply")]
    sound = dict(night.execute("SELECT listing_id, p_wearable FROM verdict WHERE buyer = 'bench'").fetchall())
    assert sound["p1"] < sound["p0"] < sound["p2"]
    assert taken(night, known, path) == []
    assert night.execute("SELECT count(*) FROM answer").fetchall() == [(3,)]


@pytest.mark.parametrize(
    "words",
    [
        "Yes, the foam springs back at once.",
        "Der Schaum federt sofort zurück.",
        "La mousse reprend sa forme tout de suite.",
        "La schiuma torna subito su.",
        "La espuma vuelve enseguida.",
        "フォームは弾力があります。",
    ],
)
def test_words_without_a_sign_are_read_in_six_languages(night, known, tmp_path, words):
    taken(night, known, written(tmp_path, {"listing": "p1", "text": words}))
    assert told(night, "p1")[("answer", "midsole_springy")] == "affirmed"
    row = night.execute("SELECT sign, state, text FROM answer").fetchall()
    assert row == [(None, None, words)]


def test_the_buyers_own_note_is_read_as_the_buyers(night, known, tmp_path):
    taken(night, known, written(tmp_path, {"listing": "p1", "by": "buyer", "text": "the outsole is cracked"}))
    assert told(night, "p1") == {("buyer", "outsole_cracked"): "affirmed"}


@pytest.mark.parametrize("turned", [False, True])
def test_the_later_answer_of_a_speaker_holds_whichever_is_told_first(night, known, tmp_path, turned):
    rows = [
        {"listing": "p1", "sign": "midsole_crumbling", "answer": "no", "date": "2026-11-20"},
        {"listing": "p1", "date": "2026-11-22", "text": "Sorry, the foam crumbles."},
        {"listing": "p2", "date": "2026-11-20", "text": "I fear the foam crumbles."},
        {"listing": "p2", "sign": "midsole_crumbling", "answer": "no", "date": "2026-11-22"},
    ]
    taken(night, known, written(tmp_path, *(reversed(rows) if turned else rows)))
    assert told(night, "p1") == {("answer", "midsole_crumbling"): "affirmed"}
    assert told(night, "p2") == {("answer", "midsole_crumbling"): "denied"}


def test_a_later_seller_does_not_unsay_what_the_buyer_saw(night, known, tmp_path):
    rows = [
        {"listing": "p1", "sign": "midsole_crumbling", "answer": "yes", "by": "buyer", "date": "2026-11-20"},
        {"listing": "p1", "sign": "midsole_crumbling", "answer": "no", "date": "2026-11-24"},
    ]
    taken(night, known, written(tmp_path, *rows))
    both = {("buyer", "midsole_crumbling"): "affirmed", ("answer", "midsole_crumbling"): "denied"}
    assert told(night, "p1") == both
    assert night.execute("SELECT p_wearable < 0.1 FROM verdict WHERE listing_id = 'p1'").fetchall()[0][0]


def test_every_fault_is_named_with_its_line_and_nothing_is_taken(night, known, tmp_path):
    path = written(
        tmp_path,
        {"listing": "p1", "sign": "midsole_springy", "answer": "yes"},
        {"listing": "nobody", "sign": "midsole_springy", "answer": "yes"},
        {"listing": "p1", "sign": "springy", "answer": "perhaps", "by": "cousin", "date": "25.11.2026"},
        {"listing": "p1", "answer": "yes"},
        {"listing": "p1", "sign": "midsole_springy"},
        {"listing": "p1", "date": "2026-11-26", "text": "springs back"},
        {"listing": "", "text": "springs back"},
        {"listing": "p1"},
        columns=(*COLUMNS, "colour"),
    )
    with pytest.raises(TriageError) as error:
        taken(night, known, path)
    found = {(int(p.place.rsplit(":", 1)[1]), p.found.split(" is ")[0]) for p in error.value.problems}
    assert found == {
        (1, "column 'colour'"), (3, "listing nobody"), (4, "sign"), (4, "answer"), (4, "by"), (4, "date"), (5, "sign"),
        (6, "answer"), (7, "date"), (8, "listing"), (9, "text"),
    }  # fmt: skip
    assert error.value.exit_code == 2
    assert night.execute("SELECT count(*) FROM answer").fetchall() == [(0,)]


def test_faults_are_told_in_the_order_in_which_a_file_is_read(night, known, tmp_path):
    rows = (
        {"listing": "p1" if n % 50 else "nobody", "sign": "midsole_springy", "answer": "yes"} for n in range(1, 151)
    )
    with pytest.raises(TriageError) as error:
        taken(night, known, written(tmp_path, *rows))
    assert [int(one.place.rsplit(":", 1)[1]) for one in error.value.problems] == [51, 101, 151]


@pytest.mark.parametrize("text", ["", "listing\n", "title,answer\nx,yes\n"])
def test_a_file_without_answers_is_refused(night, known, tmp_path, text):
    path = tmp_path / "answers.csv"
    path.write_text(text, "utf-8")
    with pytest.raises(TriageError, match=r"no answer in it|no column listing"):
        taken(night, known, path)


def test_only_the_touched_listing_is_redone(night, known, tmp_path):
    """Rows of the others stay byte for byte, and are not even written again: their row ids stay."""
    comparable = night.execute("SELECT listing_id, value_minor, surplus_minor FROM verdict ORDER BY ALL").fetchall()

    def others() -> dict[str, list]:
        # Rank is a place among all: it moves when another pair does. A view's rows have no place.
        kept = {"verdict": "t.* EXCLUDE (rank)", "prognosis": "t.*", "finding": "t.*"}
        return {
            table: night.execute(
                f"SELECT {kept.get(table, 't.rowid, t.*')} FROM {table} t WHERE listing_id <> 'p1' ORDER BY ALL"
            ).fetchall()
            for table in OF_LISTINGS
        }

    before = others()
    taken(night, known, written(tmp_path, {"listing": "p1", "sign": "midsole_crumbling", "answer": "yes"}))
    assert others() == before
    assert night.execute("SELECT listing_id FROM todo").fetchall() == [("p1",)]
    after = night.execute("SELECT listing_id, value_minor, surplus_minor FROM verdict ORDER BY ALL").fetchall()
    assert {row[0] for row in set(after) ^ set(comparable)} == {"p1"}


def test_an_answer_gives_what_a_whole_night_with_it_would(night, known, weigh, tmp_path):
    taken(night, known, written(tmp_path, {"listing": "p1", "sign": "midsole_springy", "answer": "yes"}))
    query = "SELECT * EXCLUDE (value_basis) FROM verdict WHERE listing_id = 'p1' ORDER BY buyer"
    alone = night.execute(query).fetchall()
    from triage import batch

    batch.weigh(night, known, DAY)
    assert night.execute(query).fetchall() == alone


def test_the_change_is_told_with_its_reason(night, known):
    cells = {"listing": "p1", "sign": "midsole_crumbling", "answer": "yes", "by": "seller", "text": None}
    given = answers.given(night, None, cells, tuple(known.signs), DAY)
    assert given == [Told("p1", "midsole_crumbling", DAY, "answer", "affirmed", None)]
    words = answered(night, known, lambda: answers.take(night, known, given, DAY))
    assert words.startswith("1 listing weighed anew\n")
    assert "now " in words
    assert "because the seller says the foam crumbles" in words
    again = answered(night, known, lambda: answers.take(night, known, given, DAY))
    assert again == "nothing new: the store has these answers already\n"


def test_the_readme_names_every_column_of_a_file():
    text = (Path(__file__).parent.parent / "README.md").read_text("utf-8")
    table = text.split("## Answers")[1].split("## ")[0]
    named = [line.split("|")[1].strip() for line in table.splitlines() if line.startswith("| ")]
    assert named == ["column", *COLUMNS]
