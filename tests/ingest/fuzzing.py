"""Mutated exports of every format, from a seed: no traceback, no hang, no row unaccounted for.

A few hundred run as tests. By hand, for many: ``python tests/ingest/fuzzing.py FORMAT COUNT [SEED]``, or ``all`` for
every format; a failing input is printed with its number, and ``mutated(FORMAT, SEED, number)`` makes it again.
Parsers the night runs apart are run here in one process for many files; ``--apart`` runs them as the night does.
"""

import gzip
import io
import json
import random
import re
import sys
import time
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from unittest.mock import patch

import polars as pl
from fuzz_loop import Loop
from polluted import clean, write
from workbooks import archive, ods, sheet, xlsx

from triage.catalogue.feeds import FeedCatalogue, load_feeds
from triage.ingest.apart import BOUNDS
from triage.ingest.readers import PLAIN, packed
from triage.ingest.reading import open_export
from triage.ingest.rows import FileError

HERE = Path(__file__).parent
READERS = (*PLAIN, packed)
SECONDS = 5.0
TOKENS = [
    b'"', b"'", b",", b";", b"\t", b"|", b"\n", b"\r", b"\r\n", b"\0", b"\\", b"{", b"}", b"[", b"]", b":", b"<", b">",
    b"&", b"</", b"<![CDATA[", b"]]>", b"<!--", b"-->", b"\xef\xbb\xbf", b"\xff\xfe", b"\xff", b"\xc3", b"\x1a",
    b"null", b"1e999", b"-", b"\\ud800", b"\\u0000", b"&nbsp;", b"&#0;", b"<script>", b"sep=;", b"title", b"price",
    b"  ", b"\xe2\x80\xa8", b" itemscope", b' itemprop="x"', b'itemref="i1"', b"@id",
    b'<c r="XFD9"/>', b"\xff\xff\xff\x7f",
]  # fmt: skip
# A Python error a program run apart ended with: it lives, but a person is told nothing of use.
_PYTHON_ERROR = re.compile(r"^[\w.]+(Error|Exception|Interrupt)\b")


@cache
def seeds() -> dict[str, tuple[str, bytes]]:
    """Return a file name and a sound file of twelve rows (the .xls: two) for every format."""
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
    things = "".join(
        f'<div itemscope itemtype="https://schema.org/Product" itemref="i{i}"><h1 itemprop="name">{row[1]}</h1>'
        '<p itemprop="offers" itemscope itemtype="https://schema.org/Offer"><b itemprop="price" '
        f'content="{row[3]}">x</b></p></div><i id="i{i}" itemprop="sku">{row[0]}</i>'
        for i, row in enumerate(rows[1:])
    )
    table = io.BytesIO()
    # Unpacked, so that what is changed reaches the decoders of the columns.
    pl.DataFrame(objects).write_parquet(table, compression="uncompressed", row_group_size=5)
    text = write(rows).text()
    page = f'<!doctype html><html><script type="application/ld+json">{json.dumps(products)}</script></html>'
    return {
        "csv": ("a.csv", text.encode()),
        "jsonl": ("a.jsonl", lines.encode()),
        "json": ("a.json", json.dumps({"items": objects}, ensure_ascii=False).encode()),
        "syndication": ("a.rss", f'<?xml version="1.0"?><rss><channel>{items}</channel></rss>'.encode()),
        "page": ("a.html", page.encode()),
        "microdata": ("a.html", f"<!doctype html><html><body>{things}</body></html>".encode()),
        "xlsx": ("a.xlsx", xlsx({"Listings": sheet([list(row) for row in rows])})),
        "xls": ("a.xls", (HERE / "export.xls").read_bytes()),
        "ods": ("a.ods", ods(rows)),
        "parquet": ("a.parquet", table.getvalue()),
        "gz": ("a.csv.gz", gzip.compress(text.encode(), mtime=0)),
        "zip": ("a.zip", archive({"README.md": "kept", "a.csv": text})),
    }


def mutated(format_: str, seed: int, number: int) -> bytes:
    """Return one mutated file: changed as it is, or inside and packed again."""
    chance = random.Random(f"{format_} {seed} {number}")
    content = seeds()[format_][1]
    # A flipped bit in an archive mostly ends at its checksum; what is inside must be reached too.
    if chance.random() < 0.3:
        return _changed(content, chance)
    if content.startswith(b"PK"):
        with zipfile.ZipFile(io.BytesIO(content)) as sound:
            parts = {name: sound.read(name) for name in sound.namelist()}
        at = chance.choice([name for name in parts for _ in range(1 + ("sheet1" in name or name == "content.xml") * 3)])
        return archive(parts | {at: _changed(parts[at], chance)})
    if content.startswith(b"\x1f\x8b"):
        return gzip.compress(_changed(gzip.decompress(content), chance), mtime=0)
    return _changed(content, chance)


