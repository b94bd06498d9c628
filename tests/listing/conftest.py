import json
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from triage.catalogue.words import Words, load_words
from triage.listing.cells import FIELDS
from triage.store import Connection, append, connect

RULES = Path(__file__).parents[2] / "rules" / "words"
NIGHT = date(2026, 11, 25)


@pytest.fixture(scope="session")
def words() -> Words:
    problems: list = []
    loaded = load_words(RULES, problems)
    assert loaded is not None, problems
    return loaded


@pytest.fixture
def store() -> Connection:
    return connect()


Export = Callable[..., str]


@pytest.fixture
def export(store: Connection) -> Export:
    """Put one export into the store: rows keyed by listing field, as ingest would leave them."""

    def add(rows: list[dict[str, Any]], seen_on: date = NIGHT, source: str = "attic board", **settings: Any) -> str:
        feed_id = f"{source}-{seen_on}-{len(store.execute('SELECT feed_id FROM feed').fetchall())}"
        return put_export(store, feed_id, rows, seen_on, source, settings)

    return add


def put_export(
    store: Connection, feed_id: str, rows: list[dict[str, Any]], seen_on: date, source: str, settings: dict[str, Any]
) -> str:
    """Write ``feed`` and ``raw_row`` of one export whose headings are the listing fields themselves."""
    feed = {
        "feed_id": feed_id,
        "path": f"{feed_id}.csv",
        "sha256": feed_id,
        "reader": "csv",
        "source": source,
        "mapping": json.dumps({field: field for field in FIELDS}),
        "settings": json.dumps({"currency": "EUR", "country": "DE", "decimal": ",", "snapshot": True, **settings}),
        "seen_on": seen_on,
        "rows_read": len(rows),
        "rows_rejected": 0,
    }
    append(store, "feed", pl.DataFrame([feed]))
    cells = [json.dumps(row, ensure_ascii=False) for row in rows]
    append(store, "raw_row", pl.DataFrame({"feed_id": feed_id, "row_no": range(1, len(rows) + 1), "cells": cells}))
    return feed_id
