"""Forgetting a seller: nothing of them is in any file afterwards, and what the buyer found is."""

import csv
import json
import shutil
import subprocess
import sys
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import duckdb
import pytest

from triage import batch, store
from triage.errors import TriageError
from triage.keeping import forget as forgetting
from triage.keeping.copies import copies_of, log_of
from triage.keeping.forget import KEPT, forget
from triage.keeping.held import held, private
from triage.keeping.verify import verify
from triage.writeup.forget import take_away

ROOT = Path(__file__).parent.parent.parent
DAY, NEXT = date(2026, 11, 25), date(2026, 11, 26)
NAME = "Wilhelmine Ohnesorg"
# One word each that nobody else's text, and no rule, has.
PLANTED = (
    "Wilhelmine",
    "Ohnesorg",
    "quittengelb",
    "Dachkammerschrank",
    "zimtsternchen",
    "wollmaus",
    "H77777",
    "H77778",
)
COLUMNS = ("Listing ID", "Title", "Description", "Price", "Currency", "Size", "Seller", "Link")


def feed(folder: Path, night: str, *rows: tuple[str, ...]) -> None:
    (folder / night).mkdir(parents=True)
    with (folder / night / "x.csv").open("w", encoding="utf-8", newline="") as stream:
        csv.writer(stream).writerows([COLUMNS, *rows])


@pytest.fixture(scope="module")
def before(tmp_path_factory, known) -> Path:
    """A folder with a store of two nights, its copies and reports; the second night the seller's name has changed."""
    place = tmp_path_factory.mktemp("before")
    theirs = "Haldrassen Torquellan HD-02 quittengelb", "Lay in the Dachkammerschrank. The foam springs back."
    other = "Ostrevik Holmkrag boots", "Walked the fells, {}."
    link = "https://market.example/{}"
    rows = [
        ("H77777", *theirs, "50.00", "EUR", "EU 42", NAME, link.format("H77777")),
        ("H77778", theirs[0], "quittengelb too, unworn", "60.00", "EUR", "EU 43", NAME.upper(), link.format("H77778")),
        ("H77779", "", "Dachkammerschrank again, without a title", "60.00", "EUR", "EU 43", NAME, ""),
        *[(f"H1000{n}", other[0], other[1].format(n), "70.00", "EUR", "EU 42", f"other_{n}", link.format(n))
          for n in range(6)],
    ]  # fmt: skip
    renamed = ("H77778", theirs[0], "quittengelb too, unworn", "55.00", "EUR", "EU 43", "w_o", link.format("H77778"))
    feed(place / "inbox", "2026-11-24", *rows)
    feed(place / "inbox", "2026-11-25", rows[0], renamed, *rows[3:])
    path = place / "t.duckdb"
    for night in ("2026-11-24", "2026-11-25"):
        with store.open_store(path, keep=9) as connection:
            day = date.fromisoformat(night)
            batch.nightly(connection, known, [place / "inbox" / night], day, place / "reports")
            if day != DAY:
                continue
            (ours,) = connection.execute("SELECT listing_id FROM listing WHERE external_id = 'H77777'").fetchone()
            connection.execute("INSERT INTO answer VALUES (?, NULL, ?, 'answer', NULL, 'zimtsternchen')", [ours, DAY])
            connection.execute(
                "INSERT INTO answer VALUES (?, 'midsole_springy', ?, 'buyer', 'affirmed', 'wollmaus in photo 3')",
                [ours, DAY],
            )
            connection.execute("INSERT INTO inspection VALUES (?, 'midsole', ?, 'unfit', 2, 'wollmaus')", [ours, DAY])
            connection.execute(
                "INSERT INTO purchase (listing_id, bought_on, landed_minor, currency, note) "
                "VALUES (?, ?, 6000, 'EUR', 'zimtsternchen')",
                [ours, DAY],
            )
    return place


@pytest.fixture
def place(before, tmp_path) -> Path:
    return shutil.copytree(before, tmp_path / "place")


def files(place: Path) -> Iterator[Path]:
    return (path for path in place.rglob("*") if path.is_file() and "inbox" not in path.parts)


def holding(place: Path) -> dict[str, list[str]]:
    """Return which planted words stand in the bytes of which files, in whatever case."""
    found = {}
    for path in files(place):
        held_bytes = path.read_bytes().lower()
        words = [word for word in PLANTED if word.lower().encode() in held_bytes]
        if words:
            found[str(path.relative_to(place))] = words
    return found


def done(place: Path, seller: str = NAME) -> forgetting.Forgotten:
    path = place / "t.duckdb"
    with held(path), private():
        return forget(path, seller, lambda words: take_away(place / "reports", words))