def _changed(content: bytes, chance: random.Random) -> bytes:
    """Return bytes after one to six flips, insertions, deletions, copies and cuts."""
    data = bytearray(content)
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
    shown: list[str] = []
    skipped = 0
    try:
        for piece in open_export(path, feeds, READERS).pieces():
            numbers += [*piece.rows["row_no"], *(one.row_no for one in piece.broken)]
            shown += [*piece.rows["cells"], *(one.value for one in piece.broken)]
            skipped += sum(piece.skipped.values())
            if any(not isinstance(json.loads(cells), dict) for cells in piece.rows["cells"]):
                return "cells that are no object"
    except FileError as error:
        # Faults inside a reader are made rejects on purpose; here they count. A parser run apart may die.
        if error.code == "fuzz-fault" or (error.code == "reader-failed" and _PYTHON_ERROR.match(error.found)):
            return f"fault in a reader: {error.found}"
    except Exception as error:
        return f"traceback: {type(error).__name__}: {error}"
    if time.monotonic() - start > SECONDS:
        return f"took {time.monotonic() - start:.1f} s"
    if sorted(numbers) != list(range(1, len(numbers) + 1)):
        return f"row numbers {sorted(numbers)[:50]}"
    return _lines_lost(path, content, len(numbers)) or _rows_lost(path, content, shown, skipped)


def _lines_lost(path: Path, content: bytes, rows: int) -> str | None:
    """Return how many lines of JSON Lines are neither row nor reject nor blank."""
    if path.suffix != ".jsonl" or not rows or content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return None
    lines = [line.strip(b"\xef\xbb\xbf \t\r\n\x1a\0") for line in content.split(b"\n")]
    filled = sum(bool(line) for line in lines)
    return None if filled == rows else f"{filled} lines, {rows} rows and rejects"


def _rows_lost(path: Path, content: bytes, shown: list[str], skipped: int) -> str | None:
    """Return the listing ids of a table that are in no row, no reject and can't be in a line skipped."""
    if path.suffix != ".csv" or not shown or any(len(text) >= 500 for text in shown):
        return None
    every = "\n".join(shown)
    lost = [row[0] for row in clean()[1:13] if f"\n{row[0]},".encode() in content and row[0] not in every]
    return f"ids lost: {lost}, {skipped} lines skipped" if len(lost) > skipped else None


@contextmanager
def one_process_for_many() -> Iterator[dict[str, Loop]]:
    """Let readers ask one process a program instead of one a file."""
    loops = {name: Loop(name, bounds.memory_bytes, bounds.least_seconds) for name, bounds in BOUNDS.items()}

    def lines(child: str, path: Path) -> Iterator[str]:
        answer = loops[child].ask(path)
        yield from answer["lines"].splitlines(keepends=True)
        if answer["code"]:
            raise FileError(answer["code"], answer["said"], "a sound file")

    readers = [f"triage.ingest.readers.{name}.lines_apart" for name in BOUNDS]
    with patch(readers[0], lines), patch(readers[1], lines), patch(readers[2], lines):
        try:
            yield loops
        finally:
            for loop in loops.values():
                loop.close()


def main(format_: str, count: int, seed: int) -> int:
    """Read that many mutated files; return how many showed a fault."""
    feeds = load_feeds(HERE.parents[1] / "rules" / "feeds", [])
    faults = 0
    slowest = 0.0
    start = time.monotonic()
    with TemporaryDirectory() as folder:
        path = Path(folder, seeds()[format_][0])
        for number in range(count):
            began = time.monotonic()
            said = fault(path, feeds, mutated(format_, seed, number))
            slowest = max(slowest, time.monotonic() - began)
            if said:
                faults += 1
                print(f"{format_} {seed} {number}: {said[:300]}", flush=True)
    seconds = time.monotonic() - start
    print(f"{format_}: {count} inputs, {faults} faults, {seconds:.0f} s, the slowest {slowest:.2f} s", flush=True)
    return faults


if __name__ == "__main__":
    given = [text for text in sys.argv[1:] if text != "--apart"]
    chosen = list(seeds()) if given[0] == "all" else given[:1]
    how_many, which = int(given[1]), int(given[2]) if len(given) > 2 else 1
    if "--apart" in sys.argv:
        sys.exit(any([main(one, how_many, which) for one in chosen]))
    with one_process_for_many() as running:
        failed = any([main(one, how_many, which) for one in chosen])
        counts = ", ".join(f"{name} {loop.deaths} and {loop.late}" for name, loop in running.items())
        print(f"parsers apart that died, and that were ended for their time: {counts}")
    sys.exit(failed)
