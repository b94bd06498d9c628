"""Damaged stores and logs: flips, cuts, zeros and noise; no wrong answer, no traceback, and a message with a next step.

``python -m tests.faults.damage COUNT [SEED]``; every second one damages the log (``.wal``) of a night that was killed,
the others the file. Either the damage makes no difference (it hit what nothing uses), or it is told in one line that
names a command, and that command brings back a sound store: ``store restore`` the newest copy, ``store recover`` a
state that the killed night had committed.
"""

import random
import shutil
import struct
import sys
import time
from collections import Counter
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.faults.common import NIGHTS, night, small_feeds, tables, tell
from tests.faults.forked import Commands
from tests.faults.killing import Server
from tests.faults.kills import BUYER
from triage.keeping.opening import log_of

PAGE = 4096


def damaged(sound: bytes, chance: random.Random) -> tuple[str, bytes]:
    """Return bytes with one damage done to them, and its name."""
    data = bytearray(sound)
    kind = chance.choice(("flip", "flips", "cut", "cut at a page", "zeros", "zeroed page", "noise", "empty", "tail"))
    at = chance.randrange(len(data))
    size = min(chance.choice((1, 16, 512, PAGE, 1 << 16)), len(data) - at)
    page = at // PAGE * PAGE
    if kind == "flip":
        data[at] ^= 1 << chance.randrange(8)
    elif kind == "flips":
        for _ in range(20):
            data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
    elif kind == "cut":
        del data[at:]
    elif kind == "cut at a page":
        del data[page:]
    elif kind == "zeros":
        data[at : at + size] = bytes(size)
    elif kind == "zeroed page":
        data[page : page + PAGE] = bytes(len(data[page : page + PAGE]))
    elif kind == "noise":
        data[at : at + size] = chance.randbytes(size)
    elif kind == "empty":
        data.clear()
    else:
        data[-size:] = bytes(size)
    return kind, bytes(data)


def parts(log: bytes, start: int) -> list[int]:
    """Return where the parts of a log end, its heading being that long; an empty list when it is not."""
    ends = [0, start]
    while ends[-1] + 16 <= len(log):
        ends.append(ends[-1] + 16 + struct.unpack_from("<Q", log, ends[-1])[0])
    return ends if ends[-1] == len(log) else []


def committed(place: Path, store: Path) -> list[dict[str, str]]:
    """Return the tables after each part of a log: it is a heading, then parts of size, checksum and content."""
    log = log_of(store).read_bytes()
    ends = next(found for start in range(20, 120) if len(found := parts(log, start)) > 5)
    states = []
    for end in ends:
        shutil.copy(store, place / "part.duckdb")
        log_of(place / "part.duckdb").write_bytes(log[:end])
        states.append(tables(place / "part.duckdb"))
    return states


def main(count: int, seed: int) -> int:
    """Damage that many; return how many faults were found."""
    chance = random.Random(seed)
    ends: Counter[str] = Counter()
    faults = 0
    began = time.monotonic()
    commands = Commands()
    with TemporaryDirectory() as name:
        root = Path(name)
        feeds, sound, killed = small_feeds(root / "feeds", rows=5), root / "sound", root / "killed"
        assert commands(*night(feeds, sound.absolute(), NIGHTS[0], *BUYER)).returncode in (0, 2)
        sound.mkdir(exist_ok=True)
        assert commands(*night(feeds, sound, NIGHTS[0], *BUYER)).returncode == 0
        shutil.copytree(sound, killed)
        server = Server()
        # All is committed and nothing is moved into the file yet: a log that is cut while it is moved fits no file.
        assert server.run(night(feeds, killed, NIGHTS[1], *BUYER), "report").code == -9
        server.close()
        states = committed(root, killed / "t.duckdb")
        whole = tables(sound / "t.duckdb")
        for number in range(count):
            of_log = number % 2 == 1
            place = root / f"trial-{number}"
            shutil.copytree(killed if of_log else sound, place)
            store = place / "t.duckdb"
            target = log_of(store) if of_log else store
            kind, content = damaged(target.read_bytes(), chance)
            target.write_bytes(content)
            right = states if of_log else [whole]
            said, fault = judged(commands, store, right, of_log)
            ends[f"{'log' if of_log else 'file'}: {said}"] += 1
            if fault:
                faults += 1
                print(f"seed {seed} number {number} {'log' if of_log else 'file'} {kind}: {fault}", flush=True)
            shutil.rmtree(place)
    commands.close()
    tell("damage", seed, damaged=count, ends=dict(ends), faults=faults, seconds=round(time.monotonic() - began))
    return faults


def judged(commands: Commands, store: Path, right: list[dict[str, str]], of_log: bool) -> tuple[str, str]:
    """Return how a damaged store ended, and what was wrong about that."""
    done = commands("store", "verify", "--store", store, tables_of=store)
    if done.returncode == 0:
        # Only states between the stages of a killed night don't add up; those are told, and end with 4.
        warned = not of_log or "the last run did not end" in done.stderr
        if done.tables not in right:
            return "no difference seen", "wrong answer"
        return "no difference", "" if warned else "what is gone from the log is not told"
    lines = done.stderr.strip().splitlines()
    if done.returncode != 4 or "Traceback" in done.stderr or not lines:
        return "crashed", f"exit code {done.returncode}: {done.stderr[-300:]}"
    if (of_log and "the next night reads the rest" in done.stderr) or "(the refused rows of an export)" in lines[-1]:
        return "a state between stages, told", "" if tables(store) in right else "wrong answer"
    step = next((one for one in ("recover", "restore") if f"'triage store {one}'" in lines[-1]), None)
    if step is None:
        return "told", f"no next step in: {lines[-1]}"
    done = commands("store", step, "--store", store)
    if done.returncode != 0 and step == "recover" and "'triage store restore'" in done.stderr:
        step = "restore"
        done = commands("store", step, "--store", store)
    if done.returncode != 0 or "Traceback" in done.stderr:
        return f"told, {step} failed", f"{done.returncode}: {done.stderr[-300:]}"
    held = tables(store)
    return f"told, {step} brings back a sound store", "" if held in right or step == "restore" else "wrong answer"


if __name__ == "__main__":
    sys.exit(bool(main(int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 1)))
