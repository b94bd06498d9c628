"""How long a clean CSV takes into raw_row, beside DuckDB's copy of the same file into a table of texts.

Run by hand: ``python benchmarks/ingest_speed.py [rows]`` (default 1,000,000 rows, about 500 MB). Both write a
database file in a temporary folder, each in a process of its own; prints seconds, their ratio and peak memory.
"""

import csv
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
TEXT = 'Worn twice, then boxed. The sole is whole and firm, no crumbling; laces from the "second" owner. '


def write(path: Path, rows: int) -> None:
    """Write a clean export of about 500 bytes a row."""
    with path.open("w", newline="", encoding="utf-8") as stream:
        out = csv.writer(stream)
        out.writerow(HEADINGS)
        for i in range(rows):
            day = f"2026-{1 + i % 12:02d}-{1 + i % 28:02d}"
            body = TEXT + "Kept in a dry wardrobe. " * (i % 25)
            price = f"{20 + i % 180}.{i % 100:02d}"
            url = f"https://board.example/item/{i}"
            out.writerow(
                [f"{i:07d}", f"Trail shoe {i % 977}", body, price, "EUR", "42", "worn", f"s{i % 5000}", day, url]
            )


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
    from triage.store import connect

    feeds = load_feeds(Path(__file__).parents[1] / "rules" / "feeds", [])
    connection = connect(store)
    start = time.perf_counter()
    note = run(connection, feeds, [path], date(2026, 11, 25))[0]
    connection.close()
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
        print(
            f"duckdb copy {took['copy']:.2f} s, ingest {took['ingest']:.2f} s, {took['ingest'] / took['copy']:.2f} times"
        )


if __name__ == "__main__":
    if len(sys.argv) == 4:
        {"copy": copy, "ingest": ingest}[sys.argv[1]](Path(sys.argv[2]), Path(sys.argv[3]))
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(f"  {sys.argv[1]}: peak {peak:.0f} MB")
    else:
        main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
