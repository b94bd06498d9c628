"""Files made to harm: a clear reject, no traceback, the other files of the night read, memory and time bounded."""

import errno
import gzip
import os
import subprocess
import sys
import time
from contextlib import suppress
from dataclasses import replace
from datetime import date
from pathlib import Path

import polars as pl
import pytest
from workbooks import archive, sheet, xlsx

from triage.ingest import run
from triage.ingest.apart import BOUNDS, lines_apart
from triage.ingest.rows import FileError
from triage.store import connect, frame

RULES = Path(__file__).parents[2] / "rules" / "feeds"
NIGHT = date(2026, 11, 25)
GOOD = "listing id;title;price\n1;Trail shoe;10 EUR\n2;Court shoe;12 EUR\n3;Track shoe;9 EUR\n"
_ENTITIES = "".join(f'<!ENTITY l{i} "{f"&l{i - 1};" * 10}">' for i in range(1, 10))
_CORNERS = sheet([["title"]]).replace(
    "</sheetData>", '<row r="1048576"><c r="XFD1048576"><v>1</v></c></row></sheetData>'
)
_TEXTS = (
    '<sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" count="4000000000" '
    'uniqueCount="4000000000"><si><t>a</t></si></sst>'
)


def zeros(megabytes: int) -> bytes:
    return b"0" * (megabytes << 20)


def claiming(packed: bytes, size: int) -> bytes:
    """Return an archive whose directory says that its first part is that long."""
    at = packed.index(b"PK\x01\x02") + 24
    return packed[:at] + size.to_bytes(4, "little") + packed[at + 4 :]


def children_of(pid: int) -> list[int]:
    """Return the processes another one started, ended ones that nobody waited for included."""
    children: list[int] = []
    for thread in Path(f"/proc/{pid}/task").iterdir():
        # A thread may end between two looks.
        with suppress(FileNotFoundError):
            children += map(int, (thread / "children").read_text().split())
    return children


def is_running(pid: int) -> bool:
    """Tell whether a process is there and not only waiting to be collected."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except OSError:
        return False


HOSTILE = {
    "gzip bomb": ("a.csv.gz", lambda: gzip.compress(zeros(64)), "too-large"),
    "zip bomb": ("a.zip", lambda: archive({"a.csv": zeros(64).decode()}), "too-large"),
    "archive in an archive": ("a.csv.gz", lambda: gzip.compress(gzip.compress(GOOD.encode())), "no-reader"),
    "archive cut off": ("a.csv.gz", lambda: gzip.compress(os.urandom(4_000))[:2_000], "broken-archive"),
    "archive with a place outside": ("a.zip", lambda: archive({"../../../evil.csv": "x"}), "no-"),
    "entity bomb": ("a.rss", lambda: f'<!DOCTYPE r [<!ENTITY l0 "ha">{_ENTITIES}]><rss><item><title>&l9;</title></item></rss>', "xml-entities"),  # noqa: E501
    "outside entity": ("a.rss", lambda: '<!DOCTYPE r [<!ENTITY x SYSTEM "file:///etc/passwd">]><rss><item><title>&x;</title></item></rss>', "xml-entities"),  # noqa: E501
    "deep XML": ("a.rss", lambda: "<rss>" + "<a>" * 100_000, "too-deep"),
    "XML of 200,000 attributes": ("a.rss", lambda: "<rss><item " + " ".join(f'a{i}="1"' for i in range(200_000)) + "/></rss>", ""),  # noqa: E501
    "deep JSON": ("a.json", lambda: '{"a":' * 100_000 + "1" + "}" * 100_000, "too-deep"),
    "deep JSON list": ("a.json", lambda: "[" * 100_000, "too-deep"),
    "JSON number of 100,000 digits": ("a.json", lambda: '[{"title":"a","price":' + "9" * 100_000 + "}]", ""),
    "workbook whose corners are far apart": ("a.xlsx", lambda: xlsx({"a": _CORNERS}), "too-large"),
    "workbook of 4 thousand million texts": ("a.xlsx", lambda: xlsx({"a": sheet([["t"]])}, extra={"xl/sharedStrings.xml": _TEXTS}), "too-large"),  # noqa: E501
    "workbook that claims 2 GB": ("a.xlsx", lambda: claiming(xlsx({"a": sheet([["title"]])}), 2 << 30), "too-large"),
    "workbook cut off": ("a.xlsx", lambda: xlsx({"a": sheet([["title", "price"]])})[:-60], "broken-"),
    "old workbook of noise": ("a.xls", lambda: b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(range(256)) * 40, "broken-workbook"),  # noqa: E501
    "Parquet of noise": ("a.parquet", lambda: b"PAR1" + bytes(range(256)) * 40 + b"PAR1", "broken-parquet"),
    "page of noise": ("a.html", lambda: b"<html>" + bytes(range(256)) * 4_000, "no-listing-in-page"),
    "picture with the name of a table": ("a.csv", lambda: b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR" + bytes(range(256)) * 40, "no-reader"),  # noqa: E501
    "page with the name of a workbook": ("a.xlsx", lambda: "<!doctype html><html><p>Gone</p></html>", "no-listing"),
    "one line of 20 MB": ("a.csv", lambda: "title,price\n" + "x" * (20 << 20), ""),
    "NUL bytes alone": ("a.csv", lambda: b"\0" * 100_000, ""),
    "quotes alone": ("a.csv", lambda: 'title,price\n"' + '""' * 500_000, ""),
    "delimiters alone": ("a.csv", lambda: "," * 1_000_000, ""),
    "an open quote on every line": ("a.csv", lambda: "id,title,price\n" + '1,"x,2\n' * 20_000, ""),
}  # fmt: skip


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_file_is_refused_in_time_and_the_others_of_the_night_are_read(store, feeds, tmp_path, name):
    file, content, code = HOSTILE[name]
    made = content()
    (tmp_path / file).write_bytes(made.encode() if isinstance(made, str) else made)
    (tmp_path / "good.csv").write_text(GOOD)
    start = time.monotonic()
    notes = {note.path: note for note in run(store, feeds, [tmp_path], NIGHT)}
    assert time.monotonic() - start < 30
    assert notes["good.csv"].rows_read == 3
    if code:
        assert notes[file].outcome == "rejected"
        assert notes[file].notes[0].startswith(code)
    read = frame(store, "SELECT count(*) FROM raw_row WHERE feed_id = ?", [notes[file].feed_id]).item()
    assert read + notes[file].rows_rejected == notes[file].rows_read


def test_a_cell_of_100_mb_costs_only_its_own_row(ingest, rows, rejects):
    text = GOOD + "4;" + "x" * (100 << 20) + ";5 EUR\n5;Road shoe;6 EUR\n"
    note = ingest("a.csv", text)
    assert [row["title"] for row in rows()] == ["Trail shoe", "Court shoe", "Track shoe", "Road shoe"]
    assert (note.rows_read, rejects()) == (5, [(4, "cell-too-long")])


def test_a_small_parquet_file_of_millions_of_rows_is_refused(feeds, tmp_path):
    many = pl.DataFrame({"title": ["a"]}).select(pl.col("title").repeat_by(6_000_000).explode())
    many.write_parquet(tmp_path / "a.parquet")
    assert (tmp_path / "a.parquet").stat().st_size < 1 << 20
    note = run(connect(), feeds, [tmp_path], NIGHT)[0]
    assert note.notes[0].startswith("too-large: 6000000 rows")


def test_an_unreadable_file_is_a_reject_and_read_once_it_can_be(store, feeds, tmp_path, monkeypatch):
    for name in ("a.csv", "b.csv"):
        (tmp_path / name).write_text(GOOD.replace("Trail", name))
    opened = Path.open

    def refused(self, *args, **kwargs):
        if self.name == "a.csv":
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(self))
        return opened(self, *args, **kwargs)

    with monkeypatch.context() as patched:
        patched.setattr(Path, "open", refused)
        notes = run(store, feeds, [tmp_path], NIGHT)
    assert [note.outcome for note in notes] == ["rejected", "new"]
    assert notes[0].notes[0].startswith("unreadable: Permission denied")
    assert [note.outcome for note in run(store, feeds, [tmp_path], NIGHT)] == ["new", "seen"]


def test_a_file_its_owner_locked_is_a_reject_for_everybody_else(tmp_path):
    """The system itself says no: as another user where this one may read everything."""
    path = tmp_path / "feeds" / "a.csv"
    path.parent.mkdir(mode=0o755)
    path.write_text(GOOD)
    path.chmod(0)
    code = f"""
