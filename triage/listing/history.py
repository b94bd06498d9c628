"""Sightings and what follows from them: first and last night, the fields of the latest night, what is gone.

Every statement depends on the set of sightings alone, so exports read in any order leave the same tables.
"""

import polars as pl

from triage.store import Connection, append, frame, registered

COLUMNS = (
    "listing_id", "lot_id", "source", "external_id", "url", "seller", "seller_kind", "title", "body", "named",
    "language", "price_kind", "price_minor", "currency", "price_base_minor", "rate_date", "shipping_minor",
    "shipping_base_minor", "premium_rate", "ships_from", "region",
    "size_text", "size_system", "foot_mm_lo", "foot_mm_hi", "condition", "condition_conflict", "stated_year_lo",
    "stated_year_hi", "stated_year_kind", "kind", "photo_count", "image_names", "text_cut", "status",
)  # fmt: skip

# Cells that another night may move while the offer reads the same; what else it tells, but for what is in its id.
DAILY = ("rate_date", "price_base_minor", "shipping_base_minor", "status")
TOLD = tuple(name for name in COLUMNS if name not in {"listing_id", "lot_id", "source", "external_id", *DAILY})

# A row without an id of its own, and a pair of a lot, are known by what does not change from night to night.
FRESH = """
  CREATE OR REPLACE TEMP TABLE fresh AS
  SELECT
    * EXCLUDE (row_id, part_text),
    row_id || coalesce('#' || left(sha256(part_text), 8), '') AS external_id,
    source || '/' || row_id || coalesce('#' || left(sha256(part_text), 8), '') AS listing_id,
    CASE WHEN part > 0 THEN source || '/' || row_id END AS lot_id
  FROM (
    SELECT
      nth,
      feed_id,
      row_no,
      part,
      part_text,
      seen_on,
      source,
      price_minor,
      currency,
      status,
      coalesce(external_id, 'h' || left(sha256(identity), 12)) AS row_id
    FROM fresh_rows
  )
"""

NEW_SIGHTINGS = """
  INSERT INTO sighting (listing_id, feed_id, row_no, part, seen_on, price_minor, currency, status, first)
  SELECT
    listing_id,
    feed_id,
    row_no,
    part,
    seen_on,
    price_minor,
    currency,
    status,
    FALSE
  FROM fresh
  ORDER BY feed_id, row_no, part
"""

# The span of nights of every listing that was touched, with its first and its latest sighting.
SPANS = """
  CREATE OR REPLACE TEMP TABLE span AS
  SELECT
    listing_id,
    min(seen_on) AS first_seen,
    max(seen_on) AS last_seen,
    min((seen_on, feed_id, row_no)) AS first_row,
    max((seen_on, feed_id, row_no)) AS last_row
  FROM sighting
  WHERE listing_id IN (SELECT listing_id FROM fresh)
  GROUP BY listing_id
"""

FIRST_SIGHTINGS = """
  UPDATE sighting
  SET first = ((sighting.seen_on, sighting.feed_id, sighting.row_no) = span.first_row)
  FROM span
  WHERE span.listing_id = sighting.listing_id
    AND sighting.first <> ((sighting.seen_on, sighting.feed_id, sighting.row_no) = span.first_row)
"""

LATEST = """
  CREATE OR REPLACE TEMP TABLE latest AS
  SELECT
    fresh.listing_id,
    fresh.nth
  FROM fresh
  JOIN span ON span.listing_id = fresh.listing_id AND (fresh.seen_on, fresh.feed_id, fresh.row_no) = span.last_row
"""

# What an offer shows again as it did is most of a usual night. Rows that go and come cost the store a hundred times
# what a cell written over does, so only what is new or reads otherwise is written.
OTHER = f"""
  CREATE OR REPLACE TEMP TABLE other AS
  WITH
    known AS MATERIALIZED (
      SELECT
        latest.*,
        listing.rowid AS stored
      FROM latest
      JOIN listing ON listing.listing_id = latest.listing_id
    ),
    same AS (
      SELECT known.listing_id
      FROM known
      JOIN (SELECT nth, {", ".join(TOLD)} FROM fresh_rows) AS cells USING (nth)
      JOIN (
        SELECT rowid AS stored, {", ".join(TOLD)} FROM listing WHERE rowid IN (SELECT stored FROM known)
      ) AS shown USING (stored)
      WHERE {" AND ".join(f"cells.{name} IS NOT DISTINCT FROM shown.{name}" for name in TOLD)}
    )
  SELECT *
  FROM latest
  ANTI JOIN same ON same.listing_id = latest.listing_id
"""

