"""The folder of a night: whole or not at all, the same bytes each time, nothing a spreadsheet would run."""

import csv
import io
import json
import os
import re
import sys
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from threading import Event
from types import SimpleNamespace
from typing import Any

import openpyxl
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from made_night import AS_OF, fill, whole_night

from triage.store import Connection, connect
from triage.writeup import Look, run
from triage.writeup.folder import Content, write_whole
from triage.writeup.tables import SCHEMA_VERSION, defused


def contents(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


NIGHT = ["atom.xml", "digest.eml", "digest.txt", "index.html", "verdicts.csv", "verdicts.json", "verdicts.xlsx"]


def test_a_night_is_a_page_tables_a_feed_a_digest_and_a_way_to_the_latest(
    store: Connection, catalogue: SimpleNamespace, tmp_path: Path
) -> None:
    page = run(store, catalogue, AS_OF, tmp_path / "reports")
    assert page == tmp_path / "reports" / "2026-11-25" / "index.html"
    written = [".lock", *(f"2026-11-25/{name}" for name in NIGHT), "latest/atom.xml", "latest/index.html"]
    assert list(contents(tmp_path / "reports")) == written


def test_the_same_night_gives_the_same_bytes_in_whatever_order_rows_were_stored(
    store: Connection, catalogue: SimpleNamespace, tmp_path: Path
) -> None:
    run(store, catalogue, AS_OF, tmp_path / "one")
    backwards = connect()
    fill(backwards, {table: rows[::-1] for table, rows in whole_night().items()})
    run(backwards, catalogue, AS_OF, tmp_path / "two")
    assert contents(tmp_path / "one") == contents(tmp_path / "two")


def test_a_night_written_again_replaces_what_was_there(
    store: Connection, catalogue: SimpleNamespace, tmp_path: Path
) -> None:
    folder = run(store, catalogue, AS_OF, tmp_path).parent
    (folder / "leftover.txt").write_text("of another version")
    run(store, catalogue, AS_OF, tmp_path)
    assert sorted(p.name for p in folder.iterdir()) == NIGHT
    assert sorted(p.name for p in tmp_path.iterdir()) == [".lock", "2026-11-25", "latest"]


def test_long_files_are_written_while_those_after_them_are_made(tmp_path: Path) -> None:
    begun = Event()

    def pieces() -> Iterator[bytes]:
        begun.set()
        yield b"long"

    def files() -> Iterator[tuple[str, Content]]:
        yield "verdicts.csv", pieces()
        yield "verdicts.json", pieces()
        yield "index.html", "late" if begun.wait(30) else "never begun"

    write_whole(tmp_path / "night", files())
    assert contents(tmp_path / "night") == {"index.html": b"late", "verdicts.csv": b"long", "verdicts.json": b"long"}


def test_trouble_while_making_a_file_leaves_the_old_folder(tmp_path: Path) -> None:
    def files() -> Iterator[tuple[str, Content]]:
        yield "index.html", "new"
        yield "verdicts.csv", "new"
        raise OSError("the store is gone")

    write_whole(tmp_path / "night", {"index.html": "old"})
    with pytest.raises(OSError, match="the store is gone"):
        write_whole(tmp_path / "night", files())
    assert contents(tmp_path) == {"night/index.html": b"old"}


def test_trouble_while_writing_leaves_the_old_folder_and_no_half_of_the_new(tmp_path: Path) -> None:
    folder = tmp_path / "2026-11-25"
    write_whole(folder, {"index.html": "old"})
    with pytest.raises(UnicodeEncodeError):
        write_whole(folder, {"index.html": "new", "verdicts.csv": "\ud800"})
    assert contents(tmp_path) == {"2026-11-25/index.html": b"old"}


def test_trouble_while_moving_puts_the_old_folder_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = tmp_path / "2026-11-25"
    write_whole(folder, {"index.html": "old"})
    real = os.replace

    def refuses_the_new(source: Path, target: Path) -> None:
        if Path(source).name.endswith(".fresh"):
            raise OSError("no room")
        real(source, target)

    monkeypatch.setattr(sys, "platform", "a system where two folders can't change places")
    monkeypatch.setattr(os, "replace", refuses_the_new)
    with pytest.raises(OSError, match="no room"):
        write_whole(folder, {"index.html": "new"})
    assert contents(tmp_path) == {"2026-11-25/index.html": b"old"}


def test_latest_forwards_by_a_relative_link_and_never_back_in_time(
    store: Connection, catalogue: SimpleNamespace, tmp_path: Path
) -> None:
    run(store, catalogue, AS_OF, tmp_path)
    run(store, catalogue, date(2026, 11, 24), tmp_path)
    text = (tmp_path / "latest" / "index.html").read_text("utf-8")
    assert 'content="0; url=../2026-11-25/index.html"' in text
    (link,) = re.findall(r'<a href="([^"]+)"', text)
    assert (tmp_path / "latest" / link).resolve() == tmp_path.resolve() / "2026-11-25" / "index.html"


def test_a_night_without_a_feed_can_still_be_the_latest(
    store: Connection, catalogue: SimpleNamespace, tmp_path: Path
) -> None:
    (tmp_path / "2027-01-01").mkdir()
    run(store, catalogue, AS_OF, tmp_path)
    assert "../2027-01-01/index.html" in (tmp_path / "latest" / "index.html").read_text("utf-8")
    assert [path.name for path in (tmp_path / "latest").iterdir()] == ["index.html"]


def test_the_csv_holds_every_verdict_in_whole_currency_units(
    store: Connection, catalogue: SimpleNamespace, tmp_path: Path
) -> None:
    text = (run(store, catalogue, AS_OF, tmp_path).parent / "verdicts.csv").read_text("utf-8")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert [(row["listing_id"], row["buyer"]) for row in rows] == sorted(
        (row["listing_id"], row["buyer"]) for row in whole_night()["verdict"]
    )
    court = next(row for row in rows if row["listing_id"] == "attic board/a1" and row["buyer"] == "wren")
    assert (court["offer"], court["landed"], court["currency"]) == ("96.9", "76.0", "EUR")
    runner = next(row for row in rows if row["listing_id"] == "lantern flea/j7")
    assert (runner["price"], runner["price_currency"]) == ("9800.0", "JPY")
    boxed = next(row for row in rows if row["listing_id"] == "harbour auction/h9")
    assert boxed["title"] == "'=HYPERLINK(box only)"


def test_the_tables_leave_sellers_out_unless_they_are_asked_for(
    store: Connection, catalogue: SimpleNamespace, tmp_path: Path
) -> None:
    store.execute("UPDATE listing SET seller = 'Wilhelmine Ohnesorg'")
    plain = contents(run(store, catalogue, AS_OF, tmp_path / "plain").parent)
    asked = contents(run(store, catalogue, AS_OF, tmp_path / "asked", Look(sellers=True)).parent)
    for files, named in ((plain, False), (asked, True)):
        book = openpyxl.load_workbook(io.BytesIO(files["verdicts.xlsx"]))["verdicts"]
        cells = " ".join(str(cell.value) for row in book.iter_rows() for cell in row)
        for text in (files["verdicts.csv"].decode(), files["verdicts.json"].decode(), cells):
            assert ("Wilhelmine Ohnesorg" in text) is named
            assert ("seller" in text.split("reason")[0]) is named
    for name in ("atom.xml", "digest.txt", "digest.eml"):
        assert b"Ohnesorg" not in asked[name]


@given(st.lists(st.text(alphabet=st.sampled_from("=+-@＝＋－＠\t\r\n' ab1,\"|"), max_size=6), min_size=1))
def test_no_text_starts_the_way_a_formula_does(texts: list[str]) -> None:
    # Source: OWASP, CSV Injection: cells that begin with = + - @, a tab or a carriage return are run as formulas.
    shown = defused(pl.DataFrame({"text": texts}))["text"].to_list()
    assert not any(text.startswith(tuple("=+-@＝＋－＠\t\r\n")) for text in shown)
    assert not any(text.lstrip().startswith(tuple("=+-@")) for text in shown)
    assert all(text in (given_text, "'" + given_text) for text, given_text in zip(shown, texts, strict=True))


def test_the_json_keeps_minor_units_silence_and_the_seller_s_words(
    store: Connection, catalogue: SimpleNamespace, tmp_path: Path
) -> None:
    text = (run(store, catalogue, AS_OF, tmp_path).parent / "verdicts.json").read_text("utf-8")
    whole: dict[str, Any] = json.loads(text)
    assert (whole["schema_version"], whole["as_of"]) == (SCHEMA_VERSION, "2026-11-25")
    boxed = next(row for row in whole["verdicts"] if row["listing_id"] == "harbour auction/h9")
    assert (boxed["title"], boxed["surplus_minor"], boxed["weak_part"]) == ("=HYPERLINK(box only)", None, None)
    runner = next(row for row in whole["verdicts"] if row["listing_id"] == "lantern flea/j7")
    assert (runner["price_minor"], runner["rate_date"]) == (9800, "2026-11-24")
