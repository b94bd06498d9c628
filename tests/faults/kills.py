"""kill -9 at random instants of every phase: nothing acknowledged is lost, nothing doubled, no half report.

``python -m tests.faults.kills KILLS [SEED [LOG]]``. A trial starts from nothing, from a night before, from a store of a
released version, or from a damaged store or log that ``triage store restore`` or ``recover`` has to mend. It is killed
in several phases one after the other, each at an instant drawn at random, with nothing in between that mends. After
each kill, on a second copy: the store opens, verifies whole and holds at least what was acknowledged (or the damage is
as it was), nothing that was there to be kept is gone, every report is whole, every file is its owner's alone. Then the
command runs to its end, and a night after it, and tables and reports must be those of a night that nobody disturbed.

With a log, a line of JSON a trial, a run goes on where it was stopped; ``KILLS`` 0 only counts what the log holds.
"""

import json
import lzma
import random
import shutil
import sys
import time
from collections import Counter
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from tests.faults.common import NIGHTS, ROOT, differ, night, reports, small_feeds, tables, tell
from tests.faults.killing import ACKNOWLEDGED, COUNTS, SAID, Server
from tests.faults.releases import FOLDER, release
from triage.errors import TriageError
from triage.keeping.copies import sha256_of
from triage.keeping.opening import open_file
from triage.keeping.verify import verify
from triage.keeping.versions import current, version_of

BUYER = ("--buyer", ROOT / "rules" / "buyers" / "bench.toml")
VERSIONS = [f"version {number}" for number in range(1, len(list(FOLDER.glob("*.xz"))) + 1)]
STARTS = ("nothing", "night before", *VERSIONS, "damaged store", "damaged log")
MENDS = {"damaged store": "restore", "damaged log": "recover"}


def tonight(feeds: Path, place: Path) -> list[object]:
    """Return the arguments of the night that is killed."""
    return night(feeds, place, NIGHTS[1], *BUYER)


@dataclass
class Start:
    """Where a trial starts from, the command that is killed, and what an undisturbed run makes of it.

    Attributes:
        lengths: Seconds from the beginning of a phase to the next.
        kept: SHA-256 and size of files that must be somewhere, under whatever name, after every kill.
        damage: SHA-256 of the store and its log while they are still as damaged as at the start.
    """

    name: str
    place: Path
    feeds: Path
    lengths: dict[str, float] = field(default_factory=dict)
    reports: dict[str, str] = field(default_factory=dict)
    tables_after: dict[str, str] = field(default_factory=dict)
    reports_after: dict[str, str] = field(default_factory=dict)
    least: list[int] = field(default_factory=lambda: [0, 0, 0])
    kept: dict[str, int] = field(default_factory=dict)
    damage: tuple[str, str] | None = None

    def command(self, place: Path) -> list[object]:
        """Return the command that is killed."""
        if mend := MENDS.get(self.name):
            return ["store", mend, "--store", place / "t.duckdb"]
        return tonight(self.feeds, place)


