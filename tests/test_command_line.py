"""The command line: start-up, exit codes, and what it says of mistakes."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent


def triage(*arguments: str, cwd: Path = ROOT) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "triage.cli", *arguments], cwd=cwd, capture_output=True, text=True, timeout=120
    )


def test_help_loads_no_heavy_library():
    code = (
        "import sys, triage.cli\n"
        "heavy = {'polars', 'duckdb', 'numpy', 'pydantic', 'jinja2', 'rapidfuzz', 'dask', 'distributed'}\n"
        "heavy &= set(sys.modules)\n"
        "print(sorted(heavy))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT)
    assert done.stdout.strip() == "[]"


def test_the_version_is_told():
    assert triage("--version").stdout.startswith("triage ")


@pytest.mark.parametrize(
    ("arguments", "code", "told"),
    [
        (("nightly", "nowhere"), 2, "nowhere"),
        (("nightly", "demo_feeds", "--as-of", "25.11.2026"), 2, "25.11.2026"),
        (("nightly", "demo_feeds", "--rules", "nowhere"), 2, "nowhere"),
        (("check", "--rules", "demo_feeds"), 2, "demo_feeds: no sources.toml in it"),
        (("nightly", "demo_feeds", "--store", "no/such/folder/x.duckdb"), 2, "no/such/folder"),
        (("nightly", "demo_feeds", "--buyer", "nobody.toml"), 3, "nobody.toml"),
        (("nightly", "demo_feeds", "--constructions", "none.csv"), 3, "none.csv"),
        (("explain", "x/y", "--store", "none.duckdb"), 2, "none.duckdb"),
        (("nightly", "--no-such-option"), 2, "no-such-option"),
    ],
)
def test_a_mistake_gets_one_error_that_names_it(tmp_path, arguments, code, told):
    given = [*arguments]
    if "--store" not in given:
        given += ["--store", str(tmp_path / "t.duckdb"), "--out", str(tmp_path / "reports")][
            : 4 if given[0] == "nightly" else 2
        ]
    done = triage(*given)
    assert done.returncode == code, done.stderr
    assert told in done.stderr
    assert "Traceback" not in done.stderr


def test_every_fault_of_the_rules_is_listed_at_once(tmp_path):
    import shutil

    rules = tmp_path / "rules"
    shutil.copytree(ROOT / "rules", rules)
    buyer = rules / "buyers" / "daily.toml"
    buyer.write_text(buyer.read_text("utf-8").replace("budget_minor", "budgte_minor"), "utf-8")
    material = rules / "ageing" / "materials.toml"
    material.write_text(
        material.read_text("utf-8").replace("beta = [2.5, 3.5, 5.0]", "beta = [5.0, 3.5, 2.5]", 1), "utf-8"
    )
    done = triage("check", "--rules", str(rules))
    assert done.returncode == 3
    assert "budgte_minor" in done.stderr
    assert "daily.toml:" in done.stderr
    assert "lo <= mid <= hi" in done.stderr
    assert "materials.toml:" in done.stderr


def test_check_finds_nothing_wrong_with_the_rules_that_come_along():
    done = triage("check")
    assert done.returncode == 0, done.stderr
    assert "nothing wrong" in done.stdout


def test_a_second_run_is_told_that_the_store_is_held(tmp_path):
    from triage.store import open_store

    store = tmp_path / "t.duckdb"
    with open_store(store):
        done = triage("explain", "x/y", "--store", str(store))
    assert done.returncode == 4
    assert "another run holds the store" in done.stderr


def test_a_file_that_is_no_store_is_refused_with_its_own_exit_code(tmp_path):
    store = tmp_path / "t.duckdb"
    store.write_bytes(b"not a store at all" * 100)
    done = triage("explain", "x/y", "--store", str(store))
    assert done.returncode == 4
    assert str(store) in done.stderr
    assert "Traceback" not in done.stderr


def test_strict_turns_rejected_rows_into_exit_code_1_and_json_is_one_object(tmp_path):
    common = ("--as-of", "2026-11-25", "--store", str(tmp_path / "t.duckdb"), "--out", str(tmp_path / "reports"))
    done = triage("nightly", "demo_feeds/2026-11-24/harbour_auction.csv", "--strict", "--json", *common)
    assert done.returncode == 1, done.stderr
    told = json.loads(done.stdout)
    assert told["schema_version"] == 1
    assert told["rejected"] > 0
