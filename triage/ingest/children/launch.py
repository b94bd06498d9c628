"""Run one program of this folder on one file, within bounds: ``launch.py PROGRAM MEMORY_BYTES CPU_SECONDS FILE``.

Each program has ``main(path, refuse)``, prints what it read line by line, and imports nothing of this package: that
alone would cost more than a small file.
"""

import os
import sys
from typing import NoReturn


def bound(memory_bytes: int, cpu_seconds: int) -> None:
    """Bound memory and time of this process, where the system can."""
    try:
        import resource
    except ImportError:
        return
    resource.setrlimit(resource.RLIMIT_AS, (memory_bytes, memory_bytes))
    resource.setrlimit(resource.RLIMIT_CPU, (cpu_seconds, cpu_seconds))
    # A parser that aborts leaves no picture of its memory behind.
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def refuse(code: str, found: str) -> NoReturn:
    """Say what is wrong and end."""
    print(f"REFUSED {code} {found}", file=sys.stderr)
    sys.exit(3)


if __name__ == "__main__":
    program, memory, seconds, file = sys.argv[1:]
    bound(int(memory), int(seconds))
    # First, so that nothing installed can take the program's name; unlike runpy this keeps what it compiled.
    sys.path.insert(0, os.path.dirname(__file__))
    __import__(program).main(file, refuse)
