"""kill -9 at random instants of every phase of a night: nothing acknowledged is lost, nothing doubled, no half report.

``python -m tests.faults.kills KILLS [SEED]``. A trial starts from nothing, from a night before, or from a store of
version 1; a night is killed up to eight times at an instant of a phase drawn at random, and after each kill the store
must open and hold at least what was acknowledged, and every report file must be whole, of this night or of the one
before. Then the night runs to its end, and its tables and reports must be those of a night that nobody disturbed.

A server process imports the program once and forks a child for each night, before any library has started a thread.
"""

import lzma
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from tests.faults.common import NIGHTS, ROOT, differ, night, reports, small_feeds, tables, tell
from tests.faults.releases import release

BUYER = ("--buyer", ROOT / "rules" / "buyers" / "bench.toml")
STARTS = ("nothing", "night before", "version 1")
# A phase begins when its function is entered; the last ends with the process.
PHASES = ("start", "migration", "backup", "ingest", "listings", "stages", "report", "checkpoint")


def marked(
    phase: str, function: Callable[..., Any], mark: Callable[[str], None], after: str = ""
) -> Callable[..., Any]:
    """Return a function that says that its phase begins, and which begins when it has ended."""

    def wrapper(*args: Any, **kwargs: Any) -> Any:
        mark(phase)
        try:
            return function(*args, **kwargs)
        finally:
            if after:
                mark(after)

    return wrapper


def child(arguments: list[str], aim: str, told: int) -> None:
    """Run one night; say through a pipe when the phase aimed at begins, and into a file what was committed."""
    from triage import batch, ingest, listing, writeup
    from triage.keeping import copies, versions

    seen: list[str] = []

    def mark(phase: str) -> None:
        if phase not in seen:
            seen.append(phase)
            if aim in (phase, "all"):
                os.write(told, f"{phase} {time.monotonic()}\n".encode())

    def acknowledging(transaction: Callable[..., Any]) -> Callable[..., Any]:
        class Acknowledged:
            def __init__(self, store: Any) -> None:
                self.store, self.inner = store, transaction(store)

            def __enter__(self) -> None:
                self.inner.__enter__()

            def __exit__(self, *error: Any) -> Any:
                done = self.inner.__exit__(*error)
                if error[0] is None:
                    row = self.store.execute(COUNTS).fetchall()[0]
                    with open(arguments[arguments.index("--out") + 1] + ".acknowledged", "w") as stream:
                        stream.write(" ".join(map(str, row)))
                return done

        return Acknowledged

    for module in (batch, ingest, listing):
        module.transaction = acknowledging(module.transaction)  # type: ignore[attr-defined]
    copies.backup = marked("backup", copies.backup, mark)
    versions._copy_table = marked("migration", versions._copy_table, mark)
    ingest.run = marked("ingest", ingest.run, mark)
    listing.run = marked("listings", listing.run, mark)
    batch.weigh = marked("stages", batch.weigh, mark)
    writeup.run = marked("report", writeup.run, mark, "checkpoint")
    mark("start")
    sys.argv = ["triage", *arguments]
    null = os.open(os.devnull, os.O_WRONLY)
    os.dup2(null, 1)
    from triage.cli import main

    main()


COUNTS = "SELECT (SELECT count(*) FROM feed), (SELECT count(*) FROM raw_row), (SELECT count(*) FROM sighting)"


def serve() -> None:
    """Run nights as they are asked for: ``phase seconds argument...`` -> ``status phase-and-instant...``."""
    import polars  # noqa: F401

    from triage import batch, catalogue, cli  # noqa: F401
    from triage.writeup import terminal  # noqa: F401

    for line in sys.stdin:
        aim, seconds, *arguments = line.rstrip("\n").split("\t")
        read, write = os.pipe()
        started = time.monotonic()
        pid = os.fork()
        if pid == 0:
            os.close(read)
            try:
                child(arguments, aim, write)
            finally:
                sys.stderr.flush()
        os.close(write)
        heard = b""
        if aim != "all":
            heard = os.read(read, 100)  # blocks until the phase begins, or the pipe closes with the night
            if heard:
                time.sleep(float(seconds))
                os.kill(pid, signal.SIGKILL)
        else:
            while more := os.read(read, 1000):
                heard += more
        os.close(read)
        _, status = os.waitpid(pid, 0)
        took = [
            f"{phase}={float(at) - started:.4f}" for phase, at in (row.split() for row in heard.decode().splitlines())
        ]
        print(os.waitstatus_to_exitcode(status), *took, f"end={time.monotonic() - started:.4f}", flush=True)


class Server:
    """The process that runs the nights."""

    def __init__(self) -> None:
        command = [sys.executable, "-m", "tests.faults.kills", "serve"]
        self.process = subprocess.Popen(command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)

    def run(self, arguments: list[object], aim: str = "all", seconds: float = 0) -> tuple[int, dict[str, float]]:
        """Run a night, killed some seconds after a phase begins; return its exit code and when phases began."""
        assert self.process.stdin
        assert self.process.stdout
        self.process.stdin.write("\t".join([aim, str(seconds), *map(str, arguments)]) + "\n")
        self.process.stdin.flush()
        code, *began = self.process.stdout.readline().split()
        return int(code), {phase: float(at) for phase, at in (one.split("=") for one in began)}

    def close(self) -> None:
        """End it."""
        assert self.process.stdin
        self.process.stdin.close()
        self.process.wait()


