"""What was called when, and why it changed: verdict and what it rests on -> call_history, kept for good.

A row is written on the day a call, a plan or an offer changed, with all that decides what changed next
time. Rows are never recomputed: chances must stay what they were on the day to be compared with what
arrived.
"""

from datetime import date

import polars as pl

from triage.catalogue import Catalogue
from triage.store import Connection, frame, pieces, registered
from triage.verdict.because import because

# An offer that moves by less than this share, or less than a whole unit, is the same to a buyer (our judgement).
SEEN_SHARE, SEEN_MINOR = 0.05, 100
# Listings whose calls are compared at once: all that was heard and believed of them stands side by side.
LISTINGS_AT_ONCE = 400_000

LAST = """
CREATE OR REPLACE TEMP TABLE last_call AS
SELECT *
FROM call_history
WHERE listing_id IN (SELECT listing_id FROM {of})
QUALIFY row_number() OVER (PARTITION BY listing_id, buyer ORDER BY place DESC) = 1
"""
# A night done again after later ones leaves the history alone: the past is not rewritten.
CHANGED = f"""
CREATE OR REPLACE TEMP TABLE changed_call AS
SELECT v.*, coalesce(h.place, 0) + 1 AS place
FROM verdict v
JOIN listing l ON l.listing_id = v.listing_id AND l.kind = 'pair'
LEFT JOIN last_call h ON h.listing_id = v.listing_id AND h.buyer = v.buyer
WHERE v.listing_id IN (SELECT listing_id FROM {{of}})
  AND (h.as_of IS NULL OR h.as_of <= $1)
  AND (
    h.place IS NULL
    OR v.call <> h.call
    OR v.plan <> h.plan
    OR abs(coalesce(v.offer_minor, 0) - coalesce(h.offer_minor, 0))
      >= greatest({SEEN_MINOR}, {SEEN_SHARE} * coalesce(h.offer_minor, 0))
  )
"""
# Lists are sorted when they are whole: half the time of an aggregate that sorts.
HEARD = """
SELECT
  listing_id,
  list_sort(list(concat_ws(' ', said_by, sign, state, CASE WHEN hedged THEN 'hedged' END))) AS heard
FROM observation
WHERE counts AND listing_id IN (SELECT listing_id FROM changed_call)
GROUP BY listing_id
"""
HELD = """
SELECT listing_id, list_sort(list(DISTINCT rule_id)) AS held
FROM finding_fired
WHERE place = 1 AND listing_id IN (SELECT listing_id FROM changed_call)
GROUP BY listing_id
"""
BELIEVED = """
SELECT p.listing_id, b.buyer, map_from_entries(list_sort(list((p.part, p.p_unfit)))) AS p_unfit
FROM posterior p
JOIN buyer_row b ON b.horizon_years = p.horizon_years AND b.climate = p.climate
WHERE p.listing_id IN (SELECT listing_id FROM changed_call)
GROUP BY p.listing_id, b.buyer
"""
FRESH = f"""
CREATE OR REPLACE TEMP TABLE fresh_call AS
SELECT
  c.listing_id,
  c.buyer,
  c.place,
  $1::DATE AS as_of,
  c.call,
  c.plan,
  c.offer_minor,
  c.surplus_minor,
  c.landed_minor,
  c.value_minor,
  c.currency,
  c.p_fits,
  c.p_wearable,
  c.p_after_plan,
  believed.p_unfit,
  c.weak_part,
  c.reason,
  l.price_minor,
  l.currency AS price_currency,
  l.price_base_minor,
  l.shipping_minor,
  m.construction_id,
  md5((l.title, l.body, l.named, l.condition, l.size_text, l.stated_year_lo, l.stated_year_hi, l.stated_year_kind,
    l.photo_count, l.seller_kind, l.ships_from, l.price_kind)::VARCHAR) AS text_md5,
  coalesce(heard.heard, []) AS heard,
  coalesce(held.held, []) AS held,
  $2 AS rules_sha256,
  b.buyer_sha256
FROM changed_call c
JOIN listing l USING (listing_id)
JOIN buyer_row b ON b.buyer = c.buyer
LEFT JOIN match m ON m.listing_id = c.listing_id AND m.place = 1
LEFT JOIN ({HEARD}) heard ON heard.listing_id = c.listing_id
LEFT JOIN ({HELD}) held ON held.listing_id = c.listing_id
LEFT JOIN ({BELIEVED}) believed ON believed.listing_id = c.listing_id AND believed.buyer = c.buyer
"""
FIRST = """
INSERT INTO call_history BY NAME
SELECT *, 'first weighed' AS because
FROM fresh_call
WHERE place = 1
ORDER BY listing_id, buyer
"""
BOTH = """
SELECT f.* EXCLUDE (p_unfit), {was}
FROM fresh_call f
JOIN last_call h USING (listing_id, buyer)
ORDER BY f.listing_id, f.buyer
"""
COMPARED = (
    "as_of", "price_minor", "price_currency", "price_base_minor", "shipping_minor", "landed_minor", "value_minor",
    "construction_id", "text_md5", "heard", "held", "rules_sha256", "buyer_sha256",
)  # fmt: skip
WHY_HELD = """
SELECT listing_id, rule_id, any_value(because ORDER BY part) AS why
FROM finding_fired
WHERE place = 1 AND listing_id IN (SELECT listing_id FROM fresh_call WHERE place > 1)
GROUP BY listing_id, rule_id
"""
LATER = """
INSERT INTO call_history BY NAME
SELECT f.*, reasoned.because
FROM fresh_call f
JOIN reasoned USING (listing_id, buyer)
ORDER BY f.listing_id, f.buyer
"""


def record(store: Connection, catalogue: Catalogue, as_of: date) -> None:
    """Append the calls on the listings in ``todo`` that differ from the last ones; the same again appends none."""
    rows = [(b.id, b.horizon_years, b.climate, b.sha256) for b in catalogue.buyers.values()]
    columns = {"buyer": pl.String, "horizon_years": pl.Float64, "climate": pl.String, "buyer_sha256": pl.String}
    with registered(store, "buyer_row", pl.DataFrame(rows, schema=columns, orient="row")):
        for of in pieces(store, LISTINGS_AT_ONCE):
            store.execute(LAST.format(of=of))
            store.execute(CHANGED.format(of=of), [as_of])
            store.execute(FRESH, [as_of, catalogue.sha256_without_buyers])
            store.execute(FIRST)
            both = frame(store, BOTH.format(was=", ".join(f"h.{name} AS {name}_was" for name in COMPARED)))
            if both.height:
                told = because(both, catalogue.signs, frame(store, WHY_HELD), catalogue.words.money.decimals)
                with registered(store, "reasoned", told):
                    store.execute(LATER)
    for table in ("last_call", "changed_call", "fresh_call"):
        store.execute(f"DROP TABLE {table}")
