"""Exports read in any order, at once or one by one, leave the same tables."""

import json
from datetime import date, timedelta
from typing import Any

import polars as pl
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from triage.catalogue.words import Words
from triage.listing import run
from triage.listing.cells import FIELDS
from triage.store import Connection, append, connect, frame

NIGHT = date(2026, 11, 25)
LOTS = ["Torquellan 43 80 €, Halvorett 42 120 €", "Halvorett 42 110 €, Brannhelm 44 70 €", "Alles zusammen 150 €"]
TITLES = [
    "Konvolut Schuhe",
    "2 Paar Torquellan, je 60 €",
    "Pellavane Morrivelle 180 Gr. 43 1991",
    "Ostrevik Holmkrag 44 getragen",
    "Zephrune 1984 neu T42",
    " ",
]
TABLES = ("listing", "sighting", "reject", "twin")

row = st.fixed_dictionaries(
    {
        "external_id": st.sampled_from(["A1", "A2", "A3", None]),
        "seller": st.sampled_from(["kellerfund", "dachboden"]),
        "title": st.sampled_from(TITLES),
        "body": st.sampled_from(["Nie getragen, mit Karton.", "Nur anprobiert.", None, *LOTS]),
        "price": st.sampled_from(["180,00 €", "150 €", "40-60", "$99", None]),
        "status": st.sampled_from(["open", "verkauft", None]),
    }
)
exports = st.lists(
    st.tuples(
        st.integers(0, 3),
        st.sampled_from(["attic board", "ridge club"]),
        st.booleans(),
        st.lists(row, min_size=1, max_size=4),
    ),
    min_size=1,
    max_size=5,
)
Export = tuple[int, str, bool, list[dict[str, Any]]]


def put(store: Connection, number: int, export: Export) -> None:
    """Write one export as ingest would leave it; its id depends on itself, not on when it is read."""
    back, source, snapshot, rows = export
    feed = {
        "feed_id": f"feed{number}",
        "path": f"feed{number}",
        "sha256": f"feed{number}",
        "source": source,
        "mapping": json.dumps({field: field for field in FIELDS}),
        "settings": json.dumps({"currency": "EUR", "country": "DE", "decimal": ",", "snapshot": snapshot}),
        "seen_on": NIGHT - timedelta(days=back),
        "rows_read": len(rows),
        "rows_rejected": 0,
    }
    append(store, "feed", pl.DataFrame([feed]))
    cells = [json.dumps(cells, ensure_ascii=False) for cells in rows]
    append(
        store, "raw_row", pl.DataFrame({"feed_id": feed["feed_id"], "row_no": range(1, len(rows) + 1), "cells": cells})
    )


def tables_after(words: Words, exports: list[Export], order: list[int], at_once: bool) -> list[pl.DataFrame]:
    store = connect()
    for number in order:
        put(store, number, exports[number])
        if not at_once:
            run(store, words, NIGHT)
    run(store, words, NIGHT)
    found = [frame(store, f"FROM {table} ORDER BY ALL") for table in TABLES]
    store.close()
    return found


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(exports=exports, data=st.data(), at_once=st.booleans())
def test_exports_read_in_any_order_leave_the_same_tables(
    words: Words, exports: list[Export], data: st.DataObject, at_once: bool
) -> None:
    order = data.draw(st.permutations(range(len(exports))))
    plain = tables_after(words, exports, list(range(len(exports))), at_once=True)
    shuffled = tables_after(words, exports, order, at_once)
    for table, one, other in zip(TABLES, plain, shuffled, strict=True):
        assert one.equals(other), table


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(exports=exports)
def test_every_row_is_accounted_for_exactly_once(words: Words, exports: list[Export]) -> None:
    store = connect()
    for number, export in enumerate(exports):
        put(store, number, export)
    run(store, words, NIGHT)
    sum_of = """
      SELECT
        raw_row.feed_id,
        raw_row.row_no,
        (SELECT count(*) FROM sighting AS s
         WHERE s.feed_id = raw_row.feed_id AND s.row_no = raw_row.row_no AND s.part = 0)
        + (SELECT count(*) FROM reject AS r
           WHERE r.feed_id = raw_row.feed_id AND r.row_no = raw_row.row_no AND r.scope = 'row') AS ends
      FROM raw_row
    """
    assert set(frame(store, sum_of)["ends"]) == {1}
    firsts = frame(store, "SELECT listing_id, count(*) FILTER (WHERE first) AS n FROM sighting GROUP BY listing_id")
    assert set(firsts["n"]) <= {1}
    store.close()
