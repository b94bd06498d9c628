"""Progress and the summary on a terminal and off it."""

import os
import pty
import re
import select
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parent.parent
FEED = "demo_feeds/2026-11-24/harbour_auction.csv"


def on_a_terminal(arguments: list[str], **environment: str) -> str:
    """Return what a run prints when its output is a terminal."""
    own, theirs = pty.openpty()
    run = subprocess.Popen(
        [sys.executable, "-m", "triage.cli", *arguments], cwd=ROOT, stdin=theirs, stdout=theirs, stderr=theirs,
        env={**os.environ, "TERM": "xterm", "COLUMNS": "120", **environment},
    )  # fmt: skip
    os.close(theirs)
    told = b""
    while select.select([own], [], [], 120)[0]:
        try:
            piece = os.read(own, 65536)
        except OSError:  # Linux says so when the other side is closed
            break
        if not piece:
            break
        told += piece
    os.close(own)
    assert run.wait(120) == 0, told.decode(errors="replace")
    return told.decode()


def night(place: Path, *more: str) -> list[str]:
    common = ["--as-of", "2026-11-25", "--store", str(place / "t.duckdb"), "--out", str(place / "reports")]
    return ["nightly", FEED, *common, *more]


def test_a_terminal_gets_a_bar_and_a_table_and_no_colour_means_none(tmp_path: Path) -> None:
    told = on_a_terminal(night(tmp_path), NO_COLOR="1")
    for step in ("reading exports", "finding releases", "weighing for each buyer", "writing the report"):
        assert step in told
    assert "0/8" in told
    assert "7/8" in told
    assert re.search(r"up to +price +for +plan +title", re.sub(r"\x1b\[[0-9;]*m", "", told))
    assert "Estimates, not inspections." in told
    assert not re.search(r"\x1b\[[0-9;]*(3[0-9]|4[0-9]|9[0-7]|[34]8;)[0-9;]*m", told)


def test_elsewhere_there_is_neither_bar_nor_colour_and_quiet_is_silent(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "triage.cli"]
    plain = subprocess.run([*command, *night(tmp_path)], cwd=ROOT, capture_output=True, text=True, check=True)
    assert plain.stderr == ""
    assert "\x1b" not in plain.stdout
    assert "\nbuy  up to EUR" in plain.stdout
    quiet = subprocess.run([*command, *night(tmp_path, "-q")], cwd=ROOT, capture_output=True, text=True, check=True)
    assert (quiet.stdout, quiet.stderr) == ("", "")
