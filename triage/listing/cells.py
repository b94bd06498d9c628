"""Cells of an export to listing fields, by the mapping and the settings of its feed."""

import json
from collections.abc import Sequence
from typing import Any

import polars as pl

from triage.store import Connection, frame

FIELDS = (
    "external_id", "url", "seller", "seller_kind", "title", "body", "price", "currency", "price_kind", "shipping",
    "premium", "ships_from", "size", "size_system", "condition", "year", "photo_count", "images", "language", "status",
    "category", "listed_on", "style_number", "maker", "model", "colour",
)  # fmt: skip
SETTINGS = ("currency", "country", "language", "decimal", "date_order")

NEW_FEEDS = """
  SELECT
    feed_id,
    source,
    seen_on,
    mapping,
    settings
  FROM feed
  WHERE source IS NOT NULL
    AND seen_on IS NOT NULL
    AND mapping IS NOT NULL
    {chosen}
    AND EXISTS (
      SELECT 1
      FROM raw_row
      WHERE raw_row.feed_id = feed.feed_id
        AND NOT EXISTS (FROM sighting WHERE sighting.feed_id = raw_row.feed_id AND sighting.row_no = raw_row.row_no)
        AND NOT EXISTS (
          FROM reject
          WHERE reject.feed_id = raw_row.feed_id AND reject.row_no = raw_row.row_no AND reject.scope = 'row'
        )
    )
  ORDER BY feed_id
"""

# One pass over the JSON of a row yields every field at once.
CELLS = """
  SELECT
    raw_row.row_no,
    json_extract_string(raw_row.cells, ?) AS cells
  FROM raw_row
  ANTI JOIN sighting
    ON sighting.feed_id = raw_row.feed_id AND sighting.row_no = raw_row.row_no
  ANTI JOIN (SELECT feed_id, row_no FROM reject WHERE scope = 'row') AS refused
    ON refused.feed_id = raw_row.feed_id AND refused.row_no = raw_row.row_no
  WHERE raw_row.feed_id = ?
  ORDER BY raw_row.row_no
"""


def new_feeds(store: Connection, feed_ids: Sequence[str] | None = None) -> pl.DataFrame:
    """Return the feeds with rows that are neither a sighting nor rejected yet, in the order of their ids.

    Args:
        feed_ids: The feeds to look at; all when none are named.
    """
    chosen = "" if feed_ids is None else "AND feed_id IN (SELECT unnest(?::VARCHAR[]))"
    return frame(store, NEW_FEEDS.format(chosen=chosen), [] if feed_ids is None else [list(feed_ids)])


def read_cells(store: Connection, feed: dict[str, Any]) -> pl.DataFrame:
    """Return the new rows of one feed, every listing field as text, NULL where the export has none or a blank.

    Args:
        store: Open store.
        feed: A row of ``new_feeds``.

    Returns:
        ``feed_id, row_no, source, seen_on``, one column a name in ``FIELDS`` and ``set_*`` for each feed setting.
    """
    mapping = {field: heading for field, heading in _object(feed["mapping"]).items() if field in FIELDS}
    settings = _object(feed["settings"])
    pointers = [json_pointer(str(heading)) for heading in mapping.values()] or ["/"]
    rows = frame(store, CELLS, [pointers, feed["feed_id"]])
    fields = [pl.col("cells").list.get(place, null_on_oob=True).alias(field) for place, field in enumerate(mapping)]
    missing = [pl.lit(None, pl.String).alias(field) for field in FIELDS if field not in mapping]
    known = [_setting(settings, name).alias(f"set_{name}") for name in SETTINGS]
    return (
        rows.select("row_no", *fields, *missing, *known)
        .with_columns(pl.col(FIELDS).str.strip_chars())
        .with_columns(pl.when(pl.col(FIELDS) != "").then(pl.col(FIELDS)))
        .with_columns(
            feed_id=pl.lit(feed["feed_id"]), source=pl.lit(feed["source"]), seen_on=pl.lit(feed["seen_on"], pl.Date)
        )
        .select("feed_id", "row_no", "source", "seen_on", *FIELDS, *(f"set_{name}" for name in SETTINGS))
    )


def json_pointer(heading: str) -> str:
    """Return the JSON pointer (RFC 6901) of a heading; headings may hold dots, quotes and slashes."""
    return "/" + heading.replace("~", "~0").replace("/", "~1")


def _object(text: str | None) -> dict[str, Any]:
    value = json.loads(text) if text else {}
    return value if isinstance(value, dict) else {}


def _setting(settings: dict[str, Any], name: str) -> pl.Expr:
    value = settings.get(name)
    return pl.lit(None if value in (None, "") else str(value), pl.String)