class Start:
    """Where a trial starts from, and what an undisturbed night makes of it."""

    def __init__(self, name: str, place: Path, feeds: Path, server: Server) -> None:
        self.name, self.place, self.feeds = name, place, feeds
        place.mkdir()
        if name == "night before":
            assert server.run(night(feeds, place, NIGHTS[0], *BUYER))[0] == 0
        elif name == "version 1":
            (place / "t.duckdb").write_bytes(lzma.decompress(release(1).read_bytes()))
        self.reports = reports(place / "reports")
        clean = place.with_name(f"{place.name}-clean")
        shutil.copytree(place, clean)
        code, began = server.run(night(feeds, clean, NIGHTS[1], *BUYER))
        assert code == 0
        order = sorted(began, key=lambda phase: began[phase])
        self.lengths = {phase: began[order[order.index(phase) + 1]] - began[phase] for phase in order if phase != "end"}
        self.tables_after, self.reports_after = tables(clean / "t.duckdb"), reports(clean / "reports")
        self.rows_before = counted(place / "t.duckdb")


def counted(store: Path) -> list[int]:
    """Return how many exports, rows and sightings a store holds."""
    from triage.keeping.opening import open_file

    if not store.exists():
        return [0, 0, 0]
    connection = open_file(store)
    try:
        return [int(number) for number in connection.execute(COUNTS).fetchall()[0]]
    finally:
        connection.close()


def faults_after_kill(start: Start, place: Path) -> list[str]:
    """Return what is wrong with a store and its reports after a kill."""
    found = []
    acknowledged = place / "reports.acknowledged"
    least = [int(one) for one in acknowledged.read_text().split()] if acknowledged.exists() else []
    held = counted(place / "t.duckdb")
    if any(now < then for now, then in zip(held, least or start.rows_before, strict=False)):
        found.append(f"lost: {held} of {least or start.rows_before} exports, rows and sightings")
    for name, sha256 in reports(place / "reports").items():
        if sha256 not in (start.reports.get(name), start.reports_after.get(name)):
            found.append(f"half report: {name}")
    folders = {str(Path(name).parent) for name in reports(place / "reports")}
    for folder in folders:
        wanted = {name for name in start.reports_after if str(Path(name).parent) == folder}
        if wanted - reports(place / "reports").keys():
            found.append(f"half report: {folder}")
    return found


def main(kills: int, seed: int) -> int:
    """Kill that many nights; return how many faults were found."""
    chance = random.Random(seed)
    hit: Counter[str] = Counter()
    faults: list[str] = []
    began, reruns, trial = time.monotonic(), 0, 0
    server = Server()
    with TemporaryDirectory() as name:
        root = Path(name)
        feeds = small_feeds(root / "feeds", rows=5)
        starts: dict[str, Start] = {}
        while sum(hit.values()) < kills:
            trial += 1
            kind = chance.choice(STARTS)
            if kind not in starts:
                starts[kind] = Start(kind, root / kind.replace(" ", "-"), feeds, server)
            start = starts[kind]
            place = root / f"trial-{trial}"
            shutil.copytree(start.place, place)
            for _ in range(chance.randrange(1, 9)):
                phase = chance.choice([one for one in PHASES if one in start.lengths])
                instant = chance.uniform(0, start.lengths[phase] * 1.1)
                code, _ = server.run(night(feeds, place, NIGHTS[1], *BUYER), phase, instant)
                hit[phase if code == -9 else "ended before"] += code == -9
                faults += [
                    f"trial {trial} {start.name} {phase} {instant:.3f}: {one}"
                    for one in faults_after_kill(start, place)
                ]
            code, _ = server.run(night(feeds, place, NIGHTS[1], *BUYER))
            reruns += 1
            if code:
                faults.append(f"trial {trial} {start.name}: the night after ends with {code}")
            else:
                wrong = differ(tables(place / "t.duckdb"), start.tables_after)
                wrong += differ(reports(place / "reports"), start.reports_after)
                wrong += [str(left) for left in place.glob(".*.fresh*")]
                if wrong:
                    faults.append(f"trial {trial} {start.name}: other than undisturbed: {wrong}")
            for fault in faults[-3:]:
                if f"trial {trial} " in fault:
                    print(fault, flush=True)
            if not any(f"trial {trial} " in fault for fault in faults):
                shutil.rmtree(place)
    server.close()
    tell("kills", seed, kills=sum(hit.values()), by_phase=dict(hit), reruns=reruns, faults=len(faults),
         seconds=round(time.monotonic() - began))  # fmt: skip
    return len(faults)


if __name__ == "__main__":
    if sys.argv[1] == "serve":
        serve()
    else:
        sys.exit(bool(main(int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 1)))
