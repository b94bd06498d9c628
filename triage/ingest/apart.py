"""Formats whose parsers may crash or hang on a crafted file are opened in a child process with limits."""

import subprocess
import sys
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from triage.ingest.rows import FileError


@dataclass(frozen=True)
class Bounds:
    """What a child program may take: memory, time of its processors, and time by the clock, more for a larger file."""

    memory_bytes: int
    cpu_seconds: int
    seconds_a_megabyte: float
    most_seconds: float
    least_seconds: float = 4

    def seconds(self, file_bytes: int) -> float:
        """Return the time by the clock for a file of that size."""
        return min(self.most_seconds, self.least_seconds + self.seconds_a_megabyte * file_bytes / 1e6)


BOUNDS = {
    # The parser takes minutes for a page of 200,000 open elements.
    "page": Bounds(3 << 30, cpu_seconds=30, seconds_a_megabyte=0.2, most_seconds=10),
    # The clock also runs while rows are stored.
    "parquet": Bounds(4 << 30, cpu_seconds=120, seconds_a_megabyte=30, most_seconds=300),
    "sheet": Bounds(4 << 30, cpu_seconds=60, seconds_a_megabyte=4, most_seconds=60),
}
_LAUNCH = Path(__file__).with_name("children") / "launch.py"
# The launcher prints this before what is wrong, so that it isn't mistaken for a library's message.
SAID = "REFUSED "


def lines_apart(child: str, path: Path, bounds: Bounds | None = None) -> Iterator[str]:
    """Yield the lines a child program prints for a file.

    Args:
        child: Name of a program in ``children/``; it imports nothing of this package.
        bounds: Those of ``BOUNDS`` if not given.

    Raises:
        FileError: The child refused the file, crashed, or took too long or too much memory.
    """
    # -I: neither the folder of the program nor the environment decides what is imported.
    bounds = bounds or BOUNDS[child]
    seconds = bounds.seconds(path.stat().st_size)
    limits = [str(bounds.memory_bytes), str(bounds.cpu_seconds)]
    command = [sys.executable, "-I", str(_LAUNCH), child, *limits, str(path.absolute())]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, stdin=subprocess.DEVNULL) as process:
        timer = threading.Timer(seconds, process.kill)
        said: list[bytes] = []
        # Read beside standard output: a full pipe would stop the child.
        listener = threading.Thread(target=lambda: said.append((process.stderr or sys.stdin.buffer).read()[-4_000:]))
        timer.start()
        listener.start()
        try:
            for line in process.stdout or ():
                yield line.decode("utf-8")
            code = process.wait()
        finally:
            process.kill()
            listener.join()
            late = not timer.is_alive()
            timer.cancel()
    if code:
        _refuse(code, b"".join(said).decode("utf-8", "replace"), late, seconds)


def _refuse(code: int, said: str, late: bool, seconds: float) -> None:
    last = said.strip().splitlines()[-1] if said.strip() else ""
    if last.startswith(SAID):
        name, _, found = last.removeprefix(SAID).partition(" ")
        raise FileError(name, found, "a file within the limits of its format")
    if late:
        raise FileError("too-slow", f"no end after {seconds:g} s", f"a file that is read within {seconds:g} s")
    raise FileError("reader-failed", last[:300] or f"the parser ended with {code}", "a sound file of its format")
