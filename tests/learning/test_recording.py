"""Purchases and inspections: recorded whole or not at all, corrected by new rows, every fault named."""

import csv
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest

from triage import store
from triage.errors import TriageError
from triage.learning import purchases, recording
from triage.learning.recording import COLUMNS

DAY = date(2026, 11, 25)
ROOT = Path(__file__).parent.parent.parent
NONE = dict.fromkeys(COLUMNS)
COUNT = "SELECT (SELECT count(*) FROM inspection) + (SELECT count(*) FROM purchase)"


@pytest.fixture
def night(weigh):
    """Return a store of a high-top without gas unit, of one with, and of a pair in no table."""
    return weigh(
        court={"title": "Haldrassen Torquellan High 1991 HD-02 HDN-91-0214", "body": "Lightly worn."},
        runner={"title": "Pellavane Morrivelle 180 1991 PLV91/240", "body": "Worn."},
        odd={"title": "old shoes", "body": "found in the attic"},
    ).connection


def told(**options: str) -> dict[str, str | None]:
    return {option: options.get(option[2:].replace("-", "_").replace("for", "for_")) for option in purchases.COLUMNS}


def buy(connection: store.Connection, known, listing: str, **options: str) -> bool:
    return purchases.take(connection, purchases.given(connection, known, listing, told(**options), DAY))


def look(connection: store.Connection, *cells: str, on: str | None = None, wears: str | None = None) -> int:
    one = NONE | dict(zip(("listing", "part", "found"), cells, strict=True)) | {"date": on, "wears": wears}
    return recording.take(connection, recording.given(connection, None, one, DAY)).height


def written(place: Path, *rows: dict[str, str], columns: tuple[str, ...] = tuple(COLUMNS)) -> Path:
    path = place / "found.csv"
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, columns)
        writer.writeheader()
        writer.writerows(rows)
    return path


def from_file(connection: store.Connection, path: Path) -> list[tuple]:
    return recording.take(connection, recording.given(connection, path, NONE, DAY)).rows()


def faults(error: pytest.ExceptionInfo[TriageError]) -> list[str]:
    assert error.value.exit_code == 2
    return [str(problem) for problem in error.value.problems]


def test_an_inspection_is_recorded_once_and_a_correction_is_a_new_row(night):
    assert look(night, "court", "midsole", "fit", wears="3") == 1
    assert look(night, "court", "midsole", "fit", wears="3") == 0
    assert look(night, "court", "midsole", "unfit") == 1
    rows = night.execute("SELECT part, inspected_on, state, wears FROM inspection ORDER BY rowid").fetchall()
    assert rows == [("midsole", DAY, "fit", 3), ("midsole", DAY, "unfit", None)]


def test_a_file_of_inspections_is_recorded_in_its_order(night, tmp_path):
    path = written(
        tmp_path,
        {"listing": "runner", "part": "cushion", "found": "unfit", "wears": "0", "note": "left window flat"},
        {"listing": "court", "part": "midsole", "found": "fit", "date": "2026-11-20"},
        {"listing": "court", "part": "midsole", "found": "unfit", "date": "2026-11-24", "wears": "5"},
        {"listing": "court", "part": "midsole", "found": "fit", "date": "2026-11-20"},
    )
    assert from_file(night, path) == [
        ("runner", "cushion", DAY, "unfit", 0, "left window flat"),
        ("court", "midsole", date(2026, 11, 20), "fit", None, None),
        ("court", "midsole", date(2026, 11, 24), "unfit", 5, None),
    ]
    assert from_file(night, path) == []


def test_every_fault_of_a_file_is_named_with_line_and_value_and_nothing_is_stored(night, known, tmp_path):
    buy(night, known, "court", on="2026-11-20", arrived="2026-11-22")
    path = written(
        tmp_path,
        {"listing": "runner", "part": "midsole", "found": "fit"},
        {"listing": "nobody", "part": "midsole", "found": "fit"},
        {"listing": "court", "part": "cushion", "found": "fit"},
        {"listing": "court", "part": "toe", "found": "broken", "date": "20.11.2026", "wears": "-1"},
        {"listing": "court", "part": "midsole", "found": "fit", "date": "2026-11-21"},
        {"listing": "court", "part": "upper", "found": "fit", "date": "2026-11-26"},
        {"listing": "runner", "part": "outsole", "found": "fit"},
        {"listing": "", "part": "outsole", "found": "fit"},
        {"listing": "runner", "part": "outsole", "found": "unfit"},
        columns=(*COLUMNS, "colour"),
    )
    with pytest.raises(TriageError) as error:
        from_file(night, path)
    lines = [line.removeprefix(f"{path}:") for line in faults(error)]
    found = {(int(line.split(": ")[0]), line.split(": ", 1)[1].split("; expected")[0]) for line in lines}
    assert found == {
        (1, "column 'colour'"),
        (3, "listing nobody is not in the store"),
        (4, "part is 'cushion', which HD-02 Haldrassen Torquellan High does not have"),
        (5, "part is 'toe'"), (5, "found is 'broken'"), (5, "date is '20.11.2026'"), (5, "wears is '-1'"),
        (6, "date is 2026-11-21, and the pair arrived on 2026-11-22"),
        (7, "date is '2026-11-26'"),
        (8, f"outsole is fit on 2026-11-25, but {path}:10 has it otherwise"),
        (9, "listing is ''"),
        (10, f"outsole is unfit on 2026-11-25, but {path}:8 has it otherwise"),
    }  # fmt: skip
    assert night.execute("SELECT count(*) FROM inspection").fetchall() == [(0,)]


