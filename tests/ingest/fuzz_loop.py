"""One process that runs a program of ``triage/ingest/children`` on many files, one after the other: for fuzzing only.

A process a file, as the night has it, takes 30 to 300 ms to start; 20,000 files a format need this one. Program and
bounds are the night's own. ``Loop`` is the side that asks; run as a program, this file is the side that answers.
"""

import json
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

CHILDREN = Path(__file__).parents[2] / "triage" / "ingest" / "children"


class Loop:
    """A process that takes files until it dies or one takes too long; then the next file starts another.

    Attributes:
        deaths: Files it died of: what it is apart for.
        late: Files it was ended at, as the night would.
    """

    def __init__(self, child: str, memory_bytes: int, seconds: float) -> None:
        self.deaths = self.late = 0
        self._command = [sys.executable, "-I", __file__, child, str(memory_bytes)]
        self._seconds = seconds
        self._process: subprocess.Popen[str] | None = None

    def ask(self, path: Path) -> dict:
        """Return the lines printed for a file, with code and text of a refusal or fault."""
        if self._process is None or self._process.poll() is not None:
            self._process = subprocess.Popen(
                self._command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
            )
        process = self._process
        late = threading.Event()
        timer = threading.Timer(self._seconds, lambda: (late.set(), process.kill()))
        timer.start()
        try:
            assert process.stdin
            assert process.stdout
            process.stdin.write(f"{path}\n")
            process.stdin.flush()
            answer = process.stdout.readline()
        except BrokenPipeError:
            answer = ""
        finally:
            timer.cancel()
        if answer.endswith("\n"):
            return json.loads(answer)
        code = process.wait()
        if late.is_set():
            self.late += 1
            return {"lines": "", "code": "too-slow", "said": f"no end after {self._seconds:g} s"}
        self.deaths += 1
        return {"lines": "", "code": "reader-failed", "said": f"the parser ended with {code}"}

    def close(self) -> None:
        """End the process."""
        if self._process is not None:
            self._process.kill()
            self._process.communicate()


class Refused(BaseException):
    """What a program refuses; none of its own ``except Exception`` may catch it."""


def refuse(code: str, found: str) -> None:
    raise Refused(code, found)


def answers(child: str, memory_bytes: int) -> Iterator[str]:
    """Yield one JSON text for each path on standard input."""
    import io
    from contextlib import redirect_stdout

    sys.path.insert(0, str(CHILDREN))
    launch, program = __import__("launch"), __import__(child)
    # No bound on the processor's time: it counts for the whole process.
    launch.bound(memory_bytes, 1 << 30)
    for path in sys.stdin:
        out = io.StringIO()
        answer = {"code": "", "said": ""}
        try:
            with redirect_stdout(out):
                program.main(path.rstrip("\n"), refuse)
        except Refused as refused:
            answer = {"code": refused.args[0], "said": refused.args[1]}
        except BaseException as error:
            answer = {"code": "fuzz-fault", "said": f"{type(error).__name__}: {error}"}
        yield json.dumps({"lines": out.getvalue(), **answer})


if __name__ == "__main__":
    for text in answers(sys.argv[1], int(sys.argv[2])):
        print(text, flush=True)
