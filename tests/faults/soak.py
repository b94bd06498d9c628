"""Many simulated nights: the store grows no faster than its data, nights take no longer, memory stays.

``python -m tests.faults.soak NIGHTS [SEED [LOG]]``. A marketplace shows sixty listings; each night three go and three
come. All nights run in one process, so that what a night leaves in memory would add up. The last quarter of the nights
is held against the second: the first ones fill caches. The log gets a line of JSON a night.
"""

import csv
import json
import random
import resource
import sys
import time
from datetime import date, timedelta
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory

from tests.faults.common import DEMO, NIGHTS, tell
from triage import batch, catalogue
from triage.keeping.verify import verify
from triage.store import open_store

ALIVE, TURNOVER = 60, 3


class Market:
    """Listings of an invented marketplace, made from the demo's, each with an id, a seller and a number of its own."""

    def __init__(self, seed: int) -> None:
        self.chance = random.Random(seed)
        with (DEMO / NIGHTS[0] / "harbour_auction.csv").open(encoding="utf-8", newline="") as stream:
            self.heading, *rows = csv.reader(stream)
        self.rows = [row for row in rows if len(row) == len(self.heading)]
        self.made = 0
        self.alive = [self.one() for _ in range(ALIVE)]

    def one(self) -> list[str]:
        """Return a listing nobody has seen."""
        self.made += 1
        row = list(self.chance.choice(self.rows))
        new = {"Item": f"H{100000 + self.made}", "Seller": f"seller_{self.made}", "Title": f"{row[1]} no {self.made}"}
        for name, value in new.items():
            row[self.heading.index(name)] = value
        return row

    def next_night(self, path: Path) -> None:
        """Write the export of a night."""
        for _ in range(TURNOVER):
            self.alive.pop(self.chance.randrange(len(self.alive)))
            self.alive.append(self.one())
        path.parent.mkdir(parents=True)
        with path.open("w", encoding="utf-8", newline="") as stream:
            csv.writer(stream).writerows([self.heading, *self.alive])


def memory() -> float:
    """Return the resident memory of this process now, MB."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 1e6


def main(nights: int, seed: int, log: Path | None = None) -> int:
    """Run that many nights; return how many of the bounds were broken."""
    market, known = Market(seed), catalogue.load()
    seconds: list[float] = []
    sizes: list[int] = []
    held: list[float] = []
    bytes_read = [0]
    with TemporaryDirectory() as name:
        place = Path(name)
        store = place / "t.duckdb"
        for number in range(nights):
            day = date(2026, 1, 1) + timedelta(days=number)
            export = place / "feeds" / day.isoformat() / "harbour_auction.csv"
            market.next_night(export)
            start = time.process_time()
            with open_store(store, keep=3) as connection:
                batch.nightly(connection, known, [export.parent.parent], day, place / "reports")
            seconds.append(time.process_time() - start)
            sizes.append(store.stat().st_size)
            held.append(memory())
            bytes_read.append(bytes_read[-1] + export.stat().st_size)
            if log is not None:
                told = {"night": number + 1, "seconds": seconds[-1], "store": sizes[-1], "memory_mb": held[-1]}
                with log.open("a", encoding="utf-8") as stream:
                    stream.write(json.dumps({"seed": seed, **told, "exports": bytes_read[-1]}) + "\n")
        with open_store(store) as connection:
            verify(connection, "soak")
    quarter = nights // 4
    early, late = slice(quarter, 2 * quarter), slice(nights - quarter, nights)
    growth = (median(sizes[late]) - median(sizes[early])) / (sizes[quarter - 1] or 1)
    data = (bytes_read[nights - quarter // 2] - bytes_read[quarter + quarter // 2]) / bytes_read[quarter]
    figures = {
        "store_growth_to_data_growth": round(growth / data, 2),
        "night_seconds_late_to_early": round(median(seconds[late]) / median(seconds[early]), 3),
        "memory_mb_late_less_early": round(median(held[late]) - median(held[early]), 1),
    }
    bounds = (figures["store_growth_to_data_growth"] <= 1, figures["night_seconds_late_to_early"] <= 1.2,
              figures["memory_mb_late_less_early"] <= 0.05 * median(held[early]))  # fmt: skip
    tell("soak", seed, nights=nights, **figures, seconds_early=round(median(seconds[early]), 2),
         seconds_late=round(median(seconds[late]), 2), store_mb=round(sizes[-1] / 1e6, 1),
         exports_mb=round(bytes_read[-1] / 1e6, 1), memory_mb=round(held[-1]), bounds_held=bounds)  # fmt: skip
    return bounds.count(False)


if __name__ == "__main__":
    sys.exit(bool(main(int(sys.argv[1]), *map(int, sys.argv[2:3] or ["1"]), *map(Path, sys.argv[3:4]))))
