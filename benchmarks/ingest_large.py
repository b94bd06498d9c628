"""How much memory a CSV of 2 GB takes into raw_row: once clean, once with an odd row far down (the slow way).

Run by hand: ``python benchmarks/ingest_large.py [megabytes]`` (default 2,000); needs about 3 times that of room for a
while in the temporary folder, and leaves nothing. Each reading is a process of its own; prints seconds and peak memory.
"""

import subprocess
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

from ingest_speed import write

BYTES_A_ROW = 479


def main(megabytes: int) -> None:
    """Write the export, read it twice."""
    with TemporaryDirectory() as folder:
        path = Path(folder, "export.csv")
        write(path, megabytes * 1_000_000 // BYTES_A_ROW)
        for what in ("clean", "an odd row at the end"):
            if what != "clean":
                with path.open("a") as stream:
                    stream.write("cut off\n")
            print(f"{what}: {path.stat().st_size / 1e6:.0f} MB", flush=True)
            store = Path(folder, "store.duckdb")
            speed = Path(__file__).with_name("ingest_speed.py")
            start = time.perf_counter()
            subprocess.run([sys.executable, str(speed), "ingest", str(path), str(store)], check=True)
            print(f"  {time.perf_counter() - start:.0f} s", flush=True)
            store.unlink()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 2_000)