REPLACED = "DELETE FROM listing WHERE listing_id IN (SELECT listing_id FROM other)"

# What a text hashes to is kept beside it.
OUTDATED_KEYS = "DELETE FROM twin_key WHERE listing_id IN (SELECT listing_id FROM other)"

# Where in the rows the listings to write stand, and what else is known of them.
WRITTEN = """
  SELECT
    other.nth,
    listing_id,
    fresh.lot_id,
    fresh.external_id,
    span.first_seen,
    span.last_seen
  FROM other
  JOIN fresh USING (listing_id, nth)
  JOIN span USING (listing_id)
  ORDER BY listing_id
"""

OF_THE_DAY = f"""
  UPDATE listing
  SET {", ".join(f"{name} = cells.{name}" for name in DAILY)}
  FROM (SELECT * FROM latest ANTI JOIN other ON other.listing_id = latest.listing_id) AS shown
  JOIN (SELECT nth, {", ".join(DAILY)} FROM fresh_rows) AS cells USING (nth)
  WHERE shown.listing_id = listing.listing_id
    AND ({" OR ".join(f"listing.{name} IS DISTINCT FROM cells.{name}" for name in DAILY)})
"""

NIGHTS = """
  UPDATE listing
  SET
    first_seen = span.first_seen,
    last_seen = span.last_seen
  FROM span
  WHERE span.listing_id = listing.listing_id
    AND (listing.first_seen <> span.first_seen OR listing.last_seen <> span.last_seen)
"""

# Only a source whose exports are whole can show that something is missing from them.
GONE = """
  UPDATE listing
  SET status = 'gone'
  FROM (
    SELECT
      feed.source,
      max(feed.seen_on) AS seen_on
    FROM feed
    WHERE json_extract_string(feed.settings, '/snapshot') = 'true'
      AND EXISTS (FROM sighting WHERE sighting.feed_id = feed.feed_id)
      AND feed.source IN (SELECT source FROM fresh)
    GROUP BY feed.source
  ) AS night
  WHERE night.source = listing.source
    AND listing.status = 'open'
    AND listing.last_seen < night.seen_on
"""

# A feed's ledger line counts all its refused rows; stage 1 has counted its own.
ROWS_REJECTED = """
  UPDATE feed SET rows_rejected = refused.total
  FROM (SELECT feed_id, count(DISTINCT row_no) AS total FROM reject WHERE scope = 'row' GROUP BY feed_id) AS refused
  WHERE refused.feed_id = feed.feed_id AND feed.rows_rejected <> refused.total
"""


def record(store: Connection, rows: pl.DataFrame, refusals: pl.DataFrame) -> int:
    """Write the rows of new exports: rejects, sightings, and listings as their latest sighting shows them.

    Args:
        store: Open store.
        rows: Frame of ``normalise.normalise``.
        refusals: Refusals of ``normalise.normalise``.

    Returns:
        How many sightings there are.
    """
    append(store, "reject", refusals.with_columns(stage=pl.lit("listing")).sort("feed_id", "row_no", "field"))
    store.execute(ROWS_REJECTED)
    if rows.is_empty():
        return 0
    rows = rows.with_row_index("nth")
    with registered(store, "fresh_rows", rows):
        for statement in (FRESH, NEW_SIGHTINGS, SPANS, FIRST_SIGHTINGS, LATEST, OTHER, REPLACED, OUTDATED_KEYS):
            store.execute(statement)
        # Put together and in order here: the store would sort the texts themselves, at three times the cost.
        written = frame(store, WRITTEN)
        cells = rows[written["nth"]].with_columns(written.drop("nth"))
        append(store, "listing", cells.select(*COLUMNS, "first_seen", "last_seen"))
        for statement in (OF_THE_DAY, NIGHTS, GONE):
            store.execute(statement)
    return rows.height