def ask(place: Path, query: str) -> list[tuple]:
    connection = duckdb.connect(str(place / "t.duckdb"), read_only=True)
    try:
        return connection.execute(query).fetchall()
    finally:
        connection.close()


def test_what_is_planted_can_be_found_in_the_bytes_beforehand(place):
    found = holding(place)
    assert set(found["t.duckdb"]) == set(PLANTED)
    assert [name for name in found if name.startswith("t.duckdb.backups/") and not name.endswith("sha256")]
    assert "reports/2026-11-24/verdicts.json" in found


def test_deleting_in_place_would_leave_them_in_the_file(place):
    ids, rows, _ = forgetting._empty(place / "t.duckdb", NAME)
    assert (len(ids), rows) == (2, 5)
    connection = duckdb.connect(str(place / "t.duckdb"))
    connection.execute("CHECKPOINT")
    connection.close()
    assert not log_of(place / "t.duckdb").exists()
    assert holding(place)["t.duckdb"]


def test_nothing_of_a_seller_is_in_any_file_afterwards(place):
    told = done(place)
    assert holding(place) == {}
    assert (told.listings, told.rows, told.reports) == (2, 5, 2)
    assert told.copies >= 2
    assert told.mentions == {}
    assert told.exports == ("x.csv of 2026-11-24", "x.csv of 2026-11-25")
    assert len(copies_of(place / "t.duckdb")) == 1
    assert not log_of(place / "t.duckdb").exists()
    assert oct((place / "t.duckdb").stat().st_mode)[-3:] == "600"


def test_what_the_buyer_found_and_paid_stays_under_an_id_that_leads_nowhere(place):
    history = ask(
        place, "SELECT place, call, p_unfit FROM call_history WHERE contains(listing_id, 'H77777') ORDER BY ALL"
    )
    done(place)
    assert history
    found = ask(place, "SELECT listing_id, part, state, wears, note FROM inspection")
    assert [row[1:] for row in found] == [("midsole", "unfit", 2, None)]
    key = found[0][0]
    assert key.rsplit("/", 1)[1].startswith("forgotten-")
    kept = f"SELECT place, call, p_unfit FROM call_history WHERE listing_id = '{key}' ORDER BY ALL"
    assert ask(place, kept) == history
    assert ask(place, "SELECT listing_id, landed_minor, note FROM purchase") == [(key, 6000, None)]
    assert ask(place, "SELECT listing_id, said_by, state FROM answer") == [(key, "buyer", "affirmed")]
    row = ask(place, f"SELECT seller, url, title, body, price_minor, foot_mm_lo IS NULL, status FROM listing "
                     f"WHERE listing_id = '{key}'")  # fmt: skip
    assert row == [(None, None, "", None, 5000, False, "gone")]


def test_the_store_stays_sound_and_others_keep_all_they_had(place):
    theirs = "SELECT * EXCLUDE (listing_id) FROM listing WHERE starts_with(seller, 'other_') ORDER BY ALL"
    others, calls = ask(place, theirs), ask(place, "SELECT count(*) FROM verdict WHERE listing_id LIKE '%/H1%'")
    done(place)
    with store.open_store(place / "t.duckdb") as connection:
        verify(connection, "t.duckdb")
    assert ask(place, theirs) == others
    assert len(others) == 6
    assert ask(place, "SELECT count(*) FROM verdict WHERE listing_id LIKE '%/H1%'") == calls
    assert ask(place, "SELECT count(*) FROM raw_row WHERE cells::VARCHAR = '{}'") == [(5,)]


def test_the_next_night_runs_over_what_is_left_and_opens_nothing_again(place, known):
    done(place)
    # A further export of the same marketplace makes stage 2 look at the state of all its listings again.
    feed(place / "inbox", "2026-11-26", ("H20000", "Brelloway court shoes", "Worn.", "9.00", "EUR", "EU 42", "z", ""))
    with store.open_store(place / "t.duckdb", keep=3) as connection:
        batch.nightly(connection, known, [place / "inbox"], NEXT, place / "reports")
        verify(connection, "t.duckdb")
    assert holding(place) == {}
    assert ask(place, "SELECT DISTINCT status FROM listing WHERE listing_id LIKE '%/forgotten-%'") == [("gone",)]
    told = json.loads((place / "reports" / "2026-11-26" / "verdicts.json").read_text("utf-8"))
    assert len({row["listing_id"] for row in told["verdicts"]}) == 7
    assert "2026-11-26" in (place / "reports" / "latest" / "index.html").read_text("utf-8")


