"""``triage nightly --scheduler``: without the extra, without a scheduler, without what workers must share."""

import builtins
import socket
import sys
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from typer.testing import CliRunner

from tests.spread.conftest import FEEDS, ROOT
from triage.cli import app
from triage.errors import TriageError
from triage.spread import tasks
from triage.spread.partition import Partition, made_by


def nightly(tmp_path: Path, address: str, *more: str, feeds: Path = FEEDS):
    given = ["--store", str(tmp_path / "t.duckdb"), "--out", str(tmp_path / "reports"), "--as-of", "2026-11-25"]
    return CliRunner().invoke(app, ["nightly", str(feeds), *given, "--scheduler", address, *more])


def test_the_command_spreads_a_night(tmp_path, local):
    cluster, _ = local
    buyer = ("--buyer", str(ROOT / "rules" / "buyers" / "daily.toml"), "--partitions", "2")
    feed = FEEDS / "2026-11-24" / "harbour_auction.csv"
    done = nightly(tmp_path, cluster.scheduler_address, *buyer, feeds=feed)
    assert done.exit_code == 0, done.output
    assert "report: " in done.output
    begun = {str(one.key).partition("-")[0] for one in cluster.scheduler.transition_log}
    assert {"normalise_piece", "tell", "find_releases", "believe", "judge"} <= begun


def test_without_the_extra_one_line_says_what_to_install(tmp_path, monkeypatch):
    monkeypatch.delitem(sys.modules, "triage.spread.cluster", raising=False)
    real = builtins.__import__

    def missing(name, *rest, **named):
        if name.partition(".")[0] == "distributed":
            raise ModuleNotFoundError("No module named 'distributed'", name="distributed")
        return real(name, *rest, **named)

    monkeypatch.setattr(builtins, "__import__", missing)
    done = nightly(tmp_path, "tcp://127.0.0.1:1")
    assert isinstance(done.exception, TriageError)
    assert str(done.exception) == (
        "--scheduler tcp://127.0.0.1:1: distributed is not installed; expected pip install 'triage[cluster]'"
    )
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("address", ["tcp://127.0.0.1:{free}", "nonsense://x", "tcp://no.such.host.invalid:8786"])
def test_a_scheduler_that_is_not_there_is_one_line_and_nothing_is_written(tmp_path, address, monkeypatch):
    monkeypatch.setattr("triage.spread.cluster.ANSWERS_WITHIN", 1)
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))  # bound, and nobody listens
        done = nightly(tmp_path, address.format(free=taken.getsockname()[1]))
    assert isinstance(done.exception, TriageError), done.exception
    assert done.exception.exit_code == 2
    assert "no answer" in str(done.exception)
    assert "\n" not in str(done.exception)
    assert not list(tmp_path.iterdir())


def given_to(folder: Path, **other) -> Partition:
    plain = Partition(folder, 0, 1, 1, date(2026, 11, 25), "no.pickle", made_by(), {})
    return replace(plain, **other)


def test_a_worker_that_does_not_see_the_folder_says_so_in_one_line(tmp_path):
    with pytest.raises(TriageError, match=r"doesn't see .*elsewhere; expected a store in a folder") as told:
        tasks.believe(given_to(tmp_path / "elsewhere"))
    assert "\n" not in str(told.value)


def test_a_worker_of_another_version_does_nothing(tmp_path):
    with pytest.raises(TriageError, match=r"expected triage 0\.0\.0, polars 0"):
        tasks.believe(given_to(tmp_path, made_by=("triage 0.0.0", "polars 0")))
    assert not list(tmp_path.iterdir())


def test_a_fault_a_worker_tells_is_the_same_here():
    import pickle

    from triage.errors import Problem

    told = TriageError([Problem("rules/penalties/x.toml:3", "runs on", "an expression that ends")], 3)
    again = pickle.loads(pickle.dumps(told))
    assert (str(again), again.problems, again.exit_code) == (str(told), told.problems, 3)


def test_only_one_module_knows_of_dask():
    users = [
        path.relative_to(ROOT).as_posix()
        for path in sorted((ROOT / "triage").rglob("*.py"))
        if any(line.split()[:1] in (["from"], ["import"]) and line.split()[1].split(".")[0] in ("dask", "distributed")
               for line in map(str.strip, path.read_text("utf-8").splitlines()))
    ]  # fmt: skip
    assert users == ["triage/spread/cluster.py"]
