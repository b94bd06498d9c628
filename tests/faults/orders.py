"""The same exports in any order, twice, split or joined: identical tables and reports.

``python -m tests.faults.orders COUNT [SEED]``. *Order*: the files come in any order, a few at a time, some of them
again, and those of the later night perhaps before those of the earlier. Every table but ``run`` (one row for each night
that was asked for) and every byte of the report must be those of one night over all of them. *Split*: tables and JSON
lines are cut into pieces at random lines. Exports and their ids are other ones then, so what is compared is every
table of listings, and the report's tables.
"""

import random
import shutil
import sys
import time
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.faults.common import DEMO, NIGHTS, differ, reports, small_feeds, tables, tell
from triage import batch, catalogue, ingest, listing
from triage.keeping.opening import open_file
from triage.store import open_store

# What names an export, a row of it, or the night asked for.
OF_EXPORTS = {"run", "feed", "raw_row", "reject", "sighting"}
SEEN = """
SELECT sha256(string_agg(s::VARCHAR, chr(10) ORDER BY s::VARCHAR))
FROM (SELECT listing_id, seen_on, price_minor, currency, status, first FROM sighting) s
"""


def weighed(known: catalogue.Catalogue, place: Path, groups: list[list[Path]], feeds: Path) -> Path:
    """Read groups of files one after the other, each put into the folder of feeds first; then run the night."""
    place.mkdir(parents=True)
    with open_store(place / "t.duckdb") as store:
        for group in groups:
            for path in group:
                target = place / "feeds" / path.relative_to(feeds)
                target.parent.mkdir(parents=True, exist_ok=True)
                shutil.copy(path, target)
            ingest.run(store, known.feeds, [place / "feeds"], date.fromisoformat(NIGHTS[1]))
            listing.run(store, known.words, date.fromisoformat(NIGHTS[1]))
        batch.nightly(store, known, [place / "feeds"], date.fromisoformat(NIGHTS[1]), place / "reports")
    return place


def files(feeds: Path) -> list[Path]:
    """Return the exports of a folder."""
    return sorted(path for path in feeds.rglob("*") if path.is_file() and path.name != "README.md")


def in_groups(paths: list[Path], chance: random.Random) -> list[list[Path]]:
    """Return the files in an order and groups drawn at random, some of them twice."""
    drawn = [*paths, *chance.sample(paths, chance.randrange(len(paths)))]
    chance.shuffle(drawn)
    cuts = sorted(chance.sample(range(1, len(drawn)), min(3, len(drawn) - 1)))
    return [drawn[a:b] for a, b in zip([0, *cuts], [*cuts, len(drawn)], strict=True)]


def split(feeds: Path, to: Path, chance: random.Random) -> Path:
    """Write exports in two pieces, cut between two rows; a saved page stays whole."""
    seed = str(chance.random())
    for path in files(feeds):
        target = to / path.relative_to(feeds)
        target.parent.mkdir(parents=True, exist_ok=True)
        if path.suffix not in (".csv", ".jsonl"):
            shutil.copy(path, target)
            continue
        heading, rows = parts(path)
        # Exports with the same bytes (a stale one, saved again) are cut alike and stay the same.
        at = random.Random(seed + path.read_bytes().decode("utf-8", "replace")).randrange(1, len(rows))
        for number, piece in enumerate((rows[:at], rows[at:])):
            target.with_name(f"{target.stem}-{number}{target.suffix}").write_bytes(heading + b"".join(piece))
    return to


def parts(path: Path) -> tuple[bytes, list[bytes]]:
    """Return what stands before the first row, and the rows; a row goes on while a quote is open."""
    lines = path.read_bytes().splitlines(keepends=True)
    # What stands before the heading has no delimiters to speak of.
    start = next(n for n, line in enumerate(lines, 1) if max(map(line.count, (b",", b";", b"\t"))) > 8)
    start = start if path.suffix == ".csv" else 0
    rows = [b""]
    for line in lines[start:]:
        rows[-1] += line
        if path.suffix != ".csv" or rows[-1].count(b'"') % 2 == 0:
            rows.append(b"")
    return b"".join(lines[:start]), rows[:-1]


def seen(store: Path) -> str:
    """Return what the sightings are, without the exports they stand in."""
    connection = open_file(store)
    try:
        return str(connection.execute(SEEN).fetchall()[0][0])
    finally:
        connection.close()


def main(count: int, seed: int, feeds: Path | None = None) -> int:
    """Try that many orders, every third a split; return how many faults were found."""
    chance = random.Random(seed)
    known = catalogue.load()
    faults = splits = 0
    began = time.monotonic()
    with TemporaryDirectory() as name:
        root = Path(name)
        whole_feeds = feeds or DEMO
        whole = weighed(known, root / "whole", [files(whole_feeds)], whole_feeds)
        wanted = tables(whole / "t.duckdb") | reports(whole / "reports")
        for number in range(count):
            place = root / str(number)
            is_split = number % 3 == 2
            splits += is_split
            source = split(whole_feeds, root / f"split-{number}", chance) if is_split else whole_feeds
            weighed(known, place, in_groups(files(source), chance), source)
            held = tables(place / "t.duckdb") | reports(place / "reports")
            wrong = set(differ(held, wanted)) - {"run"}
            if is_split:
                wrong = {one for one in wrong if one not in OF_EXPORTS and not one.endswith(".html")}
                if seen(place / "t.duckdb") != seen(whole / "t.duckdb"):
                    wrong.add("sightings")
            if wrong:
                faults += 1
                print(f"seed {seed} number {number}{' split' * is_split}: {sorted(wrong)}", flush=True)
            shutil.rmtree(place)
    tell("orders", seed, orders=count - splits, splits=splits, faults=faults, seconds=round(time.monotonic() - began))
    return faults


def small(folder: Path) -> Path:
    """Return few exports, for a quick run."""
    return small_feeds(folder, rows=6)


if __name__ == "__main__":
    sys.exit(bool(main(int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 1)))
