"""The pages in a browser: nothing asked of anywhere, usable by everyone, filters and buttons that do what they say."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Locator, Page, Request, expect
from pypdf import PdfReader

from triage.writeup.ticket import anchor

COURT, RUNNER = anchor("attic board/a1"), anchor("lantern flea/j7")
EVERY = ("night", "empty", "night shortlist", "compare", "hostile", "sheet", "calibration")
SEEN = "node => node.checkVisibility({contentVisibilityAuto: false, visibilityProperty: true})"
Open = Callable[..., Page]


@pytest.fixture
def open_page(chromium: Browser, pages: dict[str, Path]) -> Iterator[Open]:
    """Return a function that opens a page and watches it; at the end nothing may have gone wrong or out."""
    contexts, trouble = [], []

    def opened(name: str, out: bool = False, **options: Any) -> Page:
        context = chromium.new_context(**options)
        contexts.append(context)
        page = context.new_page()

        def asked(request: Request) -> None:
            if request.url != pages[name].as_uri():
                trouble.append(f"request for {request.url[:200]}")

        if not out:
            context.on("request", asked)
        page.on("console", lambda message: trouble.append(f"console: {message.text}"))
        page.on("pageerror", lambda error: trouble.append(f"error: {error}"))
        page.on("dialog", lambda dialog: trouble.append(f"dialog: {dialog.message}"))
        context.route(lambda url: url.startswith("http"), lambda route: route.abort())
        page.goto(pages[name].as_uri())
        return page

    yield opened
    for context in contexts:
        context.close()
    assert trouble == []


def unfold(page: Page) -> None:
    page.evaluate("document.querySelectorAll('details').forEach(fold => { fold.open = true; })")
    # What is drawn only when scrolled to would go unchecked.
    page.add_style_tag(content=".ticket { content-visibility: visible !important }")


@pytest.mark.parametrize(
    ("name", "scheme"),
    [("night", "light"), ("night", "dark"), ("compare", "light"), ("compare", "dark"), ("night shortlist", "dark"),
     ("empty", "light"), ("sheet", "light"), ("sheet", "dark"), ("calibration", "light"), ("calibration", "dark")],
)  # fmt: skip
def test_axe_finds_nothing_on_any_page(open_page: Open, name: str, scheme: str) -> None:
    # axe-core 4 (MPL-2.0), shipped in axe-playwright-python: WCAG 2.x A and AA rules and its best practices.
    page = open_page(name, color_scheme=scheme)
    unfold(page)
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    assert len(found.response["passes"]) >= 15


def test_axe_finds_no_nameless_link_or_broken_order_among_hostile_texts(open_page: Open) -> None:
    page = open_page("hostile")
    unfold(page)
    rules = ["link-name", "button-name", "heading-order", "empty-heading", "duplicate-id-aria", "aria-valid-attr-value"]
    found = Axe().run(page, options={"runOnly": {"type": "rule", "values": rules}})
    assert found.violations_count == 0, found.generate_report()
    assert {passed["id"] for passed in found.response["passes"]} >= {"link-name", "heading-order", "button-name"}


@pytest.mark.parametrize("name", EVERY)
@pytest.mark.parametrize("width", [360, 1200])
def test_no_page_is_wider_than_its_window(open_page: Open, name: str, width: int) -> None:
    page = open_page(name, viewport={"width": width, "height": 800})
    unfold(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def shown(page: Page) -> set[str]:
    found = page.evaluate(f"[...document.querySelectorAll('[data-call]')].filter({SEEN}).map(node => node.id)")
    return set(found)


def set_field(page: Page, name: str, value: str) -> None:
    field = page.locator(f"#sieve [name={name}]")
    if field.evaluate("node => node.tagName") == "SELECT":
        field.select_option(value)
    else:
        field.fill(value)


BOXED, BOX, NEAR = (anchor(name) for name in ("harbour auction/h3", "harbour auction/h9", "attic board/a5"))


@pytest.mark.parametrize(
    ("fields", "left"),
    [
        ({"call": "buy"}, {COURT}),
        ({"call": "ask"}, {RUNNER}),
        ({"call": "near"}, {NEAR}),
        ({"call": "skip"}, {BOXED, BOX}),
        ({"buyer": "Otto"}, {COURT, BOXED}),
        ({"size": "27"}, {RUNNER}),
        ({"size": "27 cm"}, {RUNNER}),
        ({"size": "2"}, set()),
        ({"model": "lindravo"}, {COURT}),
        ({"model": "holmkrag"}, {NEAR}),
        ({"model": "Morrivelle 180"}, {RUNNER}),
        ({"price": "65"}, {RUNNER}),
        ({"price": "70", "call": "buy"}, {COURT}),
        ({"price": "0"}, set()),
    ],
)
def test_a_filter_leaves_what_it_says_and_tells_how_many(
    open_page: Open, fields: dict[str, str], left: set[str]
) -> None:
    page = open_page("night")
    every = {COURT, RUNNER, BOXED, BOX, NEAR}
    for name, value in fields.items():
        set_field(page, name, value)
    assert shown(page) == left
    expect(page.locator("#told")).to_have_text(f"{len(left)} of {len(every)} shown here")
    entries = page.evaluate(f"[...document.querySelectorAll('nav [data-for]')].filter({SEEN}).map(n => n.dataset.for)")
    assert set(entries) == left & {COURT, RUNNER}
    page.get_by_role("button", name="Everything again").click()
    expect(page.locator("#told")).to_have_text(f"all {len(every)} shown here")
    assert page.evaluate("document.querySelectorAll('[data-call][hidden]').length") == 0


@pytest.mark.parametrize(
    ("order", "key", "wanted"),
    [
        ("cheap", "price", lambda values: sorted(values, key=float)),
        ("dear", "price", lambda values: sorted(values, key=float, reverse=True)),
        ("model", "title", None),
        ("rank", "title", None),
    ],
)
def test_an_order_is_kept_within_each_section(open_page: Open, order: str, key: str, wanted: Any) -> None:
    page = open_page("hostile")
    read = f"[...document.querySelectorAll('#buys ~ .tickets > [data-call]')].map(node => node.dataset.{key})"
    ranked = page.evaluate(read)
    assert len(ranked) == 61
    set_field(page, "sort", "dear")
    set_field(page, "sort", order)
    found = page.evaluate(read)
    assert sorted(found) == sorted(ranked)
    if wanted is not None:
        assert found == wanted(ranked)
        assert found != ranked
    elif order == "rank":
        assert found == ranked
    else:  # the only one whose model is known comes first
        assert found[0].startswith("Baskets Brelloway Lindravo")
        assert found[1:] == [title for title in ranked if title != found[0]]


def test_the_copy_button_copies_the_message_and_says_so(open_page: Open) -> None:
    page = open_page("night", permissions=["clipboard-read", "clipboard-write"])
    message = page.locator(f"#{RUNNER} pre")
    button = page.locator(f"#{RUNNER} button")
    expect(button).to_be_visible()
    assert str(button.text_content()).startswith("Copy the message")
    button.click()
    expect(page.locator("#told")).to_have_text("Copied")
    assert button.text_content() == "Copied"
    assert page.evaluate("navigator.clipboard.readText()") == message.evaluate("node => node.textContent")
    assert "\n1. " in message.evaluate("node => node.textContent")


def test_where_the_clipboard_is_refused_the_message_is_selected(open_page: Open) -> None:
    page = open_page("night")
    page.evaluate(
        """() => { navigator.clipboard.writeText = () => Promise.reject(new Error("refused"));
                   document.execCommand = () => false; }"""
    )
    page.locator(f"#{RUNNER} button").click()
    expect(page.locator("#told")).to_have_text("Selected: copy it by hand")
    marked = page.evaluate("getSelection().toString()")
    assert marked.strip() == page.locator(f"#{RUNNER} pre").inner_text().strip()


def still(target: Locator) -> Locator:
    """Return a target once it stands still: tickets that come into view are drawn only then and move what follows.

    With scripts off the browser does not tell whether a click met what it was meant for.
    """
    target.scroll_into_view_if_needed()
    before, now = None, target.bounding_box()
    while before != now:
        target.page.wait_for_timeout(100)
        before, now = now, target.bounding_box()
    return target


def test_everything_is_there_to_read_with_scripts_off(open_page: Open) -> None:
    page = open_page("night", java_script_enabled=False, reduced_motion="reduce")
    for name in (COURT, RUNNER, NEAR):
        assert page.locator(f"#{name}").is_visible()
    assert not page.locator("#sieve").is_visible()
    assert page.locator("button:visible").count() == 0
    message = page.locator(f"#{RUNNER} pre")
    expect(message).to_be_visible()
    assert "すぐ戻りますか" in str(message.text_content())
    folded = page.locator(f"#{BOXED}")
    assert not folded.is_visible()
    # What a click unfolds is there when the browser has drawn it, not when the click is done.
    still(page.locator("summary", has_text="one line each")).click()
    expect(folded).to_be_visible()
    still(page.locator(f"#{COURT} summary", has_text="The row as exported")).click()
    expect(page.locator(f"#{COURT} .raw")).to_be_visible()
    assert "70,00" in page.locator(f"#{COURT} .raw").inner_text()


def test_the_page_is_used_by_keyboard_alone(open_page: Open) -> None:
    page = open_page("night")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    assert page.locator(".skip").bounding_box()["x"] >= 0  # type: ignore[index]
    page.keyboard.press("Enter")
    assert page.url.endswith("#buys")
    page.locator("#sieve [name=call]").focus()
    page.keyboard.type("buy")
    assert shown(page) == {COURT}
    summary = page.locator(f"#{COURT} summary").first
    summary.focus()
    page.keyboard.press("Enter")
    assert page.locator(f"#{COURT} details").first.evaluate("node => node.open")
    # Wherever the focus goes it can be seen.
    outlines = page.evaluate(
        """[...document.querySelectorAll('a, button, summary, input, select, [tabindex]')]
           .filter(node => node.checkVisibility()).map(node => {
             node.focus({focusVisible: true}); return getComputedStyle(node).outlineStyle; })"""
    )
    assert len(outlines) > 20
    assert "none" not in outlines


def test_photos_are_links_unless_they_are_asked_for(open_page: Open) -> None:
    page = open_page("hostile")
    assert page.locator("img").count() == 0
    links = page.locator('.photos a[href^="https://photos.example/"]')
    assert links.count() == 60
    assert {link.get_attribute("rel") for link in links.all()} == {"noopener noreferrer nofollow"}


def test_asked_for_photos_are_loaded_and_nothing_else_is(chromium: Browser, pages: dict[str, Path]) -> None:
    context = chromium.new_context()
    asked: list[str] = []
    context.route(lambda url: url.startswith("http"), lambda route: (asked.append(route.request.url), route.abort()))
    page = context.new_page()
    page.goto(pages["hostile photos"].as_uri())
    page.add_style_tag(content=".ticket { content-visibility: visible !important }")
    page.evaluate("document.querySelectorAll('img').forEach(img => { img.loading = 'eager'; })")
    page.wait_for_timeout(500)
    assert page.locator("img").count() >= 60
    assert len(asked) >= 60
    assert set(asked) <= set(page.evaluate("[...document.querySelectorAll('img')].map(image => image.src)"))
    context.close()


MARKS = """() => document.querySelectorAll('.ticket').forEach((ticket, at) => {
  ticket.style.position = 'relative';
  for (const [word, edge] of [['begin', 'top'], ['end', 'bottom']]) {
    const mark = document.createElement('span');
    mark.textContent = `${word}-${at}-`;
    mark.style.cssText = `position: absolute; ${edge}: 0; right: 0; font-size: 5px`;
    ticket.append(mark);
  }
})"""
# A4 less two margins of 12 mm, in CSS pixels (96 to the inch).
SHEET = {"width": int((210 - 24) / 25.4 * 96), "height": int((297 - 24) / 25.4 * 96)}


@pytest.mark.parametrize("name", ["night", "night shortlist", "hostile"])
def test_on_paper_no_ticket_is_cut(open_page: Open, name: str, tmp_path: Path) -> None:
    page = open_page(name, viewport=SHEET)
    page.emulate_media(media="print")
    assert page.evaluate("document.documentElement.scrollWidth") <= SHEET["width"]
    over = page.evaluate(
        """[...document.querySelectorAll('.ticket')].map(ticket => Math.max(...[...ticket.querySelectorAll('*')]
           .filter(node => node.checkVisibility() && !node.closest('.away'))
           .map(node => node.getBoundingClientRect().right)) - ticket.getBoundingClientRect().right)"""
    )
    assert max(over) <= 1, "something stands out at the right of a ticket"
    heights = page.evaluate("[...document.querySelectorAll('.ticket')].map(t => t.getBoundingClientRect().height)")
    whole = page.evaluate("[...document.querySelectorAll('.ticket')].map(t => t.innerText.replace(/\\\\s+/g, ''))")
    page.evaluate(MARKS)
    page.pdf(path=tmp_path / "night.pdf", format="A4", prefer_css_page_size=True)
    sheets = ["".join(sheet.extract_text().split()) for sheet in PdfReader(tmp_path / "night.pdf").pages]
    assert len(heights) == len(whole) >= 2
    for at, height in enumerate(heights):
        first = next(number for number, sheet in enumerate(sheets) if f"begin-{at}-" in sheet)
        last = next(number for number, sheet in enumerate(sheets) if f"end-{at}-" in sheet)
        if height < SHEET["height"] - 20:
            assert first == last, f"ticket {at} of {height:.0f} px would fit on one sheet"
    printed = "".join(sheets)
    for said in ("Offerupto", "Landed", "Whatitis"):
        assert printed.lower().count(said.lower()) >= len(heights)


def test_cautions_and_the_sellers_words_are_printed_in_full(open_page: Open, tmp_path: Path) -> None:
    page = open_page("night", viewport=SHEET)
    page.pdf(path=tmp_path / "night.pdf", format="A4")
    printed = "".join("".join(sheet.extract_text().split()) for sheet in PdfReader(tmp_path / "night.pdf").pages)
    for said in (
        "Dust mask and gloves: crumbling foam is an acidic dust.",
        "semelle cousue",
        "Estimate from age, material and what the seller wrote, not an inspection.",
        "https://attic-board.example/a/1",
        "sole transplant from a donor unit, EUR 80 to 220",
    ):
        assert "".join(said.split()) in printed
    assert "Everythingagain" not in printed


def test_an_inspection_sheet_is_one_sheet_of_paper(open_page: Open, tmp_path: Path) -> None:
    page = open_page("sheet", viewport=SHEET)
    page.pdf(path=tmp_path / "sheet.pdf", format="A4", prefer_css_page_size=True)
    (sheet,) = PdfReader(tmp_path / "sheet.pdf").pages
    printed = "".join(sheet.extract_text().split())
    for said in ("Only when all of it passed", "semelle cousue", "Time to complain", "No date known",
                 "Never rely on old protective footwear"):  # fmt: skip
        assert "".join(said.split()).lower() in printed.lower()
