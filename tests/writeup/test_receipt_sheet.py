"""The inspection sheet: tests in their order for the parts there are, claims beside them, how long there is."""

from collections.abc import Callable
from datetime import date
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from hostile import HOSTILE, hostile_tables
from made_night import whole_night
from selectolax.lexbor import LexborHTMLParser

from triage import catalogue as rules
from triage.catalogue.inspection import load_inspection
from triage.errors import TriageError
from triage.store import Connection
from triage.writeup.receipt import sheet_page, write_sheet

ROOT = Path(__file__).parent.parent.parent
ALL = ("midsole", "outsole", "cushion", "bond", "trim", "coating", "upper", "lining")
COURT = "attic board/a1"


def sheet(store: Connection, known: Any, parts: tuple[str, ...] = ALL, listing: str = COURT) -> LexborHTMLParser:
    return LexborHTMLParser(sheet_page(store, known, listing, parts))


def rows(page: LexborHTMLParser) -> list[list[str]]:
    table = page.css("table")[0]
    return [[cell.text(deep=True).strip() for cell in row.css("th, td")] for row in table.css("tbody tr")]


def periods(page: LexborHTMLParser) -> list[tuple[str, str]]:
    return [(line.css_first("dt").text(), line.css_first("dd").text()) for line in page.css("dl.lines > div")]


def test_the_tests_stand_in_the_order_of_the_rules_and_only_for_parts_there_are(store, catalogue):
    whole = rows(sheet(store, catalogue))
    assert [row[1].split("\n")[0][:9] for row in whole] == [test.do[:9] for test in catalogue.inspection.test]
    assert [row[0] for row in whole] == [str(n) for n in range(1, 13)]
    cupsole = rows(sheet(store, catalogue, ("outsole", "bond", "upper", "lining")))
    dropped = [test.do[:9] for test in catalogue.inspection.test if test.parts and not {*test.parts} - {
        "midsole", "cushion", "trim", "coating"}]  # fmt: skip
    assert len(dropped) == 3
    assert [row[1][:9] for row in cupsole] == [row[1][:9] for row in whole if row[1][:9] not in dropped]


def test_trying_on_comes_last_and_a_failed_press_stops_it():
    found = load_inspection(ROOT / "rules" / "inspection.toml", rules.load().signs, [])
    assert found is not None
    tests = found.test
    assert "put them on" in tests[-1].do
    assert [test.do.split()[0] for test in tests if test.stop] == ["Look", "Thumb"]
    assert {part for test in tests for part in test.parts} == set(ALL)
    # Every sign of a part that a seller may claim has its place beside some test.
    named = {sign for test in tests for sign in test.signs}
    assert {sign.id for sign in rules.load().signs.values() if sign.part in ALL} - named == {"unstitched_moulded_sole"}


def test_what_the_seller_claimed_stands_beside_its_test_in_their_words(store, catalogue):
    found = {row[1].split("\n")[0]: row[3] for row in rows(sheet(store, catalogue))}
    (pull,) = [claim for test, claim in found.items() if test.startswith("Pull at heel")]
    assert "semelle cousue" in pull
    (knock,) = [claim for test, claim in found.items() if test.startswith("Fingernail")]
    assert knock == "the rubber is not hard, with a doubt: plutôt souple, je crois"
    (window,) = [claim for test, claim in found.items() if test.startswith("Press each gas")]
    assert window == "nothing"


def test_no_belief_of_the_program_is_on_the_sheet(store, catalogue):
    text = sheet(store, catalogue).css_first("main").text(deep=True)
    assert "likely" not in text
    assert "%" not in text


