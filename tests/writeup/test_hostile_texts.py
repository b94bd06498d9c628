"""Sixty hostile titles and sellers: shown, and nothing more, in every form a night is written in."""

import csv
import email
import io
import json
import re
import sys
from collections.abc import Sequence
from email.message import EmailMessage
from email.policy import default
from pathlib import Path
from types import SimpleNamespace
from xml.etree import ElementTree as ET

import openpyxl
import polars as pl
import pytest
from hostile import HOSTILE, NAUGHTY, SELLERS, hostile_tables
from made_night import AS_OF, fill, whole_night
from playwright.sync_api import Browser, expect
from rich.console import Console

from triage.catalogue.buyers import load_buyers
from triage.errors import TriageError
from triage.store import Connection, connect, frame
from triage.verdict.shortlist import Shortlist
from triage.writeup import Look, phrase, run
from triage.writeup.shortlist_text import shortlist_text
from triage.writeup.terminal import Summary, explain, summary
from triage.writeup.view import TICKETS

FORMULA = tuple("=+-@＝＋－＠\t\r\n")
ATOM = {"a": "http://www.w3.org/2005/Atom"}
# What a terminal, an XML reader or a bidirectional text obeys.
OBEYED = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\u200e\u200f\u061c\ufffe\uffff]")


@pytest.fixture(scope="module")
def folder(pages: dict[str, Path]) -> Path:
    return pages["hostile photos"].parent


@pytest.fixture
def hostile_store() -> Connection:
    store = connect()
    fill(store, hostile_tables(whole_night()))
    return store


def test_there_are_sixty_of_them() -> None:
    assert len(set(HOSTILE)) == 60


def run_nothing(chromium: Browser, shown: Path, texts: Sequence[str]) -> None:
    """See that a page shows texts as titles and does nothing that they ask for."""
    context = chromium.new_context(permissions=["clipboard-read", "clipboard-write"])
    trouble: list[str] = []
    context.on("request", lambda request: trouble.append(request.url))
    page = context.new_page()
    page.on("dialog", lambda dialog: trouble.append(dialog.message))
    page.on("console", lambda message: trouble.append(message.text))
    page.on("pageerror", lambda error: trouble.append(str(error)))
    page.goto(shown.as_uri())
    page.evaluate("document.querySelectorAll('details').forEach(fold => { fold.open = true; })")
    page.mouse.move(400, 400)
    expect(page.locator("h1")).to_be_visible()
    assert "owned" not in page.title()
    titles = page.locator(".ticket h3").all_text_contents()
    assert {phrase.title_of(text) for text in texts} <= set(titles)
    assert page.locator("script").count() == 1
    assert page.locator("main form:not(#sieve), iframe, object, embed, base, link, main style, main img").count() == 0
    assert page.evaluate("[...document.querySelectorAll('*')].flatMap(node => [...node.attributes])"
                         ".filter(one => one.name.startsWith('on')).length") == 0  # fmt: skip
    schemes = page.evaluate("[...document.querySelectorAll('a[href]')].map(link => link.protocol)")
    assert set(schemes) <= {"https:", "http:", "file:"}
    assert [address for address in trouble if address != shown.as_uri()] == []
    context.close()


@pytest.mark.parametrize("name", ["hostile", "hostile shortlist"])
def test_the_page_shows_them_and_runs_none(chromium: Browser, pages: dict[str, Path], name: str) -> None:
    run_nothing(chromium, pages[name], HOSTILE)


@pytest.mark.parametrize("start", range(0, len(NAUGHTY), TICKETS - 10))
def test_the_page_shows_the_big_list_of_naughty_strings_and_runs_none(
    chromium: Browser, catalogue: SimpleNamespace, tmp_path: Path, start: int
) -> None:
    texts = NAUGHTY[start : start + TICKETS - 10]
    store = connect()
    fill(store, hostile_tables(whole_night(), texts=texts))
    run_nothing(chromium, run(store, catalogue, AS_OF, tmp_path), texts)


def test_the_list_is_whole() -> None:
    assert len(NAUGHTY) == 484


