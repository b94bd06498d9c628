"""The report of a large night: how long it takes to write, how large its page is, how long Chromium takes to open it.

    python benchmarks/report_page.py [LISTINGS] [CHROMIUM]

The listings are the demo's, over and over, each time with its own id and a price up to a fifth higher or lower; a third
of them were on offer the night before at another price. Everything is seeded.
"""

import json
import random
import sys
import tempfile
import time
from datetime import date
from pathlib import Path

from playwright.sync_api import sync_playwright

from triage import batch, catalogue, store, writeup

ROOT = Path(__file__).parent.parent
AS_OF = date(2026, 11, 25)
OPENED = """() => {
  const [visit] = performance.getEntriesByType("navigation");
  const paint = performance.getEntriesByName("first-contentful-paint")[0];
  return [visit.loadEventEnd, paint ? paint.startTime : NaN];
}"""
COLUMNS = "listing_id, title, body, price_minor, currency, shipping_minor, size_text, seller, ships_from, url, language"


def demo_listings(place: Path) -> list[dict[str, object]]:
    """Return the demo's listings, as stage 2 has them."""
    with store.open_store(place / "demo.duckdb") as connection:
        batch.nightly(connection, catalogue.load(ROOT / "rules"), [ROOT / "demo_feeds"], AS_OF, place / "demo")
        rows = store.frame(connection, f"SELECT {COLUMNS} FROM listing WHERE price_minor > 0 ORDER BY listing_id")
    return rows.to_dicts()


def write_feeds(place: Path, listings: list[dict[str, object]], count: int) -> Path:
    """Write two nights of exports and return their folder."""
    rng = random.Random(7)
    nights: dict[str, list[str]] = {"2026-11-24": [], "2026-11-25": []}
    for number in range(count):
        one = listings[number % len(listings)]
        digits = 1 if one["currency"] == "JPY" else 100
        row = {
            "id": f"L{number}", "title": one["title"], "description": one["body"], "currency": one["currency"],
            "shipping": (one["shipping_minor"] or 0) / digits, "size": one["size_text"], "language": one["language"],
            "seller": f"{one['seller']} {number % 997}", "ships from": one["ships_from"], "url": one["url"],
        }  # fmt: skip
        for night, lines in nights.items():
            if night == "2026-11-25" or number % 3 == 0:
                price = round(int(str(one["price_minor"])) / digits * rng.uniform(0.8, 1.2))
                lines.append(json.dumps(row | {"price": price}, ensure_ascii=False))
    for night, lines in nights.items():
        folder = place / "feeds" / night
        folder.mkdir(parents=True)
        (folder / "counter.jsonl").write_text("\n".join(lines) + "\n", "utf-8")
    return place / "feeds"


def opened(page: Path, browser: str) -> list[tuple[float, float]]:
    """Return milliseconds to the load event and to the first paint, five times, each in a fresh context."""
    found = []
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=browser, args=["--no-sandbox"])
        for _ in range(5):
            context = chromium.new_context(viewport={"width": 1200, "height": 900})
            tab = context.new_page()
            tab.goto(page.as_uri(), wait_until="load")
            tab.wait_for_timeout(500)
            found.append(tuple(tab.evaluate(OPENED)))
            context.close()
        chromium.close()
    return found


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
    browser = sys.argv[2] if len(sys.argv) > 2 else "/usr/bin/chromium"
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        feeds = write_feeds(place, demo_listings(place), count)
        known = catalogue.load(ROOT / "rules")
        with store.open_store(place / "t.duckdb") as connection:
            begun = time.perf_counter()
            night = batch.nightly(connection, known, [feeds], AS_OF, place / "reports")
            whole = time.perf_counter() - begun
            begun = time.perf_counter()
            writeup.run(connection, known, AS_OF, place / "reports")
            alone = time.perf_counter() - begun
            weighed = connection.execute("SELECT count(DISTINCT listing_id) FROM verdict").fetchall()[0][0]
        print(f"{weighed} listings weighed; the night {whole:.1f} s, of which the report {alone:.1f} s")
        for path in sorted(night.page.parent.iterdir()):
            print(f"  {path.name}: {path.stat().st_size / 1e6:.2f} MB")
        for load, paint in opened(night.page, browser):
            print(f"  opened: load {load:.0f} ms, first paint {paint:.0f} ms")