def test_every_table_with_listings_is_kept_on_purpose_or_emptied(place):
    tables = {row[0] for row in ask(place, "SELECT DISTINCT table_name FROM duckdb_columns() "
                                           "WHERE NOT internal AND column_name = 'listing_id'")}  # fmt: skip
    done(place)
    left = {
        table for table in tables
        if ask(place, f"SELECT count(*) FROM {table} WHERE listing_id LIKE '%/forgotten-%'")[0][0]
    }  # fmt: skip
    assert left == set(KEPT) - {"confirmation"}
    assert tables > set(KEPT)


def test_a_run_that_was_killed_before_the_copies_went_is_run_again(place):
    path = place / "t.duckdb"
    aside = place / "aside"
    shutil.copytree(place / "t.duckdb.backups", aside)
    done(place)
    shutil.rmtree(place / "t.duckdb.backups")
    shutil.move(aside, place / "t.duckdb.backups")
    assert holding(place)
    assert done(place).copies >= 2
    assert holding(place) == {}
    with pytest.raises(TriageError, match="nobody of that name"):
        done(place)
    assert path.is_file()


def test_trouble_on_the_way_changes_nothing(place, monkeypatch):
    was = {path: path.read_bytes() for path in files(place) if path.suffix != ".lock"}

    def fails(*_: object) -> None:
        raise duckdb.IOException("IO Error: No space left on device")

    monkeypatch.setattr(forgetting.versions, "written_anew", fails)
    with pytest.raises(TriageError, match="no room on the disk"):
        done(place)
    assert {path: path.read_bytes() for path in files(place) if path in was} == was
    assert [path for path in files(place) if path not in was and path.suffix != ".lock"] == []


def test_a_name_that_is_a_word_of_other_peoples_texts_is_left_there_and_told(place):
    with store.open_store(place / "t.duckdb") as connection:
        connection.execute(
            "UPDATE listing SET body = 'Bought of wilhelmine ohnesorg in 2019' WHERE external_id = 'H10000'"
        )
    assert done(place).mentions == {"listing.body": 1}


def test_a_copy_from_before_they_were_seen_stays_and_one_that_cannot_be_read_goes(place):
    path = place / "t.duckdb"
    folder = place / "t.duckdb.backups"
    shutil.rmtree(folder)
    folder.mkdir()
    with store.open_store(place / "old.duckdb", keep=0):
        pass
    shutil.move(place / "old.duckdb", folder / "000001-2026-01-01-before.duckdb")
    (folder / "000002-2026-01-02-unreadable.duckdb").write_bytes(b"Ohnesorg" * 999)
    assert done(place).copies == 1
    assert [one.number for one in copies_of(path)] == [2, 1]
    assert copies_of(path)[0].why == "forgotten"


@pytest.mark.parametrize("seller", ["", "  ", "ohnesorg", "other_"])
def test_who_is_not_there_is_not_forgotten(place, seller):
    was = holding(place)
    with pytest.raises(TriageError):
        done(place, seller)
    assert holding(place) == was


def test_reports_go_only_where_they_name_them(tmp_path):
    out = tmp_path / "reports"
    for night, text in (
        ("2026-11-23", "a/1"),
        ("2026-11-24", "a/11 &lt;b&gt; annabel"),
        ("2026-11-25", "Anna &lt;b&gt;"),
    ):
        (out / night).mkdir(parents=True)
        (out / night / "index.html").write_text(text, "utf-8")
    (out / "sheets").mkdir()
    (out / "sheets" / "p1.html").write_text("sheet of a/1", "utf-8")
    (out / "sheets" / "p2.html").write_text("sheet of a/2", "utf-8")
    (out / "mine").mkdir()
    (out / "mine" / "index.html").write_text("a/1", "utf-8")
    (out / "latest").mkdir()
    assert take_away(out, ["a/1", "anna <b>"]) == 3
    assert sorted(str(path.relative_to(out)) for path in out.rglob("*.html")) == [
        "2026-11-24/index.html", "latest/index.html", "mine/index.html", "sheets/p2.html",
    ]  # fmt: skip
    assert "2026-11-24" in (out / "latest" / "index.html").read_text("utf-8")
    assert take_away(tmp_path / "none", ["a/1"]) == 0


def test_the_command_says_what_it_did_and_what_is_left_to_do(place):
    command = [sys.executable, "-m", "triage.cli", "store", "forget", "--seller", NAME]
    command += ["--store", str(place / "t.duckdb"), "--out", str(place / "reports")]
    ran = subprocess.run(command, capture_output=True, text=True, cwd=ROOT, timeout=120)
    assert ran.returncode == 0, ran.stderr
    assert "2 listings and 5 exported rows emptied" in ran.stdout
    assert "your own exports still name them" in ran.stdout
    assert holding(place) == {}
    again = subprocess.run(command, capture_output=True, text=True, cwd=ROOT, timeout=120)
    assert again.returncode == 2
    assert "nobody of that name" in again.stderr