def test_no_cell_of_the_csv_starts_like_a_formula(folder: Path) -> None:
    rows = list(csv.DictReader(io.StringIO((folder / "verdicts.csv").read_bytes().decode(), newline="")))
    found = {row["listing_id"]: row for row in rows if row["listing_id"].startswith("attic board/x")}
    assert len(found) == 60
    for number, (title, seller) in enumerate(zip(HOSTILE, SELLERS, strict=True)):
        row = found[f"attic board/x{number:02}"]
        for cell, text in ((row["title"], title), (row["seller"], seller)):
            assert cell in (text, f"'{text}")
            assert not cell.startswith(FORMULA)
            assert not cell.lstrip().startswith(FORMULA)
    assert sum(row["title"].startswith("'") for row in found.values()) >= 10


def test_no_cell_of_the_workbook_is_a_formula_or_a_link(folder: Path) -> None:
    book = openpyxl.load_workbook(folder / "verdicts.xlsx")
    sheet = book["verdicts"]
    heading = [cell.value for cell in sheet[1]]
    title, seller, call = (heading.index(name) for name in ("title", "seller", "call"))
    kinds = {cell.data_type for row in sheet.iter_rows(min_row=2) for cell in row if cell.value is not None}
    assert kinds <= {"s", "n", "d", "b"}
    assert "f" not in kinds
    assert all(cell.hyperlink is None for row in sheet.iter_rows() for cell in row)
    shown = [(row[title], row[seller]) for row in sheet.iter_rows(min_row=2) if row[call].value == "buy"]
    quoted = {one.value: bool(one.quotePrefix) for one, _ in shown if isinstance(one.value, str)}
    for text in ("=1+1", "+1+1", "-1+1", "@SUM(1+1)", "=cmd|' /C calc'!A0"):
        assert quoted[text] is True
    assert quoted["javascript:document.title='owned'"] is False
    longest = max(len(str(one.value)) for one, _ in shown)
    assert longest == 32_767


def test_the_workbook_has_real_types_a_frozen_heading_and_a_filter(folder: Path) -> None:
    book = openpyxl.load_workbook(folder / "verdicts.xlsx")
    sheet = book["verdicts"]
    heading = [cell.value for cell in sheet[1]]
    buyer = heading.index("buyer")
    assert sheet.freeze_panes == "B2"
    assert sheet.auto_filter.ref == f"A1:{sheet.cell(1, sheet.max_column).column_letter}{sheet.max_row}"
    row = next(
        row for row in sheet.iter_rows(min_row=2) if (row[0].value, row[buyer].value) == ("attic board/a1", "wren")
    )
    cells = dict(zip(heading, row, strict=True))
    assert (cells["offer"].value, cells["offer"].data_type) == (96.9, "n")
    assert (cells["first_seen"].is_date, str(cells["first_seen"].value)[:10]) == (True, "2026-11-24")
    assert (cells["p_wearable"].value, cells["p_wearable"].number_format) == (0.7, "0%")
    assert cells["shipping_assumed"].value is False
    assert cells["rate_date"].value is None
    assert sheet.cell(2, heading.index("call") + 1).value == "buy"
    assert "not inspections" in " ".join(str(cell.value) for (cell,) in book["about"].iter_rows())
    assert book.properties.created.date() == AS_OF


def test_the_feed_is_sound_xml_whose_texts_are_only_texts(folder: Path) -> None:
    text = (folder / "atom.xml").read_text("utf-8")
    assert "<!DOCTYPE" not in text
    feed = ET.fromstring(text)
    entries = feed.findall("a:entry", ATOM)
    assert len(entries) == 31  # those no earlier night had: every second hostile one, and the made night's ask
    for entry in entries:
        assert {child.tag.split("}")[1] for child in entry} <= {"id", "title", "updated", "link", "category", "content"}
        assert [child.get("type") for child in entry.findall("a:content", ATOM)] == ["text"]
        assert all(len(child) == 0 for child in entry)
        assert all(link.get("href", "").startswith("https://") for link in entry.findall("a:link", ATOM))
    assert not OBEYED.search("".join(feed.itertext()).replace("\n", ""))
    identities = [entry.findtext("a:id", "", ATOM) for entry in entries]
    assert len(set(identities)) == 31
    assert all(re.fullmatch(r"urn:uuid:[0-9a-f-]{36}", one) for one in identities)
    # RFC 4287, 4.1.1 and 4.1.2: what a feed and an entry must have.
    for must in ("id", "title", "updated", "author"):
        assert len(feed.findall(f"a:{must}", ATOM)) == 1
    assert feed.findtext("a:updated", "", ATOM) == "2026-11-25T00:00:00Z"


