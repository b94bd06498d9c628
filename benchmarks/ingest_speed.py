"""How long a clean CSV takes into raw_row, beside DuckDB's copy of the same file into a table of texts.

Run by hand: ``python benchmarks/ingest_speed.py [rows]`` (default 1,000,000 rows, about 500 MB). Both write a
database file in a temporary folder, each in a process of its own; prints seconds, their ratio and peak memory.
"""

import csv
import random
import resource
import subprocess
import sys
import time
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory

HEADINGS = [
    "listing id", "title", "description", "price", "currency", "size", "condition", "seller", "listed on", "url",
]  # fmt: skip
WORDS = """
worn twice then boxed the sole is whole and firm no crumbling seen laces replaced by second owner kept in dry wardrobe
smoke free home heel tab two small cracks left right tongue label reads size foam feels hard not sticky yellowed edge
glue line open at toe resoled once insole missing bought new at shop box damaged photos show all
"""


def write(path: Path, rows: int) -> None:
    """Write a clean export of about 500 bytes a row, every text different."""
    words_known = WORDS.split()
    chance = random.Random(20261125)
    with path.open("w", newline="", encoding="utf-8") as stream:
        out = csv.writer(stream)
        out.writerow(HEADINGS)
        for i in range(rows):
            words = chance.choices(words_known, k=chance.randrange(5, 128))
            day = f"2026-{1 + i % 12:02d}-{1 + i % 28:02d}"
            title = f"Trail shoe {' '.join(words[:3])}"
            price = f"{chance.randrange(20, 200)}.{chance.randrange(100):02d}"
            row = [f"{i:07d}", title, " ".join(words) + ', 6" wide', price, "EUR", str(36 + i % 13), "worn"]
            out.writerow([*row, f"s{chance.randrange(5000)}", day, f"https://board.example/item/{i}"])


def copy(path: Path, store: Path) -> None:
    """Copy a file into a table of texts, as DuckDB does it by itself."""
    import duckdb

    connection = duckdb.connect(store)
    connection.execute("SET enable_progress_bar = false")
    connection.execute("CREATE TABLE copied AS FROM read_csv(?, all_varchar = true)", [str(path)])
    connection.close()


def ingest(path: Path, store: Path) -> None:
    """Read a file into raw_row."""
    from triage.catalogue.feeds import load_feeds
    from triage.ingest import run
    from triage.store import open_store

    feeds = load_feeds(Path(__file__).parents[1] / "rules" / "feeds", [])
    with open_store(store) as connection:
        start = time.perf_counter()
        note = run(connection, feeds, [path], date(2026, 11, 25))[0]
    seconds = time.perf_counter() - start
    print(f"  {note.rows_read} rows read, {note.rows_rejected} rejected, {seconds:.2f} s without start-up")


def main(rows: int) -> None:
    with TemporaryDirectory() as folder:
        path = Path(folder, "export.csv")
        write(path, rows)
        print(f"{rows} rows, {path.stat().st_size / 1e6:.0f} MB")
        took = {}
        for name in ("copy", "ingest"):
            command = [sys.executable, __file__, name, str(path), str(Path(folder, f"{name}.duckdb"))]
            start = time.perf_counter()
            subprocess.run(command, check=True)
            took[name] = time.perf_counter() - start
        ratio = took["ingest"] / took["copy"]
        print(f"duckdb copy {took['copy']:.2f} s, ingest {took['ingest']:.2f} s: {ratio:.2f} times as long")


if __name__ == "__main__":
    if len(sys.argv) == 4:
        {"copy": copy, "ingest": ingest}[sys.argv[1]](Path(sys.argv[2]), Path(sys.argv[3]))
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(f"  {sys.argv[1]}: peak {peak:.0f} MB")
    else:
        main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
