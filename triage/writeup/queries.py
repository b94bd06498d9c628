"""What the write-up asks the store: constant queries, one frame each; ``frames`` runs them."""

from triage.store import rows_of

NIGHTS = """
SELECT DISTINCT seen_on
FROM feed
WHERE seen_on <= ?
ORDER BY seen_on DESC
LIMIT 2
"""

LAST_RUN = """
SELECT max(as_of) AS as_of
FROM run
WHERE as_of < ?
"""

# A row counts once: as the sighting that made a listing, as a further one, or as refused.
FEEDS = """
WITH seen AS (
  SELECT
    feed_id,
    count(*) FILTER (WHERE first) AS first_rows,
    count(*) FILTER (WHERE NOT first) AS further_rows
  FROM sighting
  WHERE part = 0
  GROUP BY feed_id
),
refused AS (
  SELECT
    feed_id,
    count(DISTINCT row_no) FILTER (WHERE scope = 'row') AS refused_rows,
    count(*) FILTER (WHERE scope = 'value') AS refused_values,
    bool_or(scope = 'file') AS refused_whole
  FROM reject
  GROUP BY feed_id
)
SELECT
  feed.feed_id,
  feed.path,
  feed.source,
  feed.reader,
  feed.seen_on,
  feed.rows_read,
  coalesce(seen.first_rows, 0) AS first_rows,
  coalesce(seen.further_rows, 0) AS further_rows,
  coalesce(refused.refused_rows, 0) AS refused_rows,
  coalesce(refused.refused_values, 0) AS refused_values,
  coalesce(refused.refused_whole, FALSE) AS refused_whole
FROM feed
LEFT JOIN seen USING (feed_id)
LEFT JOIN refused USING (feed_id)
WHERE feed.seen_on <= ? OR feed.seen_on IS NULL
ORDER BY feed.source NULLS LAST, feed.path, feed.feed_id
"""

REJECTS = """
SELECT
  reject.feed_id,
  feed.path,
  feed.seen_on,
  reject.row_no,
  reject.field,
  reject.scope,
  reject.value,
  reject.code,
  reject.hint
FROM reject
JOIN feed USING (feed_id)
WHERE feed.seen_on <= ? OR feed.seen_on IS NULL
ORDER BY feed.path, reject.row_no NULLS FIRST, reject.field, reject.code, reject.value
"""

LISTINGS = """
WITH night AS (
  SELECT source, list(DISTINCT seen_on ORDER BY seen_on DESC) AS nights
  FROM feed
  WHERE seen_on <= ? AND source IS NOT NULL
  GROUP BY source
),
shown AS MATERIALIZED (
  SELECT
    listing.rowid AS row,
    listing_id,
    night.nights[1] AS source_night,
    night.nights[2] AS source_night_before
  FROM listing
  LEFT JOIN night USING (source)
  WHERE {of}
)
SELECT
  -- A report shows no text but the title, and texts are most of a listing.
  listed.* EXCLUDE (row, body, named, image_names),
  shown.source_night,
  shown.source_night_before,
  likeliest.model
FROM shown
JOIN (SELECT rowid AS row, * FROM listing WHERE rowid IN (SELECT row FROM shown)) AS listed USING (row)
LEFT JOIN (
  SELECT first.listing_id, concat_ws(' ', construction.maker, construction.model) AS model
  FROM (SELECT * FROM match WHERE place = 1 AND listing_id IN (SELECT listing_id FROM shown)) AS first
  JOIN construction ON construction.model_id = first.construction_id
  WHERE NOT construction.generic
) AS likeliest ON likeliest.listing_id = listed.listing_id
"""
# A report tells of what is on offer, and of what left since the night before; a store keeps years of the rest.
OF_NIGHT = LISTINGS.format(of="status = 'open' OR last_seen >= coalesce(night.nights[2], night.nights[1])")

# Only the sightings that changed the price: the path a price took.
PATH = """
SELECT
  listing_id,
  seen_on,
  price_minor,
  currency
FROM sighting
WHERE seen_on <= ? AND price_minor IS NOT NULL AND {of}
WINDOW night AS (PARTITION BY listing_id ORDER BY seen_on, feed_id, row_no)
QUALIFY price_minor IS DISTINCT FROM lag(price_minor) OVER night
  OR currency IS DISTINCT FROM lag(currency) OVER night
ORDER BY listing_id, seen_on, feed_id, row_no
"""
PRICE_PATH = PATH.format(of="TRUE")
PATH_ON_OFFER = PATH.format(of="listing_id IN (SELECT listing_id FROM listing WHERE status = 'open')")

