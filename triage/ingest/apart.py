"""Formats whose parsers may crash or hang on a crafted file are opened in a child process with limits."""

import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

from triage.ingest.rows import FileError

SECONDS = 60
_CHILDREN = Path(__file__).with_name("children")
# The children print this before what is wrong, so that it isn't mistaken for a library's message.
SAID = "REFUSED "


def lines_apart(child: str, path: Path, seconds: float = SECONDS) -> Iterator[str]:
    """Yield the lines a child program prints for a file.

    Args:
        child: Name of a module in ``children/``; it is run as a program and imports nothing of this package.
        seconds: It is ended when it takes longer.

    Raises:
        FileError: The child refused the file, crashed, or took too long or too much memory.
    """
    # -I: neither the folder of the program nor the environment decides what is imported.
    command = [sys.executable, "-I", str(_CHILDREN / f"{child}.py"), str(path.absolute())]
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
