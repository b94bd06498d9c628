"""Bombs and hostile files of every format: the night lives, stays under 2 GiB, and each file ends within 30 seconds.

``python -m tests.faults.bombs [NAME]``. Each file is read beside a sound one by a process of its own, whose memory and
that of its children is measured; those of ``tests/ingest/test_hostile_files.py`` are among them.
"""

import gzip
import io
import json
import resource
import subprocess
import sys
import time
import zipfile
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

import polars as pl

from tests.faults.common import ROOT, tell

sys.path.insert(0, str(ROOT / "tests" / "ingest"))

from test_hostile_files import GOOD, HOSTILE, zeros
from workbooks import archive, sheet, xlsx

SECONDS, BYTES = 30.0, 2 << 30
MANY = 200_000
_ODS = (
    '<office:document-content xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0" '
    'xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" '
    'xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0"><office:body><office:spreadsheet>'
    '<table:table table:name="a">{}</table:table></office:spreadsheet></office:body></office:document-content>'
)
_CELL = '<table:table-cell office:value-type="string" {}><text:p>x</text:p></table:table-cell>'


def ods_of(rows: str) -> bytes:
    """Return an OpenDocument sheet of given rows."""
    parts = {"mimetype": "application/vnd.oasis.opendocument.spreadsheet", "content.xml": _ODS.format(rows)}
    return archive(parts)


