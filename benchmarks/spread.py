"""Time a night in one process against the same over a cluster of two processes here, and reckon on from that.

    python -m benchmarks.spread [LISTINGS ...]

Each night is a process of its own over exports made for it (``benchmarks/exports.py``, 5,000 releases, one buyer). Of
the spread one it prints what every step took, its workers' processor time and memory, and the bytes between them; then
what follows for more machines. That last part is reckoned, not measured: both nights here share two cores.
"""

import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from datetime import date
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
AS_OF = date(2026, 11, 25)
RELEASES = 5_000
WORKERS = 2
# As the command line has it, and one thread a worker: what else is done at once are other tasks.
HERE = {"OPENBLAS_NUM_THREADS": "1"}
THERE = {**HERE, "POLARS_MAX_THREADS": "1", "OMP_NUM_THREADS": "1"}


def nightly(folder: Path, spread: Any) -> dict[str, Any]:
    """Run a night and return its seconds."""
    from triage import batch, catalogue
    from triage.store import open_store

    known = catalogue.load(ROOT / "rules", [folder / "constructions.csv"], [ROOT / "rules/buyers/daily.toml"])
    wall, cpu = time.perf_counter(), time.process_time()
    with open_store(folder / "night.duckdb") as store:
        batch.nightly(store, known, [folder / "exports"], AS_OF, folder / "reports", spread=spread)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    return {"wall": time.perf_counter() - wall, "cpu": time.process_time() - cpu, "peak": peak}


def over_cluster(folder: Path) -> dict[str, Any]:
    """Run a night over a cluster of processes and return what each step and each side of it took."""
    from distributed import Client, LocalCluster

    from triage.spread import Spread
    from triage.spread.cluster import Cluster

    begun, steps = time.perf_counter(), []

    class Timed(Cluster):
        """Notes what each step took and left in its folder."""

        def map(self, work: Any, tasks: Any) -> Any:
            tasks, before, wall = list(tasks), used(client), time.perf_counter()
            had, here = size_of(tasks[0].folder), time.process_time()
            found = super().map(work, tasks)
            # The scheduler runs in this process too: what it takes while the writer waits is told apart.
            here = time.process_time() - here
            wall, cpu = time.perf_counter() - wall, used(client) - before
            step = {"step": work.__name__, "tasks": len(tasks), "wall": wall, "cpu": cpu, "scheduler": here}
            steps.append(step | {"given": had, "written": size_of(tasks[0].folder) - had})
            return found

    with (
        LocalCluster(n_workers=WORKERS, threads_per_worker=1, dashboard_address=":0", env=THERE) as cluster,
        Client(cluster, set_as_default=False) as client,
    ):
        started = time.perf_counter() - begun
        night = nightly(folder, Spread(Timed(client)))
        memory = max(client.run(lambda: resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20).values())
    return night | {"start": started, "steps": steps, "worker_peak": memory}


def used(client: Any) -> float:
    """Return the processor seconds of all workers so far."""
    return sum(client.run(time.process_time).values())


def size_of(folder: Path) -> int:
    """Return the bytes under a folder."""
    return sum(path.stat().st_size for path in folder.rglob("*") if path.is_file())


def measured(size: int, how: str) -> dict[str, Any]:
    """Return what a night of so many listings took, in a process of its own."""
    from benchmarks.exports import write_world

    with tempfile.TemporaryDirectory() as place:
        write_world(Path(place), size, RELEASES)
        again = [sys.executable, "-m", "benchmarks.spread", how, place]
        done = subprocess.run(again, cwd=ROOT, capture_output=True, text=True, env=os.environ | HERE)
    if done.returncode:
        sys.exit(done.stderr)
    found: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return found


def shown(size: int, here: dict[str, Any], there: dict[str, Any]) -> None:
    """Print both nights, and what follows from them."""
    print(f"\n{size} listings, {RELEASES} releases, one buyer")
    print(f"in process: {here['wall']:.1f} s, {here['cpu']:.1f} s of processor time, peak {here['peak']:.2f} GB")
    working, scheduling = (sum(step[name] for step in there["steps"]) for name in ("cpu", "scheduler"))
    writing = there["cpu"] - scheduling
    print(f"over {WORKERS} processes: {there['wall']:.1f} s, after {there['start']:.1f} s to start them")
    print(f"  processor time: writer {writing:.1f} s, scheduler {scheduling:.1f} s, workers {working:.1f} s")
    print(f"  peak: writer {there['peak']:.2f} GB, a worker {there['worker_peak']:.2f} GB")
    print(f"{'step':16} {'tasks':>5} {'wall s':>7} {'cpu s':>7} {'us/listing':>11} {'B given':>8} {'B written':>10}")
    for step in there["steps"]:
        each = [step["cpu"] * 1e6 / size, step["given"] / size, step["written"] / size]
        print(
            f"{step['step']:16} {step['tasks']:5} {step['wall']:7.1f} {step['cpu']:7.1f} "
            f"{each[0]:11.0f} {each[1]:8.0f} {each[2]:10.0f}"
        )
    # On idle machines: the writer works alone, and the workers' time is shared out.
    for machines in (1, 2, 4, 8, 16):
        print(
            f"reckoned, {machines} machines of two cores: {writing + working / (2 * machines):.1f} s beside "
            f"{here['cpu']:.1f} s of processor time here"
        )


def main(sizes: list[int]) -> None:
    """Print both nights for each size."""
    for size in sizes:
        shown(size, measured(size, "--here"), measured(size, "--cluster"))


if __name__ == "__main__":
    if sys.argv[1:2] == ["--here"]:
        print(json.dumps(nightly(Path(sys.argv[2]), None)))
    elif sys.argv[1:2] == ["--cluster"]:
        print(json.dumps(over_cluster(Path(sys.argv[2]))))
    else:
        main([int(size) for size in sys.argv[1:]] or [10_000, 100_000])