def test_the_time_to_complain_counts_from_arrival_and_says_where_none_is_known(store, catalogue):
    assert periods(sheet(store, catalogue))[0][0] == "No date known"
    store.execute("UPDATE listing SET seller_kind = 'business', ships_from = 'FR' WHERE listing_id = ?", [COURT])
    assert periods(sheet(store, catalogue))[0][0] == "14 days after arrival"
    store.execute("INSERT INTO purchase (listing_id, bought_on, currency) VALUES (?, '2026-11-20', 'EUR')", [COURT])
    store.execute(
        "INSERT INTO purchase (listing_id, bought_on, currency, arrived_on) VALUES (?, '2026-11-20', 'EUR', ?)",
        [COURT, date(2026, 11, 24)],
    )
    page = sheet(store, catalogue)
    # Directive 2011/83/EU, article 9, with Regulation 1182/71, article 3: the day of arrival is not counted.
    assert periods(page)[0][0] == "Until 8 Dec 2026 (14 days)"
    assert "arrived 24 Nov 2026" in page.css_first("header").text(deep=True)
    store.execute("UPDATE listing SET ships_from = 'GB' WHERE listing_id = ?", [COURT])
    assert periods(sheet(store, catalogue))[0][0] == "Until 24 Dec 2026 (30 days)"
    assert periods(sheet(store, catalogue))[-1][0] == "At once"


def test_a_marketplace_of_ones_own_rules_comes_first_when_its_time_is_shorter(store, catalogue, tmp_path):
    text = (ROOT / "rules" / "inspection.toml").read_text("utf-8")
    own = '\n[[claim]]\ndays = 3\nsource_of = "attic board"\nwhat = "open a case"\nsource = "its terms"\n'
    path = tmp_path / "inspection.toml"
    path.write_text(text + own, "utf-8")
    problems: list[Any] = []
    known = SimpleNamespace(**vars(catalogue) | {"inspection": load_inspection(path, rules.load().signs, problems)})
    assert problems == []
    assert periods(sheet(store, known))[0] == ("3 days after arrival", "open a case (its terms).")


def test_a_fault_of_the_file_is_told_with_its_line(tmp_path):
    text = (ROOT / "rules" / "inspection.toml").read_text("utf-8")
    path = tmp_path / "inspection.toml"
    path.write_text(text.replace('"unit_ok"', '"unit_fine"').replace('parts = ["bond"]', 'parts = ["sole"]'), "utf-8")
    problems: list[Any] = []
    assert load_inspection(path, rules.load().signs, problems) is None
    assert "sole" in problems[0].found
    path.write_text(text.replace('"unit_ok"', '"unit_fine"'), "utf-8")
    problems.clear()
    load_inspection(path, rules.load().signs, problems)
    line = next(n for n, words in enumerate(text.splitlines(), 1) if '"unit_ok"' in words)
    assert [(one.place, one.found) for one in problems] == [(f"{path}:{line}", "sign 'unit_fine'")]


@pytest.fixture(scope="module")
def hostile(store_of: Callable[..., Connection]) -> Connection:
    """A store of hostile texts."""
    return store_of(hostile_tables(whole_night()))


@pytest.mark.parametrize("number", range(len(HOSTILE)))
def test_no_hostile_text_becomes_markup(hostile: Connection, catalogue, number):
    text = sheet_page(hostile, catalogue, f"attic board/x{number:02}", ALL)
    page = LexborHTMLParser(text)
    assert len(page.css("script")) == 1
    assert page.css("img, iframe, object, embed, form, base, link, math, input, a[href^=javascript]") == []
    assert len(page.css("meta")) == 5
    assert not [node for node in page.css("body *") if any(name.startswith("on") for name in node.attributes)]
    assert "default-src 'none'" in page.css("meta")[2].attributes["content"]


def test_an_unknown_pair_is_refused_with_the_id_most_like_it(store, catalogue):
    with pytest.raises(TriageError, match="such as attic board/a"):
        sheet(store, catalogue, listing="attic board/a2x")


def test_the_sheet_lies_among_the_reports(store, catalogue, tmp_path):
    path = write_sheet(tmp_path / "reports", COURT, "text")
    assert path.read_text("utf-8") == "text"
    assert path.parent == tmp_path / "reports" / "sheets"
