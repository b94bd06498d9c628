"""A whole evening in a browser: look, answer, what if, buy, receive; with and without scripts, narrow and wide."""

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, Request, expect

from tests.desk.conftest import Served
from triage import journal
from triage.store import frame
from triage.writeup.ticket import anchor

Open = Callable[..., Page]
WAYS = [(390, True), (390, False), (1280, True), (1280, False)]


@pytest.fixture
def open_page(chromium: Browser, served: Served) -> Iterator[Open]:
    """Return a function that opens the start address; nothing may be asked of anywhere else, nothing may go wrong."""
    contexts, trouble = [], []

    def opened(**options: Any) -> Page:
        context = chromium.new_context(**options)
        contexts.append(context)

        def asked(request: Request) -> None:
            if not request.url.startswith((served.address, "data:")):
                trouble.append(f"request for {request.url[:200]}")

        def said(text: str) -> None:
            # A form that holds what can't be is answered so; the browser remarks on it.
            if "422 (Unprocessable Entity)" not in text:
                trouble.append(f"console: {text}")

        context.on("request", asked)
        page = context.new_page()
        page.on("console", lambda message: said(message.text))
        page.on("pageerror", lambda error: trouble.append(f"error: {error}"))
        page.on("dialog", lambda dialog: trouble.append(f"dialog: {dialog.message}"))
        page.goto(served.start)
        return page

    yield opened
    for context in contexts:
        context.close()
    assert trouble == []


def asked_pair(served: Served) -> str:
    """Return the best pair whose call hangs on the foam, and which has a midsole to look at."""
    with served.tonight.fresh() as memory:
        asks = frame(memory, "SELECT listing_id FROM question WHERE sign = 'midsole_springy' ORDER BY gain_minor DESC")
    return next(one for one in asks["listing_id"] if one in served.tonight.order)


def notes(served: Served) -> list[journal.Note]:
    return list(journal.read(served.tonight.store).notes)


@pytest.mark.parametrize(("width", "scripts"), WAYS)
def test_the_whole_evening(open_page: Open, served: Served, width: int, scripts: bool) -> None:
    page = open_page(viewport={"width": width, "height": 900}, java_script_enabled=scripts)
    expect(page.get_by_role("heading", level=1)).to_have_text("Tonight’s pairs")
    listing = asked_pair(served)
    page.locator(f"a[href='/pair/{anchor(listing)}']").click()
    before = page.locator(".headline").inner_text()
    page.wait_for_load_state()
    assert page.evaluate("document.documentElement.scrollWidth") <= width

    # What if it cost twice as much: the call is told, nothing is noted.
    decide = page.locator("form[action*='what-if']")
    decide.locator("[name=price]").fill("9000")
    if not scripts:
        decide.get_by_role("button", name="What if").click()
    expect(page.locator("#decided")).to_contain_text("If at EUR 9000")
    expect(page.locator("#decided")).to_contain_text("becomes skip")
    assert notes(served) == []

    # The reply is read with its words marked, one reading is corrected, and the call changes.
    reply = page.get_by_label("The seller’s reply")
    reply.fill("Habe gedrückt, die Zwischensohle federt sofort zurück. Keine Risse.")
    if not scripts:
        page.get_by_role("button", name="Read it first").click()
    expect(page.locator("#reading mark").first).to_be_visible()
    springs = page.locator("#reading fieldset", has_text="the foam springs back")
    expect(springs.get_by_label("yes")).to_be_checked()
    page.get_by_role("button", name="Save the answer").click()
    changed = page.locator(".changed")
    expect(changed).to_contain_text("the foam springs back")
    expect(changed).to_contain_text("midsole +")
    assert page.locator(".headline").inner_text() != before
    (note,) = notes(served)
    assert (note.kind, note.listing_id) == ("answer", listing)
    assert note.content["text"].startswith("Habe gedrückt")

    # The own look.
    question = page.locator("fieldset", has_text="Does the bottom shine like glass?")
    question.get_by_label("yes", exact=True).check()
    page.locator("fieldset", has_text="Are there cracks in the rubber?").get_by_label("not shown").check()
    page.get_by_role("button", name="Save the look").click()
    expect(page.locator(".changed")).to_contain_text("the outsole is glazed")
    expect(page.locator(".still").first).to_contain_text("Views to ask for: bottom of the sole")
    assert notes(served)[-1].content == {"signs": {"outsole_shiny": "yes", "outsole_cracked": "not shown"}}

    # One click each.
    page.get_by_role("button", name="Asked today").click()
    expect(page.locator(".path", has_text="Noted")).to_contain_text("asked 25 Nov")

    # Bought, arrived, looked at.
    page.get_by_label("Bought for").fill("72,50")
    page.get_by_role("button", name="Bought", exact=True).click()
    expect(page.locator(".kicker")).to_contain_text("Receipt sheet")
    expect(page.locator(".facts")).to_contain_text("bought 25 Nov 2026")
    expect(page.locator(".tests")).to_contain_text("the foam springs back")
    page.locator("fieldset", has_text="midsole").get_by_label("unfit", exact=True).check()
    page.get_by_label("Note on the midsole").fill("crumbs under the <b>insole</b>")
    page.get_by_role("button", name="Save what was found").click()
    expect(page.locator(".facts")).to_contain_text("arrived 25 Nov 2026")
    expect(page.locator("fieldset", has_text="midsole").get_by_label("unfit", exact=True)).to_be_checked()
    page.get_by_role("link", name="Parcels").click()
    expect(page.locator(".pairs")).to_contain_text("bought 25 Nov 2026 for EUR 72.50, arrived 25 Nov 2026")
    with served.tonight.fresh() as memory:
        found = memory.execute("SELECT listing_id, part, state, note FROM inspection").fetchall()
    assert found == [(listing, "midsole", "unfit", "crumbs under the <b>insole</b>")]
    assert [note.kind for note in notes(served)] == ["answer", "look", "asked", "bought", "received"]


