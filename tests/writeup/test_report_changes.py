"""What changed since the last report: calls above all, and what a feed and a ticket make of it."""

import json
from datetime import date
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from xml.etree import ElementTree as ET

import polars as pl
import pytest
from made_night import AS_OF, BEFORE, fill, verdict, whole_night
from selectolax.lexbor import LexborHTMLParser

from triage.store import connect
from triage.writeup import changes, run
from triage.writeup.changes import earlier_calls
from triage.writeup.folder import write_whole
from triage.writeup.tables import json_pieces
from triage.writeup.ticket import anchor

COURT, RUNNER, NEAR = anchor("attic board/a1"), anchor("lantern flea/j7"), anchor("attic board/a5")


def two_nights(catalogue: SimpleNamespace, out: Path) -> LexborHTMLParser:
    """Write a night in which the court shoe was a skip for all, then the made night; return the second page."""
    tables = whole_night()
    before: list[dict[str, Any]] = [
        row | {"call": "skip", "reason": "too dear last night"} if row["listing_id"] == "attic board/a1" else row
        for row in tables["verdict"]
        if row["listing_id"] in ("attic board/a1", "attic board/a5")
    ]
    first = connect()
    fill(first, tables | {"verdict": [*before, verdict(listing_id="attic board/a6", call="buy")]})
    run(first, catalogue, BEFORE, out)
    second = connect()
    fill(second, tables)
    return LexborHTMLParser(run(second, catalogue, AS_OF, out).read_text("utf-8"))


def words(page: LexborHTMLParser, selector: str) -> str:
    return " ".join(" ".join(node.text(separator=" ") for node in page.css(selector)).split())


def test_a_call_that_changed_is_told_with_what_it_was_and_why(catalogue: SimpleNamespace, tmp_path: Path) -> None:
    page = two_nights(catalogue, tmp_path)
    told = words(page, ".changes")
    assert "Other call Against the report of 24 Nov 2026." in told
    assert "attic board skip → buy: stitched sole and rubber that bends" in told
    assert "Ostrevik Holmkrag" not in told.split("Other call")[1].split("Sold or gone")[0]  # a skip then and now
    assert words(page, f"#{COURT} .fresh") == "was skip"
    assert words(page, f"#{RUNNER} .fresh") == "new"
    assert page.css(f"#{NEAR} .fresh") == []
    assert [node.text() for node in page.css(".changes h3")] == ["New", "Other price", "Other call", "Sold or gone"]


def test_a_feed_reader_is_told_of_a_call_that_changed(catalogue: SimpleNamespace, tmp_path: Path) -> None:
    two_nights(catalogue, tmp_path)
    atom = {"a": "http://www.w3.org/2005/Atom"}
    titles = [
        entry.findtext("a:title", "", atom)
        for entry in ET.parse(tmp_path / "2026-11-25" / "atom.xml").getroot().findall("a:entry", atom)
    ]
    assert titles == ["buy: Baskets Brelloway Lindravo 1984 cuir blanc T42 semelle cousue",
                      "ask: Pellavane モリヴェル180 復刻 2001 27cm"]  # fmt: skip
    assert (tmp_path / "latest" / "atom.xml").read_bytes() == (tmp_path / "2026-11-25" / "atom.xml").read_bytes()


def test_without_an_earlier_report_nothing_is_said_of_calls(catalogue: SimpleNamespace, tmp_path: Path) -> None:
    store = connect()
    fill(store, whole_night())
    page = LexborHTMLParser(run(store, catalogue, AS_OF, tmp_path).read_text("utf-8"))
    assert "Other call" not in words(page, ".changes")
    assert words(page, f"#{COURT} .fresh") == ""


@pytest.mark.parametrize(
    "content",
    [
        "", "{", "[]", '{"verdicts": [{"listing_id": "x"}]}', '{"verdicts": [{"call": "?"}]}',
        "[\n", "[\n]}", "[\n3\n]}\n", '[\n\n{"listing_id":"x","call":"buy"}\n]}\n',
        '[\n{"listing_id":"x","call":"?"}\n]}\n', '[\n{"listing_id":"x","call":null}\n]}\n',
        '[\n{"listing_id":null,"call":"buy"}\n]}\n',
    ],
)  # fmt: skip
def test_a_report_that_cannot_be_read_is_passed_over(tmp_path: Path, content: str) -> None:
    good = {"verdicts": [{"listing_id": "x", "call": "skip"}, {"listing_id": "x", "call": "ask"}]}
    for night, text in (("2026-11-20", json.dumps(good)), ("2026-11-24", content), ("2026-11-25", json.dumps(good))):
        (tmp_path / night).mkdir()
        (tmp_path / night / "verdicts.json").write_text(text, "utf-8")
    (tmp_path / "latest").mkdir()
    found = earlier_calls(tmp_path, AS_OF)
    assert found is not None
    assert found.night == date(2026, 11, 20)
    assert found.calls.to_dicts() == [{"listing_id": "x", "before": "ask"}]
    assert earlier_calls(tmp_path / "nowhere", AS_OF) is None


