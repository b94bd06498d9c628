"""A night is published whole or not at all, however the program ends."""

import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from triage.errors import TriageError
from triage.writeup import folder
from triage.writeup.folder import write_file, write_whole

# The module alone: a process that loads no library starts at once.
LOAD = f"""
import importlib.util
spec = importlib.util.spec_from_file_location("folder", {folder.__file__!r})
folder = importlib.util.module_from_spec(spec)
spec.loader.exec_module(folder)
"""
# Publishes the same night over and over, each time with another mark in every file, the way ``writeup.run`` does.
PUBLISH = (
    LOAD
    + """
import sys
from pathlib import Path
write_whole = folder.write_whole
out, mark = Path(sys.argv[1]), 0
print("ready", flush=True)
while mark != int(sys.argv[2]):
    mark += 1
    body = f"{mark}:" + "x" * 200_000
    with folder.publishing(out):
        write_whole(out / "2026-11-25", {f"file{n}": body for n in range(5)})
        write_whole(out / "latest", {"index.html": "2026-11-25", "atom.xml": body})
"""
)


def marks(night: Path) -> set[str]:
    return {path.read_text("utf-8").split(":")[0] for path in night.iterdir()}


def publisher(out: Path, times: int) -> subprocess.Popen[str]:
    """Start what publishes that often; -1: until it is killed."""
    command = [sys.executable, "-c", PUBLISH, str(out), str(times)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def test_two_nights_with_one_folder_of_reports_do_not_meet_in_it(tmp_path: Path) -> None:
    running = [publisher(tmp_path, 25) for _ in range(2)]
    for one in running:
        _, told = one.communicate(timeout=60)
        assert one.returncode == 0, told
    assert marks(tmp_path / "2026-11-25") == {"25"}
    assert {path.name for path in tmp_path.iterdir()} == {"2026-11-25", "latest", ".lock"}


def test_a_night_that_hangs_in_the_folder_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(folder, "WAIT", 0.01)
    with (
        folder.publishing(tmp_path),
        pytest.raises(TriageError, match="another night has been publishing here"),
        folder.publishing(tmp_path),
    ):
        pass


def test_killed_at_any_moment_the_night_and_the_latest_are_whole(tmp_path: Path) -> None:
    rng = random.Random(25)
    write_whole(tmp_path / "2026-11-25", {f"file{n}": "0:" for n in range(5)})
    write_whole(tmp_path / "latest", {"index.html": "2026-11-25", "atom.xml": "0:"})
    seen = set()
    for _ in range(12):
        running = publisher(tmp_path, -1)
        assert running.stdout is not None
        assert running.stdout.readline() == "ready\n"
        time.sleep(rng.uniform(0.005, 0.15))
        running.send_signal(signal.SIGKILL)
        running.wait()
        running.communicate()
        night = tmp_path / (tmp_path / "latest" / "index.html").read_text("utf-8")
        assert len(list(night.iterdir())) == 5
        assert len(marks(night)) == 1
        assert all(path.stat().st_size > 200_000 or "0:" in path.read_text("utf-8") for path in night.iterdir())
        assert {path.name for path in (tmp_path / "latest").iterdir()} == {"index.html", "atom.xml"}
        seen |= marks(night)
    assert len(seen) > 1, "nothing was ever published in between"


STOP = (
    LOAD
    + """
import os, sys
from pathlib import Path
stop, out = int(sys.argv[1]), Path(sys.argv[2])
calls = 0
def counted(real):
    def call(*arguments, **options):
        global calls
        calls += 1
        if calls == stop:
            os._exit(9)
        return real(*arguments, **options)
    return call
for name in ("replace", "fsync"):
    setattr(os, name, counted(getattr(os, name)))
folder._exchange = counted(folder._exchange) if sys.argv[3] == "exchange" else (lambda one, other: False)
folder.shutil.rmtree = counted(folder.shutil.rmtree)
folder.write_whole(out / "night", {"a": "new", "b": "new"})
print(calls)
"""
)


def test_ended_before_each_of_its_steps_it_leaves_the_old_folder_or_the_new_one(tmp_path: Path) -> None:
    for way in ("exchange", "two moves"):
        for stop in range(1, 40):
            out = tmp_path / f"{way} {stop}"
            write_whole(out / "night", {"a": "old", "b": "old"})
            done = subprocess.run(
                [sys.executable, "-c", STOP, str(stop), str(out), way], capture_output=True, text=True, check=False
            )
            night = out / "night"
            if way == "exchange" or night.exists():
                assert {path.name: path.read_text("utf-8") for path in night.iterdir()} in (
                    {"a": "old", "b": "old"}, {"a": "new", "b": "new"},
                )  # fmt: skip
            if done.returncode == 0:
                assert stop > 5
                break
            # The next run mends whatever was left.
            write_whole(night, {"a": "again"})
            assert [path.name for path in out.iterdir()] == ["night"]
            assert [path.name for path in night.iterdir()] == ["a"]
        else:
            raise AssertionError("never came to its end")


def test_where_two_folders_cannot_change_places_the_next_run_brings_the_old_one_back(tmp_path: Path) -> None:
    write_whole(tmp_path / "night", {"a": "old"})
    (tmp_path / "night").rename(tmp_path / ".night.old")
    (tmp_path / ".night.fresh").mkdir()
    try:
        write_whole(tmp_path / "night", {"a": "\ud800"})
    except UnicodeEncodeError:
        assert (tmp_path / "night" / "a").read_text("utf-8") == "old"
    else:
        raise AssertionError("a lone surrogate was written")


def test_a_single_page_is_replaced_whole_too(tmp_path: Path) -> None:
    page = tmp_path / "new" / "compare.html"
    write_file(page, "one")
    write_file(page, "two")
    assert page.read_text("utf-8") == "two"
    assert [path.name for path in page.parent.iterdir()] == ["compare.html"]
