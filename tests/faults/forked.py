"""Run the command line many times without starting Python anew: a server imports it once and forks a child a command.

The server itself runs no library code, so it has no threads when it forks.
"""

import json
import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.faults.common import ROOT


@dataclass(frozen=True)
class Done:
    """How a command ended; negative codes are signals."""

    returncode: int
    stdout: str
    stderr: str
    tables: dict[str, str]


class Commands:
    """The server, from the side of whoever asks."""

    def __init__(self) -> None:
        command = [sys.executable, "-m", "tests.faults.forked"]
        self._process = subprocess.Popen(command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        self._folder = TemporaryDirectory()

    def __call__(self, *arguments: object, tables_of: Path | None = None) -> Done:
        """Run a command; when it succeeds and a store is named, return what its tables hold."""
        assert self._process.stdin
        assert self._process.stdout
        place = Path(self._folder.name)
        (place / "tables").unlink(missing_ok=True)
        asked = {"arguments": [str(one) for one in arguments], "place": str(place), "store": str(tables_of or "")}
        self._process.stdin.write(json.dumps(asked) + "\n")
        self._process.stdin.flush()
        code = int(self._process.stdout.readline())
        held = (place / "tables").read_text() if (place / "tables").exists() else "{}"
        texts = [(place / name).read_text("utf-8", "replace") for name in ("out", "err")]
        return Done(code, texts[0], texts[1], json.loads(held))

    def close(self) -> None:
        """End the server."""
        assert self._process.stdin
        self._process.stdin.close()
        self._process.wait()
        self._folder.cleanup()


def _child(asked: dict[str, str]) -> int:
    from tests.faults.common import tables
    from triage import cli

    for number, name in ((1, "out"), (2, "err")):
        os.dup2(os.open(f"{asked['place']}/{name}", os.O_WRONLY | os.O_CREAT | os.O_TRUNC), number)
    sys.argv = ["triage", *asked["arguments"]]
    try:
        cli.main()
    except SystemExit as ended:
        if not ended.code and asked["store"]:
            Path(asked["place"], "tables").write_text(json.dumps(tables(Path(asked["store"]))))
        return int(ended.code or 0)
    return 0


def _serve() -> None:
    import traceback

    import polars  # noqa: F401

    from triage import batch, catalogue  # noqa: F401
    from triage.keeping import recover, verify  # noqa: F401

    for line in sys.stdin:
        pid = os.fork()
        if pid == 0:
            code = 99
            try:
                code = _child(json.loads(line))
            except BaseException:
                traceback.print_exc()
            finally:
                sys.stdout.flush()
                sys.stderr.flush()
                os._exit(code)
        _, status = os.waitpid(pid, 0)
        print(os.waitstatus_to_exitcode(status), flush=True)


if __name__ == "__main__":
    _serve()