import os
from datetime import date
from pathlib import Path
from triage.catalogue.feeds import load_feeds
from triage.ingest import run
from triage.store import connect
feeds, store = load_feeds(Path({str(RULES)!r}), []), connect()
os.chdir({str(path.parent)!r})
if os.getuid() == 0:
    os.setgroups([])
    os.setresgid(65534, 65534, 65534)
    os.setresuid(65534, 65534, 65534)
assert not os.access("a.csv", os.R_OK)
print(run(store, feeds, [Path(".")], date(2026, 11, 25))[0].notes[0])
"""
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert (said.stdout, said.stderr) == ("unreadable: Permission denied; expected a file that can be read\n", "")


def test_a_parser_that_takes_too_long_is_ended(tmp_path):
    # Open elements inside each other cost the parser the square of their number.
    page = tmp_path / "deep.html"
    page.write_text("<html>" + "<div>" * 60_000)
    start, before = time.monotonic(), children_of(os.getpid())
    with pytest.raises(FileError, match="no end after 1 s"):
        list(lines_apart("page", page, replace(BOUNDS["page"], most_seconds=1)))
    assert time.monotonic() - start < 10
    assert children_of(os.getpid()) == before


def test_a_parser_ends_with_the_last_line_anybody_wants(tmp_path):
    pl.DataFrame({"title": [str(i) for i in range(500_000)]}).write_parquet(tmp_path / "a.parquet")
    before = children_of(os.getpid())
    lines = lines_apart("parquet", tmp_path / "a.parquet")
    assert next(lines) == '{"title":"0"}\n'
    assert len(children_of(os.getpid())) == len(before) + 1
    lines.close()
    assert children_of(os.getpid()) == before


def test_a_parser_does_not_outlive_the_night_that_started_it(tmp_path):
    pl.DataFrame({"title": [str(i) for i in range(500_000)]}).write_parquet(tmp_path / "a.parquet")
    code = f"""
import time
from pathlib import Path
from triage.ingest.apart import lines_apart
lines = lines_apart("parquet", Path({str(tmp_path / "a.parquet")!r}))
next(lines)
print("read", flush=True)
time.sleep(60)
"""
    with subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE) as night:
        assert night.stdout.readline() == b"read\n"
        started = children_of(night.pid)
        assert len(started) == 1
        night.kill()
    until = time.monotonic() + 10
    while (left := [pid for pid in started if is_running(pid)]) and time.monotonic() < until:
        time.sleep(0.05)
    assert left == []