def test_keys_alone_look_and_turn_pages(open_page: Open, served: Served) -> None:
    page = open_page(viewport={"width": 1280, "height": 900})
    for key, place in (
        ("j", "1 of"),
        ("ArrowRight", "2 of"),
        ("k", "1 of"),
        ("ArrowRight", "2 of"),
        ("ArrowLeft", "1 of"),
    ):
        page.keyboard.press(key)
        expect(page.locator(".near")).to_contain_text(place)
        page.wait_for_load_state()
    page.keyboard.press("y")
    page.keyboard.press("n")
    page.keyboard.press("s")
    page.keyboard.press("Enter")
    expect(page.locator(".changed")).to_be_visible()
    (note,) = notes(served)
    assert list(note.content["signs"].values()) == ["yes", "no", "not shown"]
    # What is typed is no key.
    page.get_by_label("The seller’s reply").press_sequentially("jkyns")
    expect(page.locator(".near")).to_contain_text("1 of")


SENT_TWICE = """async form => {
  const body = new URLSearchParams(new FormData(form));
  for (const _ of [1, 2]) await fetch(form.action, {method: "POST", body});
}"""


def test_going_back_a_double_click_and_a_second_tab_are_harmless(open_page: Open, served: Served) -> None:
    page = open_page()
    page.locator(".pairs a").first.click()
    first = page.url
    page.locator("form[action$='/no-reply']").evaluate(SENT_TWICE)
    assert [note.kind for note in notes(served)] == ["no_reply"]
    # The same page with another answer is another note: nothing said is lost.
    form = page.locator("form[action$='/look']")
    form.get_by_label("yes", exact=True).first.check()
    form.evaluate(SENT_TWICE)
    form.get_by_label("no", exact=True).first.check()
    form.evaluate(SENT_TWICE)
    assert [list(note.content["signs"].values()) for note in notes(served)[1:]] == [["yes"], ["no"]]
    # Another tab sees what this one noted, and so does the page one goes back to.
    other = page.context.new_page()
    other.goto(first)
    expect(other.locator("form[action$='/look'] input:checked").first).to_have_value("no")
    other.get_by_role("button", name="Asked today").click()
    expect(other.locator(".path", has_text="Noted")).to_contain_text("asked")
    other.wait_for_load_state()
    other.go_back()
    expect(other.locator(".path", has_text="Noted")).to_contain_text("asked")
    assert len(notes(served)) == 4


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_on_any_page(open_page: Open, served: Served, scheme: str) -> None:
    # axe-core 4 (MPL-2.0), shipped in axe-playwright-python: WCAG 2.x A and AA rules and its best practices.
    page = open_page(viewport={"width": 390, "height": 900}, color_scheme=scheme)
    listing = anchor(asked_pair(served))
    page.goto(f"{served.address}/pair/{listing}")
    page.get_by_role("button", name="Asked today").click()
    page.get_by_label("Bought for").fill("50")
    page.get_by_role("button", name="Bought", exact=True).click()
    places = ["/", f"/pair/{anchor(served.tonight.order[0])}", f"/pair/{listing}",
              f"/pair/{listing}/what-if?year=1", "/parcels", f"/parcels/{listing}", "/knowledge"]  # fmt: skip
    for place in places[:1] + places[2:] if scheme == "light" else places[1:2]:
        page.goto(served.address + place)
        page.evaluate("document.querySelectorAll('details').forEach(fold => { fold.open = true; })")
        # The guard lets no style in but the page's own, so what is drawn when scrolled to is made visible by hand.
        page.evaluate("for (const one of document.querySelectorAll('.ticket')) one.style.contentVisibility = 'visible'")
        found = Axe().run(page)
        assert found.violations_count == 0, f"{place}: {found.generate_report()}"
        assert page.evaluate("document.documentElement.scrollWidth") <= 390, place
