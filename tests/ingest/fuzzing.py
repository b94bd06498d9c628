"""Mutated exports of every format, from a seed: no traceback, no hang, no row unaccounted for.

A few hundred run as tests. By hand, for many: ``python tests/ingest/fuzzing.py FORMAT COUNT [SEED]``; a failing
input is printed with its number, and ``mutated(FORMAT, SEED, number)`` makes it again.
"""

import io
import json
import random
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

import polars as pl
from polluted import clean, write
from workbooks import ods, sheet, xlsx

from triage.catalogue.feeds import FeedCatalogue, load_feeds
from triage.ingest.readers import PLAIN, packed
from triage.ingest.reading import open_export
from triage.ingest.rows import FileError

READERS = (*PLAIN, packed)
SECONDS = 5.0
TOKENS = [
    b'"', b"'", b",", b";", b"\t", b"|", b"\n", b"\r", b"\r\n", b"\0", b"\\", b"{", b"}", b"[", b"]", b":", b"<", b">",
    b"&", b"</", b"<![CDATA[", b"]]>", b"<!--", b"-->", b"\xef\xbb\xbf", b"\xff\xfe", b"\xff", b"\xc3", b"\x1a",
    b"null", b"1e999", b"-", b"\\ud800", b"\\u0000", b"&nbsp;", b"&#0;", b"<script>", b"sep=;", b"title", b"price",
    b"  ", b"\xe2\x80\xa8",
]  # fmt: skip


def seeds() -> dict[str, tuple[str, bytes]]:
    """Return a file name and a sound file for every format."""
    rows = clean()[:13]
    objects = [dict(zip(rows[0], row, strict=True)) for row in rows[1:]]
    lines = "".join(json.dumps(one, ensure_ascii=False) + "\n" for one in objects)
    products = [
        {"@type": "Product", "sku": row[0], "name": row[1], "offers": {"@type": "Offer", "price": row[3]}}
        for row in rows[1:]
    ]
    items = "".join(
        f"<item><guid>{row[0]}</guid><title><![CDATA[{row[1]}]]></title><link>{row[9]}</link></item>"
        for row in rows[1:]
    )
    table = io.BytesIO()
    pl.DataFrame(objects).write_parquet(table)
    page = f'<!doctype html><html><script type="application/ld+json">{json.dumps(products)}</script></html>'
    return {
        "csv": ("a.csv", write(rows).text().encode()),
        "jsonl": ("a.jsonl", lines.encode()),
        "json": ("a.json", json.dumps({"items": objects}, ensure_ascii=False).encode()),
        "syndication": ("a.rss", f'<?xml version="1.0"?><rss><channel>{items}</channel></rss>'.encode()),
        "page": ("a.html", page.encode()),
        "sheet": ("a.xlsx", xlsx({"Listings": sheet([list(row) for row in rows])})),
        "ods": ("a.ods", ods(rows)),
        "parquet": ("a.parquet", table.getvalue()),
    }


def mutated(format_: str, seed: int, number: int) -> bytes:
    """Return one mutated file: one to six flips, insertions, deletions, copies and cuts."""
    chance = random.Random(f"{format_} {seed} {number}")
    data = bytearray(seeds()[format_][1])
    for _ in range(chance.randrange(1, 7)):
        at = chance.randrange(len(data) + 1)
        size = min(chance.choice((1, 1, 2, 8, 60, 400)), len(data) - at)
        kind = chance.randrange(7)
        if kind == 0 and at < len(data):
            data[at] ^= 1 << chance.randrange(8)
        elif kind in (1, 2):
            data[at:at] = chance.choice(TOKENS)
        elif kind == 3:
            del data[at : at + size]
        elif kind == 4:
            to = chance.randrange(len(data) + 1)
            data[to:to] = data[at : at + size]
        elif kind == 5:
            data[at : at + size] = bytes(chance.randrange(256) for _ in range(size))
        elif chance.random() < 0.2:
            del data[at:]
    return bytes(data)


def fault(path: Path, feeds: FeedCatalogue, content: bytes) -> str | None:
    """Return what went wrong in reading a file; None when it was read or refused as it should be."""
    path.write_bytes(content)
    start = time.monotonic()
    numbers: list[int] = []
    try:
        for piece in open_export(path, feeds, READERS).pieces():
            numbers += [*piece.rows["row_no"], *(one.row_no for one in piece.broken)]
            if any(not isinstance(json.loads(cells), dict) for cells in piece.rows["cells"]):
                return "cells that are no object"
    except FileError as error:
        # Faults inside a reader are made rejects on purpose; here they count.
        if error.code == "reader-failed" and path.suffix not in (".xlsx", ".ods", ".parquet", ".html"):
            return f"fault in a reader: {error.found}"
    except Exception as error:
        return f"traceback: {type(error).__name__}: {error}"
    if time.monotonic() - start > SECONDS:
        return f"took {time.monotonic() - start:.1f} s"
    if sorted(numbers) != list(range(1, len(numbers) + 1)):
        return f"row numbers {sorted(numbers)[:50]}"
    return _lines_lost(path, content, len(numbers))


def _lines_lost(path: Path, content: bytes, rows: int) -> str | None:
    """Return how many lines of JSON Lines are neither row nor reject nor blank; others can't be counted so."""
    if path.suffix != ".jsonl" or not rows or content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return None
    lines = [line.strip(b"\xef\xbb\xbf \t\r\n\x1a\0") for line in content.split(b"\n")]
    filled = sum(bool(line) for line in lines)
    return None if filled == rows else f"{filled} lines, {rows} rows and rejects"


def main(format_: str, count: int, seed: int) -> int:
    """Read that many mutated files; return how many showed a fault."""
    feeds = load_feeds(Path(__file__).parents[2] / "rules" / "feeds", [])
    faults = 0
    start = time.monotonic()
    with TemporaryDirectory() as folder:
        path = Path(folder, seeds()[format_][0])
        for number in range(count):
            said = fault(path, feeds, mutated(format_, seed, number))
            if said:
                faults += 1
                print(f"{format_} {seed} {number}: {said[:300]}", flush=True)
    print(f"{format_}: {count} inputs, {faults} faults, {time.monotonic() - start:.0f} s")
    return faults


if __name__ == "__main__":
    sys.exit(bool(main(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]) if len(sys.argv) > 3 else 1)))