def test_the_letter_has_one_recipient_and_no_head_of_theirs(folder: Path) -> None:
    letter = email.message_from_bytes((folder / "digest.eml").read_bytes(), policy=default)
    assert isinstance(letter, EmailMessage)
    assert sorted(letter.keys()) == [
        "Content-Type", "Date", "From", "MIME-Version", "Message-ID", "Subject", "X-Unsent",
    ]  # fmt: skip
    assert letter.defects == []
    assert str(letter["Subject"]) == "Listings of 25 Nov 2026: 61 buys, 1 ask"
    assert letter["Date"].datetime.date() == AS_OF
    plain, html = letter.get_body(("plain",)), letter.get_body(("html",))
    assert plain is not None
    assert html is not None
    assert not OBEYED.search(plain.get_content().replace("\r\n", ""))
    page = html.get_content()
    assert "<script" not in page
    assert not re.search(r"<[a-z]+[^>]*\s(on\w+|src)\s*=", page)
    assert "&lt;script&gt;" in page


def test_a_sender_or_recipient_that_is_no_address_is_refused_before_anything_is_written(
    hostile_store: Connection, catalogue: SimpleNamespace, tmp_path: Path
) -> None:
    with pytest.raises(TriageError, match=r"mail_to: is 'me@host\.example"):
        run(hostile_store, catalogue, AS_OF, tmp_path, Look(mail_to="me@host.example\r\nBcc: all@host.example"))
    assert list(tmp_path.iterdir()) == []


def test_the_digest_is_plain_lines(folder: Path) -> None:
    text = (folder / "digest.txt").read_text("utf-8")
    assert not OBEYED.search(text.replace("\n", ""))
    assert max(len(line) for line in text.splitlines()) < 320


@pytest.mark.parametrize("terminal", [True, False])
def test_a_terminal_obeys_none_of_them(hostile_store: Connection, terminal: bool) -> None:
    stream = io.StringIO()
    console = Console(file=stream, force_terminal=terminal, width=120, highlight=False, _environ={"TERM": "xterm"})
    told = summary(hostile_store, AS_OF)
    told.show(console)
    text = re.sub(r"\x1b\[[0-9;]*m", "", stream.getvalue())  # the bold of our own headings
    assert ("\x1b[1m" in stream.getvalue()) is terminal
    assert not OBEYED.search(text.replace("\n", ""))
    assert "61 buys" in text
    # What looks like markup is shown as written.
    Summary((), told.buys.filter(pl.col("title").str.starts_with("[bold"))).show(console)
    assert "[bold red]sale" in stream.getvalue()


def test_what_is_explained_or_listed_obeys_none_of_them(hostile_store: Connection, catalogue: SimpleNamespace) -> None:
    lines = frame(
        hostile_store,
        "SELECT v.*, l.title, l.size_text, '' AS role FROM verdict v JOIN listing l USING (listing_id) "
        "WHERE call = 'buy' ORDER BY listing_id, buyer",
    )
    lines = lines.with_columns(spend_minor="landed_minor", days_lo=3.0, days_hi=9.0, fails_by=pl.lit("midsole"))
    found = Shortlist(lines, lines.select("listing_id", "title", why=pl.lit("late")), lines)
    texts = [
        shortlist_text(found, load_buyers(Path(__file__).parents[2] / "rules/buyers", (), "EUR", [])["daily"], AS_OF)
    ]
    texts += [explain(hostile_store, catalogue, f"attic board/x{number:02}") for number in range(60)]
    for text in texts:
        assert not OBEYED.search(text.replace("\n", ""))


def test_the_json_keeps_them_as_they_are(folder: Path) -> None:
    told = json.loads((folder / "verdicts.json").read_text("utf-8"))
    titles = {row["title"] for row in told["verdicts"]}
    assert set(HOSTILE) <= titles


def test_without_colour_there_is_none(hostile_store: Connection, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    stream = io.StringIO()
    summary(hostile_store, AS_OF).show(Console(file=stream, force_terminal=True, width=100, highlight=False))
    assert not re.search(r"\x1b\[[0-9;]*3[0-9]m", stream.getvalue())
    assert sys.getsizeof(stream.getvalue()) > 1000
