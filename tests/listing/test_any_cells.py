"""Whatever stands in the cells of an export, every row ends as a listing, a sighting or a reject."""

from collections.abc import Callable
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from triage.catalogue.words import Words
from triage.listing import run
from triage.listing.cells import FIELDS
from triage.store import Connection, frame

Export = Callable[..., str]
FRAGMENTS = st.sampled_from(
    [
        "", " ", "0", "-1", "1e9", "9" * 40, "1.234,56 €", "$1,299", "¥9,800", "kr", "40-60", "EU 42", "US 10 W", "9½",
        "@US=10", "[", "[]", '["a","b"]', "{", "null", "NaN", "https://x.example/1", "javascript:1", "01.11.2026",
        "31.02.2026", "vor 3 Tagen", "999日前", "1991", "'91", "80s", "made 99/99", "new", "nie getragen", "<b>",
        "&#0;", "&#1114112;", "<script>", "Ã¶", "\ufffd", "\u202e", "\U0001f45f", "ｶﾞ", "¶", "№", "verkauft", "DE",
        "Deutschland", "??", "Konvolut", "2 Paar", "je 60 €", "A 80 €, B 120 €", "18 % Aufgeld", "1万2千円",
        "5 novembre", "IMG_20260914_183211.jpg",
    ]
)  # fmt: skip
CELL = st.one_of(st.none(), FRAGMENTS, st.text(max_size=30), st.lists(FRAGMENTS, max_size=4).map(" ".join))


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(rows=st.lists(st.fixed_dictionaries({field: CELL for field in FIELDS}), min_size=1, max_size=12), data=st.data())
def test_any_cells_end_as_listing_or_reject(
    rows: list[dict[str, Any]], data: st.DataObject, store: Connection, export: Export, words: Words
) -> None:
    decimal = data.draw(st.sampled_from([",", ".", None]))
    feed_id = export(rows, decimal=decimal, date_order=data.draw(st.sampled_from(["DMY", "MDY", "YMD", None])))
    run(store, words, frame(store, "SELECT max(seen_on) AS night FROM feed")["night"][0])
    ends = """
      SELECT
        (SELECT count(*) FROM sighting WHERE feed_id = ? AND part = 0)
        + (SELECT count(*) FROM reject WHERE feed_id = ? AND scope = 'row')
    """
    assert store.execute(ends, [feed_id, feed_id]).fetchall() == [(len(rows),)]
