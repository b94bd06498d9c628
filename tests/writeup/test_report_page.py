"""The page of a night: self-contained, readable by anyone, nothing of a stranger's text obeyed."""

import re
from base64 import b64encode
from collections import Counter
from hashlib import sha256
from html.parser import HTMLParser
from importlib.resources import files
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace

import pytest
from made_night import AS_OF, CAUTIONS, whole_night
from selectolax.lexbor import LexborHTMLParser

from triage.store import Connection
from triage.writeup import run
from triage.writeup.origin import link
from triage.writeup.page import environment, script
from triage.writeup.ticket import anchor

TEMPLATES = files("triage.writeup") / "templates"
COURT, RUNNER = anchor("attic board/a1"), anchor("lantern flea/j7")


@pytest.fixture
def html(store: Connection, catalogue: SimpleNamespace, tmp_path: Path) -> str:
    return run(store, catalogue, AS_OF, tmp_path).read_text("utf-8").replace("\u00a0", " ").replace("\u202f", " ")


@pytest.fixture
def page(html: str) -> LexborHTMLParser:
    return LexborHTMLParser(html)


def words(page: LexborHTMLParser, selector: str) -> str:
    return " ".join(" ".join(node.text(separator=" ") for node in page.css(selector)).split())


class Balance(HTMLParser):
    """Collects the tags that were closed out of turn."""

    VOID = frozenset(("meta", "br", "hr", "input", "img"))

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.faults: list[str] = []

    def handle_starttag(self, tag: str, attrs: object) -> None:
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: object) -> None:
        """A shape of a drawing closes itself."""

    def handle_endtag(self, tag: str) -> None:
        if not self.open or self.open.pop() != tag:
            self.faults.append(f"{tag} at {self.getpos()}")


def test_every_tag_is_closed_in_turn(html: str) -> None:
    balance = Balance()
    balance.feed(html)
    assert (balance.faults, balance.open) == ([], [])


def test_the_page_asks_nothing_of_anywhere(page: LexborHTMLParser, html: str) -> None:
    policy = page.css_first('meta[http-equiv="Content-Security-Policy"]').attributes["content"]
    own = b64encode(sha256(script().encode()).digest()).decode()
    assert policy == (
        f"default-src 'none'; style-src 'unsafe-inline'; script-src 'sha256-{own}'; img-src data:; base-uri 'none'; "
        "form-action 'none'"
    )
    assert [node.text() for node in page.css("script")] == [script()]
    assert page.css("link, img, iframe, object, embed, video, audio, [src], [style], [action]") == []
    assert not re.search(r"https?:|fetch|XMLHttp|import\(|eval|innerHTML", script())
    assert not re.search(r"@import|url\((?!#h[0-5]\))", html)
    assert not [name for node in page.css("*") for name in node.attributes if name.startswith("on")]


def test_links_out_are_http_only_and_say_nothing_of_where_one_came_from(page: LexborHTMLParser) -> None:
    outward = [a for a in page.css("a") if not a.attributes["href"].startswith(("#", "verdicts.", "digest.", "atom."))]
    assert {a.attributes["href"] for a in outward} == {
        "https://attic-board.example/a/1", "https://lantern-flea.example/i/7",
    }  # fmt: skip
    assert {a.attributes["rel"] for a in outward} == {"noopener noreferrer nofollow"}


@pytest.mark.parametrize(
    "url",
    ["javascript:alert(1)", "data:text/html,x", "//host.example", "ftp://host.example", "http://a\u202eb", " ", None],
)
def test_an_address_that_is_not_plainly_http_is_no_link(url: str | None) -> None:
    assert link(url) == ""


def test_a_strangers_markup_is_shown_and_not_obeyed(page: LexborHTMLParser) -> None:
    assert "<script>alert(1)</script>" in words(page, "main")
    assert len(page.css("script")) == 1


@pytest.mark.parametrize("template", ["night.html", "shoe.svg", "anything"])
def test_whatever_can_reach_a_page_is_escaped(template: str) -> None:
    escapes = environment().autoescape
    assert callable(escapes)
    assert escapes(template) is True


def test_every_anchor_leads_somewhere_and_no_name_is_used_twice(page: LexborHTMLParser) -> None:
    names = Counter(node.attributes["id"] for node in page.css("[id]"))
    assert [name for name, times in names.items() if times > 1] == []
    targets = {a.attributes["href"][1:] for a in page.css('a[href^="#"]')}
    labels = {n for node in page.css("[aria-labelledby]") for n in node.attributes["aria-labelledby"].split()}
    assert len(targets) >= 5
    assert targets | labels <= set(names)