@pytest.mark.parametrize("piece", [1, 7, 60, 2**26])
@pytest.mark.parametrize("rows", [0, 1, 40])
def test_a_report_is_read_in_pieces_as_json_reads_it_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, piece: int, rows: int
) -> None:
    monkeypatch.setattr(changes, "PIECE_BYTES", piece)
    call = pl.Series(["skip", "ask", "skip", "buy", "skip"]).gather([n % 5 for n in range(rows)])
    # What ends a line or the file, and what looks like a call, in texts; every third id is one that JSON escapes.
    name = [f"pair {n // 2}" if n // 2 % 3 else f'"靴",\n]}}\\ {n // 2}' for n in range(rows)]
    title = ['{"listing_id":"pair 0","call":"buy"}, call":"buy'] * rows
    table = pl.DataFrame(
        {"listing_id": name, "title": title, "call": call, "names": [[1, n] for n in range(rows)]},
        schema_overrides={"listing_id": pl.String, "title": pl.String},
    )
    report = tmp_path / "2026-11-24" / "verdicts.json"
    write_whole(report.parent, {report.name: json_pieces(table, BEFORE)})
    best: dict[str, str] = {}
    for row in json.loads(report.read_text("utf-8"))["verdicts"]:
        best[row["listing_id"]] = min(row["call"], best.get(row["listing_id"], "skip"), key=changes.CALLS.index)
    found = earlier_calls(tmp_path, AS_OF)
    assert found is not None
    assert dict(found.calls.iter_rows()) == best
    whole = report.read_bytes()
    report.write_bytes(whole[: -len(b"]}\n")])
    assert earlier_calls(tmp_path, AS_OF) is None


def large_night(count: int, long: int) -> dict[str, list[dict[str, Any]]]:
    """Return a night of many listings, the first 400 of them buys with texts as long as a stranger likes."""
    tables = whole_night()
    court = next(row for row in tables["listing"] if row["listing_id"] == "attic board/a1")
    for number in range(count):
        name = f"attic board/m{number:05}"
        text = f"{number} " + ("靴" * long if number < 400 else "pair")
        tables["listing"].append(court | dict(listing_id=name, external_id=name, title=text, body=text, seller=text,
                                              size_text=text, url=f"https://attic-board.example/{text}"))  # fmt: skip
        call = "buy" if number < 400 else "skip"
        tables["verdict"].append(
            verdict(listing_id=name, call=call, rank=number + 2, offer_minor=9000 if call == "buy" else 0)
        )
        if number < 400:
            cells = json.dumps({f"{text[:200]} {at}": text for at in range(12)}, ensure_ascii=False)
            tables["raw_row"].append(dict(feed_id="f2", row_no=1000 + number, cells=cells))
            tables["sighting"].append(
                dict(listing_id=name, feed_id="f2", row_no=1000 + number, seen_on=AS_OF, price_minor=1, first=True)
            )
            tables["observation"].append(
                dict(listing_id=name, sign="stitched_sole", said_by="listing", state="affirmed", hedged=False,
                     quote=text, start=0, language="ja")
            )  # fmt: skip
    return tables


def test_a_night_of_20_000_stays_under_15_mb_and_says_where_the_rest_is(
    catalogue: SimpleNamespace, tmp_path: Path
) -> None:
    store = connect()
    fill(store, large_night(20_000, 3_000))
    page = run(store, catalogue, AS_OF, tmp_path)
    text = page.read_text("utf-8")
    assert page.stat().st_size < 15e6
    assert text.count('class="ticket buy"') == 150
    assert '<p class="left-out">251 more in <a href="verdicts.csv">verdicts.csv</a>.</p>' in text
    skips = 20_000 - 400 + 2 - 400
    assert f'<p class="left-out">{skips} more in <a href="verdicts.csv">verdicts.csv</a>.</p>' in text
    listed = pl.read_csv(page.parent / "verdicts.csv", columns=["listing_id"])["listing_id"].n_unique()
    assert listed == 20_005
    names = {node.attributes["id"] for node in LexborHTMLParser(text).css("[id]")}
    assert {a.attributes["href"][1:] for a in LexborHTMLParser(text).css('a[href^="#"]')} <= names
