"""Time the usual night: 20,000 listings on offer, 1,500 of them new or changed, on a store that holds a million.

    python -m benchmarks.usual FOLDER [LISTINGS]

Three nights, each a process of its own with one buyer. The first reads LISTINGS from exports made for it
(``benchmarks/exports.py``, 5,000 releases). In the second the same two marketplaces show 20,000 of them and no others,
which are gone then. The third, the usual one, shows 19,000 of those, 500 of them at other prices, and 1,000 that were
never seen. Printed are seconds, processor seconds and peak memory of each, and of the third every stage. A folder
with the first two nights done is used again.
"""

import json
import os
import shutil
import subprocess
import sys
import time
from datetime import timedelta
from pathlib import Path
from typing import Any

import polars as pl

from benchmarks.exports import write_world
from benchmarks.night import AS_INSTALLED, AS_OF, RELEASES, ROOT, peak_gb, timed_stages

ON_OFFER, NEW, CHANGED = 20_000, 1_000, 500
# Of each export: what parts its cells, its encoding, its column of prices.
EXPORTS = {"harbour_auction.csv": (",", "utf-8", "Price"), "attic_board.csv": (";", "cp1252", "Preis")}


def write_nights(folder: Path, listings: int) -> None:
    """Write the exports of three nights, ``folder/1`` to ``folder/3``, and ``folder/constructions.csv``."""
    write_world(folder, listings + NEW, RELEASES)
    for name, (separator, encoding, price) in EXPORTS.items():
        text = (folder / "exports" / name).read_bytes().decode(encoding)
        rows = pl.read_csv(text.encode(), separator=separator, infer_schema=False)
        new, on_offer = NEW // 2, ON_OFFER // 2
        seen = rows.head(rows.height - new)
        shown = seen.head(on_offer)
        dearer = pl.int_range(pl.len()) < CHANGED // 2
        changed = shown.head(on_offer - new).with_columns(
            pl.when(dearer).then(pl.lit("49")).otherwise(price).alias(price)
        )
        for night, some in enumerate((seen, shown, pl.concat([changed, rows.tail(new)])), start=1):
            place = folder / str(night)
            place.mkdir(exist_ok=True)
            (place / name).write_bytes(some.write_csv(separator=separator).encode(encoding, "replace"))
    shutil.rmtree(folder / "exports")


def one_night(folder: Path, night: int) -> list[dict[str, Any]]:
    """Run a night and return what each stage took."""
    from triage import batch, catalogue
    from triage.store import open_store

    begun = time.perf_counter()
    known = catalogue.load(ROOT / "rules", [folder / "constructions.csv"], [ROOT / "rules/buyers/daily.toml"])
    steps = timed_stages(batch)
    with open_store(folder / "night.duckdb") as store:
        steps.append({"stage": "opened", "seconds": time.perf_counter() - begun, "cpu": time.process_time(), "peak": 0})
        day = AS_OF + timedelta(days=night - 1)
        batch.nightly(store, known, [folder / str(night)], day, folder / "reports")
    total = time.perf_counter() - begun
    steps.append({"stage": "night", "seconds": total, "cpu": time.process_time(), "peak": peak_gb()})
    return steps


def main(folder: Path, listings: int) -> None:
    """Run what is left of the three nights and print what each took."""
    folder.mkdir(parents=True, exist_ok=True)
    if not (folder / "3").exists():
        write_nights(folder, listings)
    kept = folder / "night.duckdb.second"
    for night in (1, 2, 3):
        if night < 3 and kept.exists():
            continue
        if night == 3:
            shutil.copy(kept, folder / "night.duckdb")
        again = [sys.executable, "-m", "benchmarks.usual", "--one", str(folder), str(night)]
        done = subprocess.run(again, cwd=ROOT, capture_output=True, text=True, env=os.environ | AS_INSTALLED)
        if done.returncode:
            sys.exit(done.stderr)
        steps = json.loads(done.stdout.splitlines()[-1])
        for step in steps if night == 3 else steps[-1:]:
            took = f"{step['seconds']:8.2f} s {step['cpu']:8.2f} cpu {step['peak']:6.2f} GB"
            print(f"night {night} {step['stage']:18} {took}", flush=True)
        if night == 2:
            shutil.copy(folder / "night.duckdb", kept)


if __name__ == "__main__":
    if sys.argv[1] == "--one":
        print(json.dumps(one_night(Path(sys.argv[2]), int(sys.argv[3]))))
    else:
        main(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 1_000_000)