def test_headings_go_down_one_level_at_a_time(page: LexborHTMLParser) -> None:
    levels = [int(node.tag[1]) for node in page.css("h1, h2, h3, h4, h5")]
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))


def test_the_page_has_its_landmarks_and_every_table_its_caption_and_headers(page: LexborHTMLParser) -> None:
    assert [len(page.css(f"body > {tag}")) for tag in ("header", "main", "footer")] == [1, 1, 1]
    assert page.css_first("html").attributes["lang"] == "en"
    for table in page.css("table"):
        assert table.css_first("caption") is not None
        assert all(th.attributes.get("scope") for th in table.css("th"))


def test_sections_come_in_reading_order(page: LexborHTMLParser) -> None:
    assert [node.attributes["id"] for node in page.css("h2")] == [
        "changes", "buys", "asks", "near", "skips", "account",
    ]  # fmt: skip


def test_the_headline_counts_every_open_listing_once(page: LexborHTMLParser) -> None:
    assert words(page, ".headline") == "5 open listings weighed: 1 buy , 1 ask , 1 near miss , 2 other skips ."


def test_a_buy_says_what_it_is_for_whom_how_likely_and_up_to_what(page: LexborHTMLParser) -> None:
    ticket = words(page, f"#{COURT}")
    for said in (
        "Baskets Brelloway Lindravo 1984 cuir blanc T42 semelle cousue",
        "Brelloway Lindravo, original, chalk / ivy , made 1984 to 1987: about 93 %, by its release.",
        "61 to 78 % , about even to likely, as it is, for 2 years.",
        "Offer up to EUR 96",
        "Landed EUR 76",
        "For Wren, Otto",
        "outsole , rubber: unlikely to fail (20 to 36 %). How: hardens, slips, then cracks.",
        "EUR 90 24 Nov 2026 → EUR 70 25 Nov 2026",
        "the same pair on another marketplace, about 71 %",
        "rubber of 41 years against, +1.5 decibans",
        "Not stated, and could matter: outsole shiny.",
        "clean and reglue the edge, EUR 5 to 20",
        "Otto display 61 to 78 % EUR 74 EUR 76 EUR 12 good for the shelf at this price",
    ):
        assert said in ticket


def test_the_sellers_own_words_are_quoted_in_their_language(page: LexborHTMLParser) -> None:
    quotes = {(q.attributes.get("lang"), q.text()) for q in page.css(f"#{COURT} q")}
    assert quotes == {("fr", "semelle cousue"), ("fr", "plutôt souple, je crois")}


def test_an_ask_has_a_message_to_copy_and_what_each_answer_would_do(page: LexborHTMLParser) -> None:
    message = page.css_first(f"#{RUNNER} pre")
    assert message.attributes["lang"] == "ja"
    assert "1. かかとのミッドソールを親指で押すと、すぐ戻りますか。\n2. " in message.text()
    table = words(page, f"#{RUNNER} .letter table")
    assert (
        "midsole: the foam springs back “Is it so that the foam springs back?” worth EUR 15 buy, up to EUR 96 skip"
        in table
    )
    assert "year of manufacture “Which date is on the label?” worth EUR 4" in table
    assert "Otto: skip. nothing left for the shelf once the foam goes" in words(page, f"#{RUNNER}")


def test_what_was_converted_or_assumed_says_so(page: LexborHTMLParser) -> None:
    stub = words(page, f"#{RUNNER} .stub")
    assert "Price JPY 9 800 EUR 60 at the rate of 24 Nov 2026" in stub
    assert "Landed EUR 84 shipping assumed" in stub
    assert "Offer up to EUR 45 JPY 7 350" in stub


def test_cautions_stand_beside_the_repair_and_outside_every_fold(page: LexborHTMLParser) -> None:
    beside = words(page, f"#{RUNNER} .plans .cautions")
    assert "Beware: sole transplant from a donor unit" in beside
    assert all(caution in beside for caution in CAUTIONS)
    assert page.css("details .cautions") == []


