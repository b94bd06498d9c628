"""Time the whole night, from exports to reports, stage by stage.

    python -m benchmarks.night [LISTINGS ...]

Each size is one process of its own on exports made for it (``benchmarks/exports.py``, 5,000 releases) with one buyer,
and prints seconds, rows a second, processor seconds and peak memory for each stage, then how the time of the night
grows from size to size: 1 = in proportion. Beside it, in the same run, what ``benchmarks/beside.py`` says: the floor,
and the obvious script (``pip install -e '.[bench]'``); and the next night, in which all but one listing of each export
are on offer again.
"""

import json
import math
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import date, timedelta
from itertools import pairwise
from pathlib import Path
from types import ModuleType
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
STAGES = ("ingest", "listing", "match", "observation", "prognosis", "rules", "verdict", "writeup")
BETWEEN = (
    ("due", "fill"), ("due", "look_beside"), ("due", "look_at_worth"), ("history", "record"), ("due", "keep"),
    ("published", "publish"),
)  # fmt: skip
AS_OF = date(2026, 11, 25)
RELEASES = 5_000


def one_night(folder: Path, day: int = 0) -> list[dict[str, Any]]:
    """Run a night, so many days after the first, over the exports in a folder and return what each stage took."""
    from triage import batch, catalogue
    from triage.store import open_store

    begun = time.perf_counter()
    known = catalogue.load(ROOT / "rules", [folder / "constructions.csv"], [ROOT / "rules/buyers/daily.toml"])
    read = time.perf_counter() - begun
    steps = timed_stages(batch)
    steps.append({"stage": "rules/ read", "seconds": read, "cpu": time.process_time(), "peak": peak_gb()})
    with open_store(folder / "night.duckdb") as store:
        batch.nightly(store, known, [folder / "exports"], AS_OF + timedelta(days=day), folder / "reports")
    total = time.perf_counter() - begun
    children = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 2**20
    steps.append({"stage": "night", "seconds": total, "cpu": time.process_time(), "peak": max(peak_gb(), children)})
    return steps


def timed_stages(batch: ModuleType) -> list[dict[str, Any]]:
    """Have every stage of a night, and what runs between them, note what it took; return the list of the notes."""
    steps: list[dict[str, Any]] = []

    def timed(name: str, run: Callable[..., Any]) -> Callable[..., Any]:
        def wrapped(*values: Any, **named: Any) -> Any:
            wall, cpu = time.perf_counter(), time.process_time()
            result = run(*values, **named)
            wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
            steps.append({"stage": name, "seconds": wall, "cpu": cpu, "peak": peak_gb()})
            return result

        return wrapped

    for name in STAGES:
        module = getattr(batch, name)
        module.run = timed(name, module.run)
    # Stage 1 holds the transaction open for it: its time is also in ingest's, as look_at_worth's is in verdict's.
    batch.listing.sort_out = timed("of it listing", batch.listing.sort_out)
    for place, name in BETWEEN:
        module = getattr(batch, place)
        setattr(module, name, timed(f"{place}.{name}", getattr(module, name)))
    return steps


def peak_gb() -> float:
    """Return the highest memory so far, GB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20


def apart(place: str, day: int) -> list[dict[str, Any]]:
    """Run a night in a process of its own and return what each stage took."""
    command = [sys.executable, "-m", "benchmarks.night", "--one", place, str(day)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, env=os.environ | AS_INSTALLED)
    if done.returncode:
        sys.exit(done.stderr)
    steps: list[dict[str, Any]] = json.loads(done.stdout.splitlines()[-1])
    return steps


def main(sizes: list[int]) -> None:
    """Print a table for each size, and the growth between sizes."""
    from benchmarks.beside import OBVIOUS_ROWS, floor_seconds, obvious_seconds
    from benchmarks.exports import write_world

    nights: list[tuple[int, float]] = []
    for size in sizes:
        with tempfile.TemporaryDirectory() as place:
            write_world(Path(place), size, RELEASES)
            steps = apart(place, 0)
            kept = sum(file.stat().st_size for file in Path(place).glob("night.duckdb*"))
            exports, night = Path(place) / "exports", steps[-1]["seconds"]
            floor = floor_seconds(exports, Path(place) / "night.duckdb", Path(place) / "floor.duckdb")
            rows = min(size, OBVIOUS_ROWS)
            obvious = obvious_seconds(exports, Path(place) / "constructions.csv", Path(place) / "friend.csv", rows)
            obvious *= size / rows
            for export in exports.iterdir():
                export.write_bytes(b"".join(export.read_bytes().splitlines(keepends=True)[:-1]))
            later = apart(place, 1)[-1]
        print(f"\n{size} listings, {RELEASES} releases; the store has {kept / 2**20:.0f} MB")
        print(f"{'stage':14} {'seconds':>8} {'rows/s':>9} {'cpu s':>8} {'peak GB':>8}")
        for step in steps:
            rate = size / max(step["seconds"], 1e-9)
            print(f"{step['stage']:14} {step['seconds']:8.2f} {rate:9.0f} {step['cpu']:8.2f} {step['peak']:8.2f}")
        print(f"floor: {floor:.2f} s, the night takes {night / floor:.1f} times that")
        print(
            f"the obvious script: {obvious:.0f} s, reckoned up from {rows} rows: {obvious / night:.1f} times the night"
        )
        print(
            f"the next night: {later['seconds']:.2f} s, {later['cpu']:.2f} s of processor time, {later['peak']:.2f} GB"
        )
        nights.append((size, night))
    for (few, short), (many, long) in pairwise(nights):
        print(f"growth from {few} to {many}: exponent {math.log(long / short) / math.log(many / few):.2f}")


# As the command line of an installed program has it: one thread, and its byte code at hand.
AS_INSTALLED = {"OPENBLAS_NUM_THREADS": "1", "PYTHONDONTWRITEBYTECODE": ""}


if __name__ == "__main__":
    if "--one" in sys.argv:
        print(json.dumps(one_night(Path(sys.argv[2]), int(sys.argv[3]))))
    else:
        main([int(size) for size in sys.argv[1:]] or [10_000, 100_000])
