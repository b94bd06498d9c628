"""The first evening: a folder laid out, questions answered or not, and a first report from it."""

import csv
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from typer.testing import CliRunner

from triage import catalogue, cli
from triage.begin import FILES, TABLE
from triage.begin.questions import questions
from triage.catalogue.buyers import Buyer
from triage.catalogue.constructions import SCHEMA
from triage.commands import shared
from triage.errors import TriageError
from triage.settings import Settings, defaults

ROOT = Path(__file__).parent.parent.parent
FEED = ROOT / "demo_feeds" / "2026-11-24" / "harbour_auction.csv"
runner = CliRunner()


def triage(*arguments: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "triage.cli", *arguments], cwd=cwd, capture_output=True, text=True, timeout=300,
        stdin=subprocess.DEVNULL,
    )  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder laid out by somebody who answers nothing, in a place whose name needs quoting."""
    place = tmp_path_factory.mktemp("first evening") / "my shoes 100%"
    done = triage("begin", str(place), cwd=place.parent)
    assert done.returncode == 0, done.stderr
    assert f"cd '{place}' && " in done.stdout
    assert str(place / "inbox") in done.stdout
    return place


def test_the_folder_has_everything_and_an_empty_inbox(folder: Path) -> None:
    found = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}
    assert found == {*FILES, TABLE}
    assert list((folder / "inbox").iterdir()) == []


def test_the_settings_name_every_setting_with_its_meaning_and_hold_the_defaults(folder: Path) -> None:
    text = (folder / "triage.toml").read_text("utf-8")
    told = Settings.model_validate(tomllib.loads(text))
    for name, field in Settings.model_fields.items():
        line = next(line for line in text.splitlines() if line.lstrip("# ").startswith(f"{name} = "))
        assert len(line.split("# ", 1 if not line.startswith("#") else 2)[-1]) > 15, line
        if name in ("strict", "photos", "sellers", "quiet", "backups", "feeds"):
            assert getattr(told, name) == field.default
    assert (told.store, told.out, told.mail_from) == (str(shared.STORE), str(shared.REPORTS), "triage@localhost")


def test_what_was_laid_out_has_no_fault(folder: Path) -> None:
    known = catalogue.load(None, [folder / TABLE], [folder / "buyers" / "me.toml"])
    buyer = known.buyers["me"]
    assert (buyer.country, buyer.currency, buyer.budget_minor, buyer.foot_mm) == ("DE", "EUR", 12000, None)
    assert done_well(triage("check", cwd=folder))
    text = (folder / "buyers" / "me.toml").read_text("utf-8")
    for name, field in Buyer.model_fields.items():
        line = next(line for line in text.splitlines() if line.lstrip("# [").startswith(name))
        assert name == "want" or len(line.rsplit("# ", 1)[1]) > 10, line
        if field.default is not None and not field.is_required():
            assert getattr(buyer, name) == field.default, name


def done_well(done: subprocess.CompletedProcess[str]) -> bool:
    assert done.returncode == 0, done.stderr
    return True


def test_one_s_own_table_has_every_column_and_no_row(folder: Path) -> None:
    with (folder / TABLE).open(encoding="utf-8", newline="") as stream:
        rows = list(csv.reader(stream))
    assert len(rows) == 1
    assert set(rows[0]) == SCHEMA.keys() - {"words"}  # that column makes a table of generic constructions
    text = (folder / "constructions" / "COLUMNS.md").read_text("utf-8")
    assert all(column in text for column in rows[0])
    assert all(f"`{key}`" in text for key in catalogue.load().materials)


def test_the_schedules_name_this_folder_and_this_program_each_in_its_own_quoting(folder: Path) -> None:
    cron = (folder / "schedule" / "crontab").read_text("utf-8")
    (line,) = [line for line in cron.splitlines() if not line.startswith("#")]
    assert line.startswith("17 3 * * *  cd '")
    # crontab(5): a bare % ends the command.
    assert r"100\%" in line
    assert "nightly --quiet" in line
    unit = (folder / "schedule" / "triage.service").read_text("utf-8")
    assert f"WorkingDirectory={str(folder).replace('%', '%%')}\n" in unit
    assert "ExecStart=/" in unit or "ExecStart=triage" in unit
    if shutil.which("systemd-analyze"):
        timer = (folder / "schedule" / "triage.timer").read_text("utf-8")
        when = next(line for line in timer.splitlines() if line.startswith("OnCalendar=")).split("=", 1)[1]
        subprocess.run(["systemd-analyze", "calendar", when], check=True, capture_output=True)


def test_each_step_that_is_missing_says_what_to_do_next(folder: Path, tmp_path: Path) -> None:
    bare = triage("nightly", cwd=tmp_path)
    assert bare.returncode == 2
    assert "triage begin FOLDER" in bare.stderr
    empty = triage("nightly", cwd=folder)
    assert empty.returncode == 2
    assert "inbox: no export in it" in empty.stderr
    again = triage("begin", str(folder), cwd=tmp_path)
    assert again.returncode == 2
    assert again.stderr.count("nothing is overwritten") == len(FILES) + 1
    file = tmp_path / "file"
    file.touch()
    assert "the name of a folder" in triage("begin", str(file), cwd=tmp_path).stderr


def test_the_night_without_arguments_reads_the_settings_and_the_command_line_wins(folder: Path) -> None:
    shutil.copytree(FEED.parent, folder / "inbox" / FEED.parent.name, ignore=lambda *_: {
        path.name for path in FEED.parent.iterdir() if path.name != FEED.name
    })  # fmt: skip
    done = triage("nightly", "--as-of", "2026-11-25", cwd=folder)
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""  # no bar where there is no terminal
    assert (folder / "triage.duckdb").is_file()
    assert "<option>Me</option>" in (folder / "reports" / "2026-11-25" / "index.html").read_text("utf-8")
    assert "url=../2026-11-25/index.html" in (folder / "reports" / "latest" / "index.html").read_text("utf-8")
    other = triage("nightly", "--as-of", "2026-11-25", "--out", "elsewhere", "--quiet", cwd=folder)
    assert (other.returncode, other.stdout, other.stderr) == (0, "", "")
    assert (folder / "elsewhere" / "2026-11-25" / "index.html").is_file()
    assert done_well(triage("shortlist", "me", "--page", "list.html", cwd=folder))
    assert "Short list for Me" in (folder / "list.html").read_text("utf-8")


def test_a_mistyped_setting_is_named_with_its_line(tmp_path: Path) -> None:
    file = tmp_path / "triage.toml"
    file.write_text('store = "x.duckdb"\nbuyers = ["me.toml"]\nstrict = "perhaps"\n', "utf-8")
    with pytest.raises(TriageError) as caught:
        defaults({"nightly": None}, file)
    places = [problem.place for problem in caught.value.problems]
    assert places == [f"{file}:2", f"{file}:3"]
    done = triage("nightly", cwd=tmp_path)
    assert done.returncode == 2
    assert "triage.toml:2: buyers is" in done.stderr
    assert "Traceback" not in done.stderr


def test_settings_reach_every_command_that_has_an_option_of_that_name(tmp_path: Path) -> None:
    file = tmp_path / "triage.toml"
    file.write_text('store = "x.duckdb"\nout = "there"\nbuyer = ["me.toml"]\nphotos = true\n', "utf-8")
    told = defaults(dict.fromkeys(("nightly", "explain", "compare", "refit", "calibration")), file)
    assert told["nightly"] == {
        "feeds": ["inbox"], "store": "x.duckdb", "out": "there", "buyer": ["me.toml"], "strict": False, "photos": True,
        "sellers": False, "partitions": 0, "quiet": False, "backups": 14,
    }  # fmt: skip
    assert told["calibration"] == {"store": "x.duckdb", "out": "there", "buyer": ["me.toml"]}
    assert told["explain"] == told["compare"] == told["refit"] == {"store": "x.duckdb", "buyer": ["me.toml"]}
    assert defaults({"nightly": None}, tmp_path / "none.toml") == {}


def test_answers_go_into_the_profile_and_a_wrong_one_is_asked_again(tmp_path: Path) -> None:
    answers = ["Ada \"Quick\" Böhm", "display, dancing", "display wear", "27", "268,5", "fr", "de", "-3", "150.50",
               "welding", "glue", "perhaps", "yes", ""]  # fmt: skip
    done = runner.invoke(cli.app, ["begin", str(tmp_path / "new"), "--ask"], input="\n".join(answers) + "\n")
    assert done.exit_code == 0, done.output
    buyer = catalogue.load(None, (), [tmp_path / "new" / "buyers" / "me.toml"]).buyers["me"]
    assert buyer.name == 'Ada "Quick" Böhm'
    assert buyer.purposes == ("wear", "display")
    assert (buyer.foot_mm, buyer.country, buyer.budget_minor) == (268.5, "DE", 15050)
    assert (buyer.repair_tolerance, buyer.does_own_repairs, buyer.climate) == ("glue", True, "unknown")
    for told in ("'dancing'", "such as 268, or any", "'fr'", "above 0, such as 120", "'welding'", "yes or no"):
        assert told.strip("'") in done.output


def test_every_usual_answer_is_one_that_would_be_taken() -> None:
    for question in questions(catalogue.load()):
        question.read(question.usual)
    assert len(questions(catalogue.load())) == 8