def test_each_part_is_told_by_hatching_and_by_words_alike(page: LexborHTMLParser) -> None:
    steps = {"very unlikely": 1, "unlikely": 2, "about even": 3, "likely": 4, "very likely": 5}
    for name in (COURT, RUNNER):
        drawn = Counter(int(node.attributes["class"].split(" s")[1][0]) for node in page.css(f"#{name} .shoe .part"))
        # The bond is drawn as a seam, and its hatching is the stroke.
        drawn += Counter(int(n.attributes["stroke"][6]) for n in page.css(f"#{name} .shoe .seam-hatch"))
        told = Counter(steps[node.text()] for node in page.css(f"#{name} .shoe .word"))
        assert drawn == told
        assert sum(told.values()) == len(page.css(f"#{name} .parts tbody tr"))


def test_the_drawing_is_told_to_those_who_cannot_see_it(page: LexborHTMLParser) -> None:
    drawing = page.css_first(f"#{RUNNER} svg.shoe")
    assert drawing.attributes["role"] == "img"
    description = words(page, f"#{RUNNER}-d")
    assert "midsole: likely to fail, 72 to 93 %" in description
    assert len(description.split(";")) == 8


def test_a_part_the_shoe_lacks_is_neither_drawn_nor_listed(page: LexborHTMLParser) -> None:
    assert "midsole" not in words(page, f"#{COURT} .parts")
    assert len(page.css(f"#{COURT} .shoe text")) == 4


def test_skips_are_one_line_each_with_the_reason(page: LexborHTMLParser) -> None:
    lines = [" ".join(node.text(separator=" ").split()) for node in page.css(".lines-list li")]
    assert len(lines) == 3
    assert lines[0] == (
        "Ostrevik Holmkrag Light Gr. 8,5 attic board, EUR 70 the foam wedge of 24 years eats the margin (Wren)"
    )
    assert any(line.endswith("asks EUR 220 for a shelf pair worth EUR 90 (Otto)") for line in lines)


def test_rejects_are_folded_and_say_what_was_expected(page: LexborHTMLParser) -> None:
    table = words(page, "details table:has(.expected)")
    assert "2026-11-25/attic_board.csv, row 3 price =1+1 an amount such as 95,00 whole row no-price" in table


def test_the_footer_defers_to_a_repairer(page: LexborHTMLParser) -> None:
    assert words(page, "footer").startswith(
        "Estimate from age, material and what the seller wrote, not an inspection. A pair can fail sooner. "
        "Ask a qualified shoe repairer."
    )


def test_the_tool_never_promises_that_a_pair_is_safe() -> None:
    texts = [path.read_text("utf-8") for path in TEMPLATES.rglob("*") if path.is_file()]
    texts += [path.read_text("utf-8") for path in Path(str(files("triage.writeup"))).glob("*.py")]
    assert len(texts) > 20
    assert [text for text in texts if re.search(r"\bsafe(ly|ty)?\b", text, re.IGNORECASE)] == []


def test_a_ticket_is_new_only_when_an_earlier_night_did_not_have_it(page: LexborHTMLParser) -> None:
    assert page.css(f"#{COURT} .fresh") == []
    assert len(page.css(f"#{RUNNER} .fresh")) == 1


def luminance(colour: str) -> float:
    channels = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("scheme", [0, 1], ids=["light", "dark"])
@pytest.mark.parametrize("ground", ["paper", "card"])
@pytest.mark.parametrize("ink", ["ink", "soft", "accent"])
def test_text_stands_out_from_its_ground(scheme: int, ground: str, ink: str) -> None:
    # Source: WCAG 2.2, success criterion 1.4.3: contrast (L1 + 0.05) / (L2 + 0.05) of at least 4.5 for text.
    css = (TEMPLATES / "night.css").read_text("utf-8")
    block = re.findall(r":root \{([^}]*)\}", css)[scheme]
    colours = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", block))
    lighter, darker = sorted((luminance(colours[ground]), luminance(colours[ink])), reverse=True)
    assert (lighter + 0.05) / (darker + 0.05) >= 4.5


def test_a_night_without_anything_is_still_a_page(store_of: object, catalogue: SimpleNamespace, tmp_path: Path) -> None:
    empty = {table: [] for table in whole_night()}
    text = run(store_of(empty), catalogue, AS_OF, tmp_path).read_text("utf-8")  # type: ignore[operator]
    assert "Nothing to buy tonight." in text
    assert "Nothing worth asking tonight." in text
