"""The README's pictures of the page at home, from the demo: ``python -m tests.docs.desk_pictures CHROMIUM``.

CHROMIUM is the path of a Chromium or Chrome binary. One pair is answered and looked at first, so that the pictures
show what changed.
"""

import sys
import tempfile
from datetime import date
from pathlib import Path

from playwright.sync_api import Page, sync_playwright

from tests.desk.random_requests import TOKEN, serving
from triage import batch, catalogue
from triage.desk.tonight import Tonight
from triage.store import open_store
from triage.writeup.ticket import anchor

ROOT = Path(__file__).parent.parent.parent
AS_OF = date(2026, 11, 25)
ASKED = "SELECT listing_id FROM question WHERE sign = 'midsole_springy' ORDER BY gain_minor DESC, listing_id LIMIT 1"
REPLY = "Hab mit dem Daumen gedrückt: die Zwischensohle federt sofort zurück, keine Risse."


def take(page: Page, place: str, picture: Path) -> None:
    """Answer the pair of a page, look at its bottom, paste a further reply, and write a picture of the page's top."""
    page.goto(place)
    page.get_by_label("The seller’s reply").fill(REPLY)
    with page.expect_navigation():
        page.get_by_role("button", name="Save the answer").click()
    page.get_by_label("The seller’s reply").fill(REPLY)
    page.locator("#reading mark").first.wait_for()
    page.locator("h1").click()
    page.screenshot(path=picture)


def main(browser: str) -> None:
    """Write ``reports/desk.png`` and ``reports/desk-narrow.png``."""
    known = catalogue.load(ROOT / "rules")
    with tempfile.TemporaryDirectory() as folder:
        store = Path(folder, "demo.duckdb")
        with open_store(store) as connection:
            batch.nightly(connection, known, [ROOT / "demo_feeds"], AS_OF, Path(folder, "reports"))
            listing = connection.execute(ASKED).fetchall()[0][0]
        with serving(Tonight(store, known, lambda: AS_OF)) as port, sync_playwright() as playwright:
            chromium = playwright.chromium.launch(executable_path=browser, args=["--no-sandbox", "--disable-gpu"])
            for name, width, height in (("desk.png", 1280, 1500), ("desk-narrow.png", 390, 1500)):
                page = chromium.new_page(viewport={"width": width, "height": height})
                page.goto(f"http://127.0.0.1:{port}/start?token={TOKEN}")
                take(page, f"http://127.0.0.1:{port}/pair/{anchor(listing)}", ROOT / "reports" / name)
            chromium.close()


if __name__ == "__main__":
    main(sys.argv[1])