def zip_of(names: list[str], content: bytes) -> bytes:
    """Return an archive with the same content under many names."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for name in names:
            packed.writestr(name, content)
    return out.getvalue()


def parquet_of(frame: pl.DataFrame) -> bytes:
    """Return a frame as Parquet."""
    out = io.BytesIO()
    frame.write_parquet(out)
    return out.getvalue()


def nested(depth: int) -> pl.Series:
    """Return a column of lists in lists."""
    value: object = "x"
    for _ in range(depth):
        value = [value]
    return pl.Series("title", [value])


def page(content: str) -> str:
    """Return a saved page."""
    return f"<!doctype html><html><head></head><body>{content}</body></html>"


MORE: dict[str, tuple[str, Callable[[], bytes | str]]] = {
    "workbook packed from 1 GB": ("a.xlsx", lambda: archive({"xl/worksheets/sheet1.xml": zeros(1024).decode()})),
    "workbook of 16,384 columns": ("a.xlsx", lambda: xlsx({"a": sheet([["t"] * 16_384] * 40)})),
    "workbook of 2,000 sheets": ("a.xlsx", lambda: xlsx({f"s{n}": sheet([["title", "price"]]) for n in range(2_000)})),
    "sheet that repeats a column a thousand million times": (
        "a.ods", lambda: ods_of(f"<table:table-row>{_CELL.format('table:number-columns-repeated=' + chr(34) + '1000000000' + chr(34))}</table:table-row>")),
    "sheet that repeats a row a thousand million times": (
        "a.ods", lambda: ods_of(f'<table:table-row table:number-rows-repeated="1000000000">{_CELL.format("")}</table:table-row>')),
    "old workbook cut off": ("a.xls", lambda: (ROOT / "tests" / "ingest" / "export.xls").read_bytes()[:3_000]),
    "old workbook of flipped bytes": (
        "a.xls", lambda: bytes(b ^ (n % 97 == 0) for n, b in enumerate((ROOT / "tests" / "ingest" / "export.xls").read_bytes()))),
    "Parquet of 50 million rows": (
        "a.parquet", lambda: parquet_of(pl.DataFrame({"title": ["a"]}).select(pl.col("title").repeat_by(50_000_000).explode()))),
    "Parquet cut off": ("a.parquet", lambda: parquet_of(pl.DataFrame({"title": ["a"] * 1000}))[:-40]),
    "Parquet of lists in lists": ("a.parquet", lambda: parquet_of(pl.DataFrame([nested(60)]))),
    "Parquet of 20,000 columns": ("a.parquet", lambda: parquet_of(pl.DataFrame({f"c{n}": ["x"] for n in range(20_000)}))),
    "archive of 100,000 names": ("a.zip", lambda: zip_of([f"{n}.csv" for n in range(100_000)], b"")),
    "archive whose two parts have one name": ("a.zip", lambda: zip_of(["a.csv", "a.csv"], GOOD.encode())),
    "JSON lines of 100 MB each": ("a.jsonl", lambda: ('{"title":"' + "x" * (100 << 20) + '"}\n') * 2),
    "JSON of a million keys": ("a.json", lambda: json.dumps([{f"k{n}": n for n in range(1_000_000)}])),
    "JSON of one key a hundred thousand times": ("a.json", lambda: "[{" + ",".join(['"title":"a"'] * 100_000) + "}]"),
    "JSON of lone surrogates": ("a.json", lambda: '[{"title":"\\ud800","price":"\\udfff"}]'),
    "syndication of 300,000 items": ("a.rss", lambda: "<rss><channel>" + "<item><title>a</title></item>" * 300_000 + "</channel></rss>"),
    "syndication of one text of 50 MB": ("a.rss", lambda: f"<rss><channel><item><title>{'x' * (50 << 20)}</title></item></channel></rss>"),
    "page of nested blocks": ("a.html", lambda: page("<div>" * MANY)),
    "page of 200,000 attributes": ("a.html", lambda: page("<p " + " ".join(f'a{n}="1"' for n in range(MANY)) + ">")),
    "page with 20 MB of linked data": (
        "a.html", lambda: page('<script type="application/ld+json">' + "[" * 50 + '"x",' * 5_000_000 + "</script>")),
    "page of 50,000 broken blocks": ("a.html", lambda: page('<script type="application/ld+json">{"@type":</script>' * 50_000)),
    "table of 100,000 columns": ("a.csv", lambda: (",".join(f"c{n}" for n in range(100_000)) + "\n") * 3),
    "table packed from 3 GB": ("a.csv.gz", lambda: gzip.compress(zeros(64)) * 48),
    "table of carriage returns": ("a.csv", lambda: "title,price\r" + "\r" * 3_000_000),
    "half a UTF-16 table": ("a.csv", lambda: GOOD.encode("utf-16")[:-1]),
}  # fmt: skip


def everything() -> dict[str, tuple[str, Callable[[], bytes | str]]]:
    """Return every hostile file: its name and what makes it."""
    return {name: (file, make) for name, (file, make, _) in HOSTILE.items()} | MORE


def make_one(name: str, folder: Path) -> None:
    """Write a hostile file into a folder."""
    file, make = everything()[name]
    content = make()
    (folder / file).write_bytes(content.encode() if isinstance(content, str) else content)


def read_one(folder: Path) -> None:
    """Read a folder in this process and say what became of the files, and of memory."""
    from datetime import date

    from triage import catalogue, ingest
    from triage.store import open_store

    feeds = catalogue.load().feeds
    with open_store(folder.with_name("t.duckdb")) as store:
        notes = ingest.run(store, feeds, [folder], date(2026, 11, 25))
    peak = max(resource.getrusage(who).ru_maxrss for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)) * 1024
    print(
        json.dumps(
            {"notes": {note.path: [note.outcome, note.rows_read, *note.notes[:1]] for note in notes}, "peak": peak}
        )
    )


def faults_of(name: str, place: Path) -> tuple[list[str], float, int]:
    """Return what was wrong with reading a hostile file, the seconds and the bytes it took."""
    (place / "feeds").mkdir()
    (place / "feeds" / "good.csv").write_text(GOOD)
    # Made by a process of its own: the most a process ever held is handed down to those it starts.
    command = [sys.executable, "-m", "tests.faults.bombs"]
    subprocess.run([*command, "--make", name, place / "feeds"], cwd=ROOT, check=True, timeout=300)
    start = time.monotonic()
    done = subprocess.run([*command, "--read", place / "feeds"], cwd=ROOT, capture_output=True, text=True, timeout=300)
    took = time.monotonic() - start
    if done.returncode:
        return [f"the process ended with {done.returncode}: {done.stderr[-300:]}"], took, 0
    told = json.loads(done.stdout.splitlines()[-1])
    faults = []
    if told["notes"].get("good.csv", ["none"])[:2] != ["new", 3]:
        faults.append("the sound file beside it was not read")
    if took > SECONDS:
        faults.append(f"took {took:.0f} s")
    if told["peak"] > BYTES:
        faults.append(f"took {told['peak'] >> 20} MiB")
    return faults, took, told["peak"]


def main(only: str | None) -> int:
    """Read them all; return how many faults were found."""
    total, slowest, largest = 0, ("", 0.0), ("", 0)
    names = [name for name in everything() if only in (None, name)]
    for name in names:
        with TemporaryDirectory() as folder:
            faults, took, peak = faults_of(name, Path(folder))
        slowest, largest = (
            max(slowest, (name, took), key=lambda it: it[1]),
            max(largest, (name, peak), key=lambda it: it[1]),
        )
        total += bool(faults)
        for fault in faults:
            print(f"{name}: {fault}", flush=True)
    tell("bombs", 0, files=len(names), faults=total, slowest=f"{slowest[0]}: {slowest[1]:.1f} s",
         largest=f"{largest[0]}: {largest[1] >> 20} MiB")  # fmt: skip
    return total


if __name__ == "__main__":
    if sys.argv[1:2] == ["--read"]:
        read_one(Path(sys.argv[2]))
    elif sys.argv[1:2] == ["--make"]:
        make_one(sys.argv[2], Path(sys.argv[3]))
    else:
        sys.exit(bool(main(sys.argv[1] if len(sys.argv) > 1 else None)))