@pytest.mark.parametrize("text", ["", "listing,part\n", "listing,part,found\n", "listing\ncourt\n"])
def test_a_file_without_its_columns_or_rows_is_refused(night, tmp_path, text):
    path = tmp_path / "found.csv"
    path.write_text(text, "utf-8")
    with pytest.raises(TriageError):
        from_file(night, path)


def test_a_part_goes_by_the_confirmed_release_and_a_pair_of_none_may_have_any(night, known):
    with pytest.raises(TriageError, match="cushion"):
        look(night, "court", "cushion", "fit")
    night.execute("INSERT INTO confirmation VALUES ('court', 'PV-06', DATE '2026-11-25')")
    assert look(night, "court", "cushion", "fit") == 1
    night.execute("DELETE FROM match WHERE listing_id = 'odd'")
    assert look(night, "odd", "cushion", "fit") == 1


def test_a_purchase_is_told_piece_by_piece_and_its_history_stays(night, known):
    assert buy(night, known, "court", on="2026-11-20", price="84,5", for_="bench")
    assert buy(night, known, "court", arrived="2026-11-24", repair="30")
    assert not buy(night, known, "court", arrived="2026-11-24")
    assert buy(night, known, "court", worth="150.00", sold_on="2026-11-25", note="to a friend")
    rows = night.execute("SELECT * FROM purchase ORDER BY rowid").fetchall()
    arrived, sold = date(2026, 11, 24), DAY
    assert len(rows) == 3
    assert rows[0] == ("court", "bench", date(2026, 11, 20), 8450, "EUR", None, None, None, None, None)
    assert rows[2] == ("court", "bench", date(2026, 11, 20), 8450, "EUR", arrived, 3000, 15000, sold, "to a friend")


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({}, ["--on: not given"]),
        ({"on": "2026-11-26"}, ["--on: is '2026-11-26'"]),
        ({"on": "25.11."}, ["--on: is '25.11.'"]),
        ({"on": "2026-11-20", "price": "84.505"}, ["--price: is '84.505'; expected an amount like 84.50"]),
        ({"on": "2026-11-20", "price": "-3", "for_": "me"}, ["--for me: no such buyer", "--price: is '-3'"]),
        ({"on": "2026-11-20", "arrived": "2026-11-19"}, ["--arrived: the pair arrived on 2026-11-19"]),
        ({"on": "2026-11-20", "sold_on": "2026-11-19", "worth": "1"}, ["--sold-on: the pair was sold on 2026-11-19"]),
        ({"on": "2026-11-20", "sold_on": "2026-11-21"}, ["--sold-on: is 2026-11-21, and no --worth is told"]),
    ],
)
def test_a_fault_of_a_purchase_is_named_and_nothing_is_stored(night, known, options, words):
    with pytest.raises(TriageError) as error:
        buy(night, known, "court", **options)
    found = faults(error)
    assert [line[: len(word)] for line, word in zip(found, words, strict=True)] == words
    assert night.execute(COUNT).fetchall() == [(0,)]


def test_nothing_is_bought_after_it_was_looked_at(night, known):
    look(night, "court", "midsole", "fit", on="2026-11-19")
    with pytest.raises(TriageError, match="first inspected on 2026-11-19"):
        buy(night, known, "court", on="2026-11-20")
    with pytest.raises(TriageError, match="nowhere"):
        buy(night, known, "nowhere", on="2026-11-20")


def test_the_commands_say_what_they_recorded_and_refuse_with_2(night, tmp_path):
    path = tmp_path / "t.duckdb"
    with store.open_store(path) as connection:
        for table in ("listing", "match", "construction"):
            store.append(connection, table, store.frame(night, f"SELECT * FROM {table}"))

    def triage(*arguments: str) -> subprocess.CompletedProcess[str]:
        command = [sys.executable, "-m", "triage.cli", *arguments, "--store", str(path), "--as-of", str(DAY)]
        return subprocess.run(command, capture_output=True, text=True, cwd=ROOT, timeout=120)

    assert triage("bought", "court", "--on", "2026-11-24", "--price", "84.50").stdout == (
        "court: bought 24 Nov 2026, EUR\u00a084.50 at the door\n"
    )
    done = triage("inspect", "court", "midsole", "unfit", "--wears", "2")
    assert (done.returncode, done.stdout) == (0, "1 inspection recorded\n  court: midsole unfit, 25 Nov 2026\n")
    for wrong, said in (
        (("inspect",), "LISTING: not given"),
        (("inspect", "court", "midsole"), "found is ''"),
        (("inspect", "court", "midsole", "fit", "--on", "2026-11-23"), "was bought on 2026-11-24"),
    ):
        done = triage(*wrong)
        assert done.returncode == 2
        assert said in done.stderr