def prepared(name: str, place: Path, feeds: Path, server: Server) -> Start:
    """Lay out the place a trial starts from, and see what an undisturbed run makes of it."""
    start = Start(name, place, feeds)
    place.mkdir()
    store, log = place / "t.duckdb", place / "t.duckdb.wal"
    if name in VERSIONS:
        store.write_bytes(lzma.decompress(release(int(name.split()[1])).read_bytes()))
        store.chmod(0o600)
    elif name != "nothing":
        ended = server.run(night(feeds, place, NIGHTS[0], *BUYER))
        assert ended.code == 0
    if store.exists():
        start.least = counted(store)
    if name in MENDS:
        # A night that was killed leaves its log; then the disk spoils half of the log, or a block of the store too.
        ended = server.run(tonight(feeds, place), "report")
        assert ended.code == -9
        _spoil(log, log.stat().st_size // 2)
        if name == "damaged store":
            _spoil(store, store.stat().st_size // 2, store.stat().st_size // 4)
        start.damage = (sha256_of(store), sha256_of(log))
    for path in (place / ACKNOWLEDGED, place / SAID):
        path.unlink(missing_ok=True)
    start.reports = reports(place / "reports")
    files = [path for path in place.glob("t.duckdb*/*.duckdb")]
    files += [store, log] if name in MENDS else []
    files += [store] if name in VERSIONS and name != f"version {current()}" else []
    start.kept = {sha256_of(path): path.stat().st_size for path in files}
    clean = place.with_name(f"{place.name}-clean")
    shutil.copytree(place, clean)
    ended = server.run(start.command(clean))
    assert ended.code == 0, name
    order = sorted(ended.began, key=ended.began.__getitem__)
    start.lengths = {one: ended.began[then] - ended.began[one] for one, then in pairwise(order)}
    if name in MENDS:
        assert server.run(tonight(feeds, clean)).code == 0
    start.tables_after, start.reports_after = tables(clean / "t.duckdb"), reports(clean / "reports")
    return start


def _spoil(path: Path, at: int, length: int | None = None) -> None:
    """Overwrite a part of a file; to its end when no length is given."""
    with path.open("r+b") as stream:
        stream.seek(at)
        stream.write(b"\0" * (path.stat().st_size - at if length is None else length))


def counted(store: Path) -> list[int]:
    """Return how many exports, rows and sightings a store holds."""
    connection = open_file(store)
    try:
        return [int(number) for number in connection.execute(COUNTS).fetchall()[0]]
    finally:
        connection.close()


def faults_after_kill(start: Start, place: Path) -> list[str]:
    """Return what is wrong with a store and its reports after a kill; neither is touched."""
    found = [*_faults_of_store(start, place), *_faults_of_reports(start, place)]
    files = [path for path in place.rglob("*") if path.is_file() and path.name not in (ACKNOWLEDGED, SAID)]
    private = [path for path in files if "reports" not in path.relative_to(place).parts]
    found += [f"open to others: {path.name}" for path in private if path.stat().st_mode & 0o077]
    sums = {sha256_of(path) for path in files if path.stat().st_size in start.kept.values()}
    if "Traceback" in (said := (place / SAID).read_text("utf-8", "replace")):
        found.append(f"traceback: {said[said.index('Traceback') :][-600:]}")
    found += [f"gone: a file of {size} bytes" for sha256, size in start.kept.items() if sha256 not in sums]
    return found


def _faults_of_store(start: Start, place: Path) -> list[str]:
    store, log = place / "t.duckdb", place / "t.duckdb.wal"
    told = place / ACKNOWLEDGED
    lines = told.read_text().split("\n")[:-1] if told.exists() else []
    least = [int(one) for one in lines[-1].split()] if lines else start.least
    if not store.exists():
        return [] if least == [0, 0, 0] else ["lost: the store"]
    with TemporaryDirectory(dir=place.parent) as name:
        copy = Path(name) / "t.duckdb"
        shutil.copyfile(store, copy)
        if log.exists():
            shutil.copyfile(log, Path(name) / "t.duckdb.wal")
        try:
            held = counted(copy)
            connection = open_file(copy)
            try:
                if version_of(connection) == current():
                    verify(connection, "store")
            finally:
                connection.close()
        except TriageError as error:
            return [] if start.damage and _still_damaged(start, store, log) else [f"broken: {str(error)[:300]}"]
    return [f"lost: {held} of {least}"] if any(now < then for now, then in zip(held, least, strict=True)) else []


def _still_damaged(start: Start, store: Path, log: Path) -> bool:
    """Tell whether the damage is as it was, or a sound copy stands beside the damaged log: the command runs again."""
    assert start.damage
    same_log = not log.exists() or sha256_of(log) == start.damage[1]
    copies = start.kept if start.name == "damaged store" else {}
    return same_log and sha256_of(store) in {start.damage[0], *copies}


def _faults_of_reports(start: Start, place: Path) -> list[str]:
    held = reports(place / "reports")
    found = [
        f"half report: {name}"
        for name, sha256 in held.items()
        if sha256 not in (start.reports.get(name), start.reports_after.get(name))
    ]
    for folder in {str(Path(name).parent) for name in held}:
        wanted = {name for name in start.reports_after if str(Path(name).parent) == folder}
        if wanted - held.keys():
            found.append(f"half report: {folder}")
    return found


def faults_at_the_end(start: Start, place: Path, server: Server) -> list[str]:
    """Run the command, and the night after a mend, to their ends; return what is other than undisturbed."""
    commands = [start.command(place), *([tonight(start.feeds, place)] if start.name in MENDS else [])]
    for command in commands:
        if code := server.run(command).code:
            return [f"the run after ends with {code}: {command[:2]}: {(place / SAID).read_text()[-600:]}"]
    wrong = differ(tables(place / "t.duckdb"), start.tables_after)
    wrong += differ(reports(place / "reports"), start.reports_after)
    left = [path for path in place.rglob("*") if path.name.startswith(".") and path.name != ".lock"]
    wrong += [f"left behind: {path.relative_to(place)}" for path in [*left, *place.glob("*.tmp")]]
    return [f"other than undisturbed: {wrong}"] if wrong else []


def tried(start: Start, place: Path, server: Server, chance: random.Random) -> dict[str, Any]:
    """Kill a command in several of its phases, let it end, and return what was done and what was found."""
    shutil.copytree(start.place, place)
    phases = list(start.lengths)
    hits: list[list[object]] = []
    faults: list[str] = []
    aims = chance.choices(phases, k=chance.randint(4, 9))
    if start.name in MENDS or start.name in VERSIONS:
        # What is done once (a migration, a mend) comes before what a later night does again.
        aims.sort(key=phases.index)
    for phase in aims:
        instant = chance.uniform(0, start.lengths[phase])
        ended = server.run(start.command(place), phase, instant)
        hits.append([phase, round(instant, 3), ended.last if ended.code == -9 else f"ended with {ended.code}"])
        faults += [f"{phase} {instant:.3f} {ended.last}: {one}" for one in faults_after_kill(start, place)]
    faults += faults_at_the_end(start, place, server)
    return {"start": start.name, "hits": hits, "faults": faults}


def summed(trials: list[dict[str, Any]]) -> dict[str, Any]:
    """Return what some trials come to."""
    hits = [(one["start"], last) for one in trials for _, _, last in one["hits"]]
    killed = [(start, last) for start, last in hits if not last.startswith("ended")]
    return {
        "kills": len(killed),
        "by_phase": dict(Counter(last for _, last in killed).most_common()),
        "by_start": dict(Counter(start for start, _ in killed).most_common()),
        "ended_before": len(hits) - len(killed),
        "reruns": len(trials),
        "faults": sum(bool(one["faults"]) for one in trials),
        "seconds": round(sum(one["seconds"] for one in trials)),
    }


def main(kills: int, seed: int, log: Path | None = None) -> int:
    """Kill that many commands, those in the log counted; return how many trials found a fault."""
    lines = log.read_text("utf-8").splitlines() if log is not None and log.exists() else []
    trials = [one for one in map(json.loads, lines) if one["seed"] == seed]
    server = Server()
    with TemporaryDirectory() as name:
        root = Path(name)
        feeds = small_feeds(root / "feeds", rows=5)
        starts: dict[str, Start] = {}
        while summed(trials)["kills"] < kills:
            number = len(trials) + 1
            began = time.monotonic()
            kind = STARTS[number % len(STARTS)]
            if kind not in starts:
                starts[kind] = prepared(kind, root / kind.replace(" ", "-"), feeds, server)
            place = root / f"trial-{number}"
            one = tried(starts[kind], place, server, random.Random(f"{seed} {number}"))
            one = {"seed": seed, "trial": number, **one, "seconds": round(time.monotonic() - began, 1)}
            trials.append(one)
            if log is not None:
                with log.open("a", encoding="utf-8") as stream:
                    stream.write(json.dumps(one) + "\n")
            for fault in one["faults"]:
                print(f"trial {number} {kind} {fault}", flush=True)
            if one["faults"] and log is not None:
                shutil.copytree(place, log.with_name(f"{log.name}.trial-{number}"), dirs_exist_ok=True)
            shutil.rmtree(place)
    server.close()
    found = summed(trials)
    tell("kills", seed, **found)
    return int(found["faults"])


if __name__ == "__main__":
    sys.exit(bool(main(int(sys.argv[1]), *map(int, sys.argv[2:3] or ["1"]), *map(Path, sys.argv[3:4]))))
