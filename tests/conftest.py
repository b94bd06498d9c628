"""A store in memory that weighs listings written in a test, and a browser."""

import os
import shutil
from collections.abc import Callable, Iterator
from datetime import date

import polars as pl
import pytest
from playwright.sync_api import Browser, sync_playwright

from triage import batch, catalogue, store

AS_OF = date(2026, 11, 25)
# Nothing a browser does of itself may reach out either.
QUIET = ["--no-sandbox", "--disable-background-networking", "--disable-component-update", "--no-first-run"]


@pytest.fixture(scope="session")
def known() -> catalogue.Catalogue:
    """Return the rules that come along."""
    return catalogue.load()


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """Debian's Chromium, driven by Playwright, one for all; under CI its absence is a failure, never a skip."""
    place = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if place is None:
        told = "no chromium on PATH: .ci/run installs it, by hand it is 'apt-get install chromium'"
        if os.environ.get("CI"):
            pytest.fail(told)
        pytest.skip(told)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=place, args=QUIET)
        yield browser
        browser.close()


class Weighed:
    """A few listings that went through stages 3 to 7."""

    def __init__(self, connection: store.Connection) -> None:
        self.connection = connection

    def one(self, query: str, *values: object) -> tuple:
        """Return the only row of a query."""
        (row,) = self.connection.execute(query, list(values)).fetchall()
        return row

    def unfit(self, listing: str, part: str, horizon: float = 2.0) -> float:
        """Return what is believed of a part."""
        query = "SELECT p_unfit FROM posterior WHERE listing_id = ? AND part = ? AND horizon_years = ?"
        return self.one(query, listing, part, horizon)[0]

    def wearable(self, listing: str, buyer: str = "bench") -> float:
        """Return the chance of wearable."""
        return self.one("SELECT p_wearable FROM verdict WHERE listing_id = ? AND buyer = ?", listing, buyer)[0]

    def asked(self, listing: str, buyer: str = "bench") -> list[str]:
        """Return the signs and facts asked for, best first."""
        query = "SELECT coalesce(sign, fact) FROM question WHERE listing_id = ? AND buyer = ? ORDER BY place"
        return [row[0] for row in self.connection.execute(query, [listing, buyer]).fetchall()]


@pytest.fixture(scope="session")
def weigh(known) -> Callable[..., Weighed]:
    """Return a function that weighs listings given as id -> fields; title and body are what sellers write."""

    def weighed(as_of: date = AS_OF, **listings: dict) -> Weighed:
        connection = store.connect()
        plain = {
            "source": "test", "price_kind": "fixed", "price_minor": 5000, "currency": "EUR", "price_base_minor": 5000,
            "shipping_minor": 600, "shipping_base_minor": 600, "ships_from": "DE", "language": "en",
            "condition": "unknown", "kind": "pair", "photo_count": 8, "first_seen": as_of, "last_seen": as_of,
            "status": "open", "foot_mm_lo": 266.0, "foot_mm_hi": 270.0, "size_system": "EU", "size_text": "42",
        }  # fmt: skip
        rows = [{**plain, "listing_id": name, "external_id": name, **fields} for name, fields in listings.items()]
        for row in rows:
            stated = {name: value for name, value in row.items() if value is not None}
            store.append(connection, "listing", pl.DataFrame([stated], infer_schema_length=None))
        batch.weigh(connection, known, as_of)
        return Weighed(connection)

    return weighed
