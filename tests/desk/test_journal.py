"""The journal: what was acknowledged is there, whatever happened next."""

import os
import random
import signal
import subprocess
import sys
import threading
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage import journal
from triage.errors import TriageError
from triage.journal import Note

DAY = date(2026, 11, 25)


def note(number: int, text: str = "") -> Note:
    return Note(f"k{number}", "answer", "attic board/1", DAY, {"text": text}, datetime(2026, 11, 25, 20, tzinfo=UTC))


def test_notes_come_back_in_order_as_they_were_written(tmp_path: Path) -> None:
    store = tmp_path / "s.duckdb"
    assert journal.read(store) == journal.Journal((), ())
    written = [
        note(n, text)
        for n, text in enumerate(("", "加水分解なし", 'a "quote"\n and a line', "\ud800 half", "x" * 9000))
    ]
    assert all(journal.add(store, one) for one in written)
    assert journal.read(store).notes == tuple(written)
    assert journal.path_of(store).stat().st_mode & 0o077 == 0


def test_the_same_key_again_is_noted_once(tmp_path: Path) -> None:
    store = tmp_path / "s.duckdb"
    assert journal.add(store, note(1, "first"))
    assert not journal.add(store, note(1, "another"))
    assert [one.content["text"] for one in journal.read(store).notes] == ["first"]


@settings(max_examples=60, deadline=None)
@given(cut=st.integers(1, 400), more=st.booleans())
def test_a_torn_last_line_is_told_and_costs_no_other(
    tmp_path_factory: pytest.TempPathFactory, cut: int, more: bool
) -> None:
    store = tmp_path_factory.mktemp("torn") / "s.duckdb"
    for number in range(3):
        journal.add(store, note(number, "answer"))
    path = journal.path_of(store)
    whole = path.read_bytes()
    last = len(whole) - whole.rstrip(b"\n").rfind(b"\n") - 1
    kept = len(whole) - min(cut, last)
    os.truncate(path, kept)
    if more:
        journal.add(store, note(9, "later"))
    held = journal.read(store)
    expected = ["k0", "k1"] + (["k2"] if kept == len(whole) - 1 else []) + (["k9"] if more else [])
    assert [one.key for one in held.notes] == expected
    assert len(held.faults) == (0 if kept in (len(whole) - 1, len(whole) - last) else 1)
    assert all(f"{path}:3" in fault for fault in held.faults)


def test_a_changed_byte_is_told_with_its_line(tmp_path: Path) -> None:
    store = tmp_path / "s.duckdb"
    for number in range(3):
        journal.add(store, note(number, "springs back"))
    path = journal.path_of(store)
    path.write_bytes(path.read_bytes().replace(b"springs back", b"springs bacK", 1))
    held = journal.read(store)
    assert [one.key for one in held.notes] == ["k1", "k2"]
    size = path.read_bytes().find(b"\n")
    assert held.faults == (f"{path}:1: cut short or changed ({size} bytes); left out",)


def test_a_note_longer_than_any_answer_is_refused(tmp_path: Path) -> None:
    with pytest.raises(TriageError, match="nothing was noted"):
        journal.add(tmp_path / "s.duckdb", note(1, "x" * 300_000))
    assert journal.read(tmp_path / "s.duckdb").notes == ()


WRITER = """
import sys
from datetime import UTC, date, datetime
from pathlib import Path
from triage import journal
store, who = Path(sys.argv[1]), sys.argv[2]
for number in range(10_000):
    one = journal.Note(f"{who}-{number}", "answer", "l", date(2026, 11, 25), {"text": "x" * (number % 700)},
                       datetime(2026, 11, 25, tzinfo=UTC))
    journal.add(store, one)
    print(one.key, flush=True)
"""


def test_kill_9_of_two_writers_loses_nothing_that_was_acknowledged(tmp_path: Path) -> None:
    store, draw = tmp_path / "s.duckdb", random.Random(14)
    told: list[str] = []
    for turn in range(2):
        writers = [
            subprocess.Popen([sys.executable, "-c", WRITER, str(store), f"{turn}{who}"], stdout=subprocess.PIPE)
            for who in "ab"
        ]
        for writer in writers:
            told.append(writer.stdout.readline().decode().strip())
        timers = [threading.Timer(draw.uniform(0.0, 0.3), writer.send_signal, [signal.SIGKILL]) for writer in writers]
        for timer in timers:
            timer.start()
        for writer in writers:
            lines = writer.stdout.read().decode().split("\n")
            told += [line for line in lines[:-1] if line]  # what has no line end was cut by the kill
            assert writer.wait() == -signal.SIGKILL
    kept = [one.key for one in journal.read(store).notes]
    assert set(told) <= set(kept)
    assert len(kept) == len(set(kept))
    assert len(kept) <= len(told) + 6  # at most what each was just writing
