"""The digest, the letter, the comparison and the short list, in words."""

import email
from email.message import EmailMessage
from email.policy import default
from pathlib import Path

import pytest
from selectolax.lexbor import LexborHTMLParser


def words(page: LexborHTMLParser, selector: str) -> str:
    text = " ".join(" ".join(node.text(separator=" ") for node in page.css(selector)).split())
    return text.replace("\u00a0", " ").replace("\u202f", " ")


@pytest.fixture(scope="module")
def compared(pages: dict[str, Path]) -> LexborHTMLParser:
    return LexborHTMLParser(pages["compare"].read_text("utf-8"))


def test_the_digest_is_the_night_in_short(pages: dict[str, Path]) -> None:
    text = (pages["night"].parent / "digest.txt").read_text("utf-8").replace("\u00a0", " ").replace("\u202f", " ")
    flat = " ".join(text.split())
    for said in (
        "Wednesday 25 November 2026 5 open listings: 1 buy, 1 ask, 3 skips",
        "1. Baskets Brelloway Lindravo 1984 cuir blanc T42 semelle cousue offer up to EUR 96; price EUR 70, lands at "
        "EUR 76; wear as it is; wearable as it is 61 to 78 %; for Wren, Otto",
        "https://attic-board.example/a/1",
        "2. Pellavane モリヴェル180 復刻 2001 27cm [new] offer up to EUR 45 (JPY 7 350); price JPY 9 800 "
        "(EUR 60 at the rate of 24 Nov 2026), lands at EUR 84, shipping assumed",
        "? Is it so that the foam springs back?",
        "SINCE 24 Nov 2026 new: 0 buys, 1 ask, 2 skips other price: 1",
        "left: 1 Tavrelin Mid 43: gone, last price EUR 70",
        "not inspections. A pair can fail sooner: have the sole checked by a qualified shoe repairer",
    ):
        assert said in flat, said
    ours = [line for line in text.splitlines() if "http" not in line and not line.lstrip()[:1].isdigit()]
    assert max(len(line) for line in ours) <= 80


def test_a_night_with_nothing_says_so(pages: dict[str, Path]) -> None:
    text = (pages["empty"].parent / "digest.txt").read_text("utf-8")
    assert text.count("nothing tonight") == 2


def test_the_letter_says_the_same_in_both_its_bodies(pages: dict[str, Path]) -> None:
    folder = pages["night"].parent
    letter = email.message_from_bytes((folder / "digest.eml").read_bytes(), policy=default)
    assert isinstance(letter, EmailMessage)
    plain, html = letter.get_body(("plain",)), letter.get_body(("html",))
    assert plain is not None
    assert html is not None
    text = (folder / "digest.txt").read_text("utf-8")
    assert plain.get_content().replace("\r\n", "\n") == text
    page = LexborHTMLParser(html.get_content())
    assert page.css_first("pre").text().replace("\r\n", "\n").strip() == text.strip()
    assert {a.attributes["href"] for a in page.css("a")} == {
        "https://attic-board.example/a/1", "https://lantern-flea.example/i/7",
    }  # fmt: skip


def test_two_pairs_stand_side_by_side_part_by_part(compared: LexborHTMLParser) -> None:
    assert [words(compared, f".couple > .side:nth-child({n}) .stamp") for n in (1, 2)] == ["deadstock", "worn"]
    table = compared.css_first("table.versus")
    rows = {row.css_first("th").text(): words(LexborHTMLParser(f"<table>{row.html}</table>"), "td")
            for row in table.css("tbody tr")}  # fmt: skip
    assert list(rows) == ["outsole", "midsole", "cushion", "bond", "upper", "trim", "coating", "lining"]
    assert rows["outsole"] == (
        "unlikely 6 to 14 % rubber, 25 years: hardens, slips, then cracks "
        "unlikely 20 to 36 % rubber, 41 years: hardens, slips, then cracks about the same"
    )
    assert rows["midsole"].endswith("crumbles from inside no such part")
    assert rows["bond"].endswith("worn")
    assert len(compared.css(".couple svg.shoe")) == 2


def test_a_comparison_says_what_sets_the_pairs_apart_for_each_purpose(compared: LexborHTMLParser) -> None:
    assert words(compared, "h1") == "Brelloway <b>"
    assert words(compared, "h2").startswith("To wear, to restore, to display, to sell on: the best of each kind")
    gap = (
        "To wear: of the best two the worn one is the better buy: at the door the deadstock pair must cost EUR 50 less "
        "than the worn one before the worn one is, and it costs EUR 8 more."
    )
    assert gap in words(compared, ".reason")
    money = words(compared, "table.versus:nth-of-type(1)")
    assert "Worth on average EUR 40 EUR 90" in money
    assert "Offer up to EUR 81 EUR 81" in money
    wear = " ".join(words(LexborHTMLParser(node.html or ""), "caption") for node in compared.css("table.versus"))
    assert [wear.count(name) for name in ("To wear", "To restore", "To display", "To sell on")] == [1] * 4
    assert len(compared.css("main table")) == 1 + 4 + 4  # part by part, and both pairs and all pairs for each purpose


def test_a_short_list_has_a_line_and_a_ticket_a_pair(pages: dict[str, Path]) -> None:
    page = LexborHTMLParser(pages["night shortlist"].read_text("utf-8"))
    assert words(page, "h1") == "For Wren"
    assert words(page, ".headline") == "2 pairs that do not fail for the same reason, as of Wednesday 25 November 2026."
    lines = [words(LexborHTMLParser(f"<table>{row.html}</table>"), "tr") for row in page.css("header tbody tr")]
    assert lines[0] == (
        "1 Baskets Brelloway Lindravo 1984 cuir blanc T42 semelle cousue the best value: the most left over buy 42 "
        "61 to 78 % EUR 96 EUR 76 wear as it is; first to fail: outsole, unlikely"
    )
    assert "the surest" in lines[1]
    assert "EUR 84 shipping assumed restore, then wear; first to fail: midsole, likely" in lines[1]
    assert [node.attributes["class"] for node in page.css("article")] == ["ticket buy", "ticket ask"]
    assert words(page, "article .whom") == "For Wren For Wren"


def test_every_page_and_letter_says_that_it_is_no_inspection(pages: dict[str, Path]) -> None:
    for path in pages.values():
        assert "not an inspection" in path.read_text("utf-8")
    for name in ("digest.txt", "digest.eml", "atom.xml"):
        text = (pages["night"].parent / name).read_text("utf-8").replace("=\n", "")
        assert "not inspections" in " ".join(text.split())
