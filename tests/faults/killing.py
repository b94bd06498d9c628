"""Run commands of the program and kill them at an instant of a phase: a server imports it once and forks a child each.

The server only imports, so what threads there are do nothing yet and a child begins as a process of its own would.
"""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.faults.common import ROOT

# What the store held when a transaction was acknowledged: one line each, the last is the newest.
COUNTS = "SELECT (SELECT count(*) FROM feed), (SELECT count(*) FROM raw_row), (SELECT count(*) FROM sighting)"
ACKNOWLEDGED = "acknowledged"
# What the commands wrote to their error stream.
SAID = "said"


@dataclass(frozen=True)
class Ended:
    """How a command ended: its exit code (-9: killed), when each phase began, and the last one it came to."""

    code: int
    began: dict[str, float]
    last: str


class Server:
    """The process that runs the commands, from the side of whoever asks."""

    def __init__(self) -> None:
        command = [sys.executable, "-m", "tests.faults.killing"]
        self.process = subprocess.Popen(command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)

    def run(self, arguments: list[object], aim: str = "", seconds: float = 0) -> Ended:
        """Run a command; kill it some seconds after the phase aimed at begins."""
        assert self.process.stdin
        assert self.process.stdout
        self.process.stdin.write("\t".join([aim, str(seconds), *map(str, arguments)]) + "\n")
        self.process.stdin.flush()
        code, *began = self.process.stdout.readline().rstrip("\n").split("\t")
        phases = {phase: float(at) for phase, at in (one.split("=") for one in began)}
        return Ended(
            int(code), phases, max((one for one in phases if one != "end"), key=phases.__getitem__, default="")
        )

    def close(self) -> None:
        """End it."""
        assert self.process.stdin
        self.process.stdin.close()
        self.process.wait()


def _marked(phase: str, function: Callable[..., Any], mark: Callable[[str], None], after: str = "") -> Any:
    """Return a function that says that its phase begins, and which begins when it has ended."""

    def wrapper(*args: Any, **kwargs: Any) -> Any:
        mark(f"copy {args[1]}" if phase == "copy" else phase)
        try:
            return function(*args, **kwargs)
        finally:
            if after:
                mark(after)

    return wrapper


def _acknowledging(transaction: Callable[..., Any], place: Path) -> Any:
    """Return a transaction that writes down what the store holds once it is committed."""

    class Acknowledged:
        def __init__(self, store: Any) -> None:
            self.store, self.inner = store, transaction(store)

        def __enter__(self) -> None:
            self.inner.__enter__()

        def __exit__(self, *error: Any) -> Any:
            done = self.inner.__exit__(*error)
            if error[0] is None:
                row = self.store.execute(COUNTS).fetchall()[0]
                with place.open("a") as stream:
                    stream.write(" ".join(map(str, row)) + "\n")
            return done

    return Acknowledged


def _child(arguments: list[str], told: int) -> None:
    """Run one command; say through a pipe when each phase begins, and into a file what was committed."""
    from triage import batch, ingest, listing, writeup
    from triage.keeping import copies, recover, versions

    seen: list[str] = []

    def mark(phase: str) -> None:
        if phase not in seen:
            seen.append(phase)
            os.write(told, f"{phase}={time.monotonic()}\n".encode())

    place = Path(arguments[arguments.index("--store") + 1]).with_name(ACKNOWLEDGED)
    for module in (batch, ingest, listing):
        module.transaction = _acknowledging(module.transaction, place)  # type: ignore[attr-defined]
    # A phase begins when its function is entered, and ends where the next begins.
    for owner, name, phase, after in (
        (copies, "backup", "copy", ""), (versions, "_copy_table", "migration", ""),
        (ingest, "run", "ingest", ""), (listing, "sort_out", "listings", ""), (listing, "run", "twins", ""),
        (batch, "weigh", "stages", ""), (writeup, "run", "report", "checkpoint"),
        (copies, "_sound_copy", "copying", ""), (copies, "_set_aside", "setting aside", ""),
        (copies, "restore", "restore", "verifying"), (recover, "_opens", "probing", ""),
        (recover, "_set_aside", "setting aside", ""), (recover, "put", "taking over", ""),
    ):  # fmt: skip
        setattr(owner, name, _marked(phase, getattr(owner, name), mark, after))
    mark("start")
    sys.argv = ["triage", *arguments]
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    os.dup2(os.open(place.with_name(SAID), os.O_WRONLY | os.O_CREAT | os.O_APPEND), 2)
    from triage.cli import main

    main()


def _serve() -> None:
    """Run commands as they are asked for: ``aim seconds argument...`` -> ``code phase=instant...``, by tabs."""
    import polars  # noqa: F401

    from triage import batch, catalogue, cli  # noqa: F401
    from triage.listing.rates import rate_table
    from triage.writeup import terminal  # noqa: F401
    from triage.writeup.page import environment

    # Read once what every child would read: plain Python.
    rate_table()
    for name in environment().list_templates():
        environment().get_template(name)
    for line in sys.stdin:
        aim, seconds, *arguments = line.rstrip("\n").split("\t")
        read, write = os.pipe()
        started = time.monotonic()
        pid = os.fork()
        if pid == 0:
            os.close(read)
            try:
                _child(arguments, write)
            finally:
                sys.stderr.flush()
        os.close(write)
        heard = b""
        # Blocks until the next phase begins, or the pipe closes with the process.
        while more := os.read(read, 4096):
            heard += more
            if aim and any(row.startswith(f"{aim}=") for row in heard.decode().splitlines()):
                time.sleep(float(seconds))
                os.kill(pid, signal.SIGKILL)
                aim = ""
        os.close(read)
        _, status = os.waitpid(pid, 0)
        rows = [row.split("=") for row in heard.decode().splitlines()]
        took = [f"{phase}={float(at) - started:.4f}" for phase, at in rows]
        print(os.waitstatus_to_exitcode(status), *took, f"end={time.monotonic() - started:.4f}", sep="\t", flush=True)


if __name__ == "__main__":
    _serve()