VERDICTS = """
SELECT *
FROM verdict
"""

MATCHES = f"""
SELECT
  match.listing_id,
  match.place,
  match.construction_id,
  match.level,
  match.probability,
  match.accepted,
  construction.maker,
  construction.model,
  construction.edition,
  construction.colourway,
  construction.category,
  construction.made_from,
  construction.made_to,
  construction.note,
  construction.generic
FROM ({rows_of("match", "shown")}) AS match
LEFT JOIN construction ON construction.model_id = match.construction_id
ORDER BY match.listing_id, match.place
"""

EVIDENCE = f"""
{rows_of("match_evidence", "shown")}
ORDER BY listing_id, construction_id, abs(weight) DESC, field, listing_value, table_value
"""

OBSERVATIONS = f"""
{rows_of("observation", "shown")}
ORDER BY listing_id, sign, said_by, counts DESC, start, quote
"""

# The likeliest release stands for the materials shown; the chances shown are mixed over all of them.
PROGNOSES = """
SELECT
  prognosis.listing_id,
  place,
  part,
  horizon_years,
  climate,
  material,
  mode,
  load_bearing,
  made_lo,
  made_hi,
  age_years,
  effective_years,
  p_unfit_lo,
  p_unfit,
  p_unfit_hi,
  basis
FROM prognosis
JOIN shown USING (listing_id)
ORDER BY listing_id, place, part, horizon_years, climate
"""

FINDINGS = """
SELECT *
FROM finding
WHERE listing_id IN (SELECT listing_id FROM shown)
ORDER BY listing_id, place, state, abs(decibans) DESC NULLS LAST, rule_id, part
"""

POSTERIORS = f"""
{rows_of("posterior", "shown")}
ORDER BY listing_id, horizon_years, climate, part
"""

PLANS = """
SELECT plan.*
FROM plan
JOIN shown USING (listing_id)
ORDER BY listing_id, buyer, probability DESC, plan
"""

QUESTIONS = """
SELECT question.*
FROM question
JOIN shown USING (listing_id)
ORDER BY listing_id, buyer, place
"""

SENSITIVITY = """
SELECT sensitivity.*, verdict.currency
FROM sensitivity
JOIN shown USING (listing_id)
JOIN verdict USING (listing_id, buyer)
ORDER BY listing_id, buyer, place
"""

TWINS = """
SELECT
  twin.listing_id,
  twin.twin_id,
  twin.kind,
  twin.probability,
  twin.why,
  other.title,
  other.source,
  other.status,
  other.last_seen,
  other.price_minor,
  other.currency
FROM twin
JOIN shown USING (listing_id)
LEFT JOIN listing AS other ON other.listing_id = twin.twin_id
ORDER BY twin.listing_id, twin.probability DESC, twin.twin_id
"""

RAW_ROWS = """
SELECT
  sighting.listing_id,
  feed.path,
  feed.mapping,
  sighting.row_no,
  sighting.seen_on,
  sighting.first,
  raw_row.cells
FROM sighting
JOIN shown USING (listing_id)
JOIN feed USING (feed_id)
LEFT JOIN raw_row ON raw_row.feed_id = sighting.feed_id AND raw_row.row_no = sighting.row_no
ORDER BY sighting.listing_id, sighting.seen_on, feed.path, sighting.row_no
"""

SOME_LISTINGS = """
SELECT listing.*
FROM listing
JOIN shown USING (listing_id)
ORDER BY listing_id
"""

LATEST_RUN = """
SELECT max(as_of) AS as_of
FROM run
"""

LISTING = """
SELECT *
FROM listing
WHERE listing_id = ?
"""

VERDICTS_ON = """
SELECT
  verdict.*,
  buyer_rank.of_call
FROM verdict
JOIN (
  SELECT buyer, call, count(*) AS of_call
  FROM verdict
  GROUP BY buyer, call
) AS buyer_rank USING (buyer, call)
WHERE listing_id = ?
ORDER BY buyer
"""

NEAREST_ID = """
SELECT listing_id
FROM listing
ORDER BY jaro_winkler_similarity(listing_id, ?) DESC, listing_id
LIMIT 1
"""
