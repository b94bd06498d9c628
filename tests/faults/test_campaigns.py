"""Short, seeded versions of the campaigns of this folder; README.md has how to run the long ones by hand."""

import json
import os
import shutil
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest

from tests.faults import bombs, damage, kills, orders, rules_fuzz
from tests.faults.common import NIGHTS, ROOT, differ, small_feeds, tables
from triage import catalogue, ingest, listing
from triage.errors import TriageError
from triage.keeping.clock import see_clock
from triage.keeping.verify import verify
from triage.store import connect, frame, open_store

GOOD = "listing id;title;price\n1;Trail shoe;10 EUR\n2;Court shoe;12 EUR\n3;Track shoe;9 EUR\n"


def test_killed_nights_lose_and_double_nothing_and_leave_no_half_report():
    assert kills.main(5, seed=3) == 0


def test_damaged_stores_and_logs_are_right_or_told_with_a_command_that_mends_them():
    assert damage.main(8, seed=1) == 0


def test_exports_in_any_order_twice_or_split_leave_the_same_tables_and_reports(tmp_path):
    assert orders.main(3, seed=1, feeds=small_feeds(tmp_path / "feeds", rows=6)) == 0


def test_no_fuzzed_expression_gets_past_the_gate():
    assert rules_fuzz.main(1500, seed=1) == 0


@pytest.mark.parametrize("sql", ["TRUE) UNION ALL SELECT (TRUE", "read_text('x') = ''", "age_years > 5; SELECT TRUE"])
def test_the_judge_of_the_fuzz_sees_an_escape(sql):
    import duckdb

    plain = duckdb.connect(":memory:")
    plain.execute("CREATE TABLE facts (age_years DOUBLE, condition VARCHAR, deadstock BOOLEAN, photo_count INTEGER)")
    assert rules_fuzz.escape(plain, sql) is not None
    assert rules_fuzz.escape(plain, "least(age_years, 1e3) > 5 AND NOT deadstock") is None


def test_there_are_forty_hostile_files_of_every_format():
    made = bombs.everything()
    assert len(made) >= 40
    kinds = {Path(file).suffix for file, _ in made.values()}
    assert kinds >= {".csv", ".gz", ".zip", ".json", ".jsonl", ".rss", ".html", ".xlsx", ".xls", ".ods", ".parquet"}


@pytest.mark.parametrize(
    "name", ["sheet that repeats a row a thousand million times", "archive whose two parts have one name"]
)
def test_a_bomb_harms_only_itself(name, tmp_path):
    assert bombs.faults_of(name, tmp_path)[0] == []


def test_a_night_needs_no_network(tmp_path):
    if not shutil.which("strace") or subprocess.run(["unshare", "-rn", "true"], capture_output=True).returncode:
        pytest.skip("needs unshare and strace")
    feeds = small_feeds(tmp_path / "feeds", rows=3)
    done = subprocess.run(
        [ROOT / "tests" / "faults" / "no_network.sh", feeds], capture_output=True, text=True, timeout=120,
        env={**os.environ, "PYTHON": sys.executable},
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    assert "connect() beyond AF_UNIX: 0" in done.stdout


# A folder of exports that changes while it is read


class Changing:
    """A reader that takes a file for its own and does something to the folder half-way."""

    NAME = "changing"

    def __init__(self, change) -> None:
        self.change = change

    def claims(self, path, head):
        return path.name == "board.csv"

    def read(self, path, settings):
        plain = next(reader for reader in ingest.READERS if reader.NAME == "csv")
        pieces = list(plain.read(path, settings))
        self.change(path)
        yield from pieces


def others() -> tuple:
    return tuple(reader for reader in ingest.READERS if reader.NAME != "csv")


def added(path: Path) -> None:
    path.write_text(GOOD + "4;Camp shoe;5 EUR\n")


@pytest.mark.parametrize(("change", "code"), [(added, "changed-while-read"), (Path.unlink, "unreadable")])
def test_a_file_that_changes_while_it_is_read_is_refused_and_read_the_night_after(tmp_path, change, code):
    feeds = catalogue.load().feeds
    store, path, night = connect(), tmp_path / "feeds" / "board.csv", date(2026, 11, 25)
    path.parent.mkdir()
    path.write_text(GOOD)
    (note,) = ingest.run(store, feeds, [path.parent], night, (Changing(change), *others()))
    assert note.outcome == "rejected"
    assert note.notes[0].startswith(code)
    assert frame(store, "SELECT count(*) FROM raw_row").item() == 0
    path.write_text(GOOD + "4;Camp shoe;5 EUR\n")
    assert [one.rows_read for one in ingest.run(store, feeds, [path.parent], night)] == [4]
    listing.run(store, catalogue.load().words, night)
    verify(store, "t")


def test_a_file_that_comes_while_another_is_read_is_read_the_night_after(tmp_path):
    feeds = catalogue.load().feeds
    store, path, night = connect(), tmp_path / "feeds" / "board.csv", date(2026, 11, 25)
    path.parent.mkdir()
    path.write_text(GOOD)

    def comes(path: Path) -> None:
        path.with_name("late.csv").write_text(GOOD.replace("Trail", "Camp"))

    assert len(ingest.run(store, feeds, [path.parent], night, (Changing(comes), *others()))) == 1
    notes = ingest.run(store, feeds, [path.parent], night)
    assert {note.path: note.outcome for note in notes} == {"board.csv": "seen", "late.csv": "new"}


# Clocks


JUMPS = {"2026-11-25": True, "2026-11-24": True, "2026-11-23": False, "1970-01-01": False, "2038-01-19": False}


@pytest.mark.parametrize(("today", "fits"), JUMPS.items())
def test_a_clock_that_jumped_dates_nothing(today, fits):
    store = connect()
    see_clock(store, date(1970, 1, 1))
    store.execute("INSERT INTO run VALUES ('x', DATE '2026-11-24', '2026-11-24', NULL, 'y', NULL)")
    if fits:
        see_clock(store, date.fromisoformat(today))
    else:
        with pytest.raises(TriageError, match=f"says {today}; the last night in the store is 2026-11-24"):
            see_clock(store, date.fromisoformat(today))


def test_a_night_of_a_wrong_date_asked_for_by_name_leaves_a_store_the_right_night_goes_on_from(tmp_path):
    known = catalogue.load()
    feeds = small_feeds(tmp_path / "feeds", rows=4)
    for name, dates in {"right": [NIGHTS[1]], "wrong": ["1999-01-01", NIGHTS[1]]}.items():
        for day in map(date.fromisoformat, dates):
            with open_store(tmp_path / f"{name}.duckdb") as store:
                ingest.run(store, known.feeds, [feeds], day)
                listing.run(store, known.words, day)
    assert differ(tables(tmp_path / "right.duckdb"), tables(tmp_path / "wrong.duckdb")) == []


def test_figures_are_one_line_of_json(capsys):
    rules_fuzz.main(5, seed=3)
    assert json.loads(capsys.readouterr().out.splitlines()[-1])["expressions"] == 5
