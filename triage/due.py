"""Which listings a night weighs: those that changed, or that something changed for, since they last were.

A pair is weighed by its own row, its sightings and relists, what was answered or confirmed, its seller's standing
sentences, the month, and the rules: where one of these is another, stages 3 to 7 do it anew. What is on offer is also
weighed by its price and those beside it, its weeks on offer and the buyers (stages 6 and 7), and by what pairs like it
are worth (the second half of stage 7). Each is kept as a hash in ``weighed``. What is sold or gone stays as it was
when last seen.
"""

from collections.abc import Sequence
from datetime import date

import polars as pl

from triage.catalogue import Catalogue
from triage.observation import OF_SELLERS
from triage.observation.habit import habitual
from triage.rules.facts import OFFERED
from triage.store import Connection, append, frame, registered
from triage.verdict.worth import pool_comparables

# Raised with every change of the program after which stages 3 to 7 write something else: then all is due once.
STAGES = 2
# What a pair asks is no matter of its age or of what was said. Rates are by the day, and move foreign prices.
PRICES = ("price_kind", "price_minor", "currency", "price_base_minor", "shipping_minor", "shipping_base_minor",
          "premium_rate")  # fmt: skip
# The last night and the number of nights mean nothing, and the rate's date no more than the price it gave.
NOT_WEIGHED = ("last_seen", "rate_date", *PRICES)
COLUMNS = """
SELECT column_name
FROM duckdb_columns()
WHERE database_name = current_database() AND schema_name = 'main' AND table_name = 'listing'
ORDER BY column_index
"""
INPUTS = f"""
CREATE OR REPLACE TEMP TABLE weighed_now AS
WITH
  said AS (SELECT listing_id, hash(list(a ORDER BY a.rowid)) AS inputs FROM answer a GROUP BY listing_id),
  named AS (SELECT listing_id, hash(list(c ORDER BY c.rowid)) AS inputs FROM confirmation c GROUP BY listing_id),
  again AS (
    SELECT listing_id, hash(list((twin_id, kind) ORDER BY twin_id)) AS twins FROM twin GROUP BY listing_id
  ),
  -- Shown once, a pair was never dearer than it is.
  seen AS (
    SELECT listing_id, currency, max(price_minor) AS dearest
    FROM sighting
    WHERE price_minor IS NOT NULL AND listing_id IN (SELECT listing_id FROM sighting WHERE NOT first AND {{which}})
    GROUP BY listing_id, currency
  )
SELECT
  n.*,
  -- Whatever is on offer is due where all of that is.
  (on_offer AND $3) OR w.inputs IS DISTINCT FROM n.inputs AS is_due,
  w.words IS DISTINCT FROM n.words AS is_reworded
FROM (
  SELECT
    listing_id,
    l.source,
    l.seller,
    l.status = 'open' AS on_offer,
    hash(l.source, l.seller, l.body) AS words,
    hash({", ".join(f"l.{name}" for name in PRICES)}, coalesce(seen.dearest, l.price_minor)) AS asked,
    hash(
      {{columns}}, date_trunc('month', CASE WHEN l.status = 'open' THEN $1 ELSE least(l.last_seen, $1) END),
      said.inputs, named.inputs, again.twins, CASE WHEN l.status <> 'open' THEN asked END, $2
    ) AS inputs
  FROM listing l
  LEFT JOIN said USING (listing_id)
  LEFT JOIN named USING (listing_id)
  LEFT JOIN again USING (listing_id)
  LEFT JOIN seen USING (listing_id, currency)
  WHERE {{which}}
) n
LEFT JOIN weighed w ON w.listing_id = n.listing_id
"""
DUE = "CREATE OR REPLACE TEMP TABLE todo AS SELECT listing_id FROM weighed_now WHERE is_due ORDER BY listing_id"
# What stands in most of a seller's texts says nothing of any one of them, so a new text may change the others. Sellers
# with other words than before, and with a listing that is not due by itself.
OTHER_WORDS = """
CREATE OR REPLACE TEMP TABLE reworded AS
SELECT DISTINCT n.source, n.seller
FROM weighed_now n
SEMI JOIN (SELECT source, seller FROM weighed_now WHERE is_reworded) r ON r.source = n.source AND r.seller = n.seller
WHERE NOT n.is_due
"""
OTHER_HABITS = """
INSERT INTO todo
SELECT n.listing_id
FROM weighed_now n
SEMI JOIN (
  SELECT source, seller
  FROM (
    (SELECT source, seller, sentence FROM habit SEMI JOIN reworded USING (source, seller) EXCEPT FROM habit_now)
    UNION ALL
    (FROM habit_now EXCEPT SELECT source, seller, sentence FROM habit)
  )
) h ON h.source = n.source AND h.seller = n.seller
ANTI JOIN todo t ON t.listing_id = n.listing_id
"""
IN_ORDER = "CREATE OR REPLACE TEMP TABLE todo AS SELECT DISTINCT listing_id FROM todo ORDER BY listing_id"
ON_OFFER = "CREATE OR REPLACE TEMP VIEW on_offer AS SELECT listing_id FROM listing WHERE status = 'open'"
BESIDE = f"""
CREATE OR REPLACE TEMP TABLE beside_now AS
SELECT l.listing_id, hash(market.beside, n.asked, (l.last_seen - l.first_seen) // 7, $1) AS beside
FROM listing l
JOIN weighed_now n ON n.listing_id = l.listing_id
LEFT JOIN (
  -- Sorted when whole, which takes half the time of an aggregate that sorts.
  SELECT c.listing_id, list_sort(list((c.place, o.median_minor, o.same_release_open))) AS beside
  FROM candidate c
  SEMI JOIN on_offer USING (listing_id)
  LEFT JOIN ({OFFERED}) o USING (construction_id)
  GROUP BY c.listing_id
) market ON market.listing_id = l.listing_id
WHERE l.status = 'open'
"""
WORTH = """
CREATE OR REPLACE TEMP TABLE worth_now AS
SELECT c.listing_id, hash(list(p.offers ORDER BY c.place)) AS worth
FROM candidate c
SEMI JOIN on_offer USING (listing_id)
LEFT JOIN (
  SELECT construction_id, hash(list(pool ORDER BY same_release, nth)) AS offers FROM pool GROUP BY construction_id
) p USING (construction_id)
GROUP BY c.listing_id
"""
TOUCHED = """
INSERT INTO todo
SELECT n.listing_id
FROM {now}_now n
LEFT JOIN weighed w ON w.listing_id = n.listing_id
ANTI JOIN todo t ON t.listing_id = n.listing_id
WHERE w.{now} IS DISTINCT FROM n.{now}
"""
KEPT = """
INSERT INTO weighed
SELECT n.listing_id, n.words, n.inputs, coalesce(b.beside, 0), coalesce(v.worth, 0)
FROM weighed_now n
SEMI JOIN todo USING (listing_id)
LEFT JOIN beside_now b ON b.listing_id = n.listing_id
LEFT JOIN worth_now v ON v.listing_id = n.listing_id
WHERE NOT EXISTS (FROM call_history WHERE as_of > $1)
ORDER BY n.listing_id
"""


def set_todo(store: Connection, listings: Sequence[str] | None) -> None:
    """Fill ``todo``: the listings to work on, all when none are named."""
    store.execute("CREATE OR REPLACE TEMP TABLE todo (listing_id VARCHAR)")
    if listings is None:
        store.execute("INSERT INTO todo SELECT listing_id FROM listing ORDER BY listing_id")
    else:
        append(store, "todo", pl.DataFrame({"listing_id": list(listings)}, schema={"listing_id": pl.String}))


def fill(
    store: Connection, catalogue: Catalogue, as_of: date, listings: Sequence[str] | None = None, whole: bool = False
) -> None:
    """Fill ``todo``, the listings to work on: the named ones, or those that changed.

    Args:
        whole: Whatever is on offer is due.
    """
    which = "TRUE"
    if listings is not None:
        set_todo(store, listings)
        which = "listing_id IN (SELECT listing_id FROM todo)"
    columns = [name for (name,) in store.execute(COLUMNS).fetchall() if name not in NOT_WEIGHED]
    rules = f"{STAGES} {catalogue.sha256_without_buyers} {catalogue.outlooks}"
    hashed = ", ".join(f"l.{name}" for name in columns)
    store.execute(INPUTS.format(columns=hashed, which=which), [as_of, rules, whole])
    if listings is not None:
        return
    store.execute(DUE)
    store.execute(OTHER_WORDS)
    habits = habitual(frame(store, OF_SELLERS.format(of="reworded")))
    with registered(store, "habit_now", habits):
        _widen(store, OTHER_HABITS)


def look_beside(store: Connection, catalogue: Catalogue, as_of: date, widen: bool) -> None:
    """Note what is on offer beside each pair on offer; releases must be found before.

    Args:
        widen: Add to ``todo`` the pairs for which that changed.
    """
    routes = [route.id for route in catalogue.costs.routes if route.valid_on(as_of)]
    store.execute(ON_OFFER)
    store.execute(BESIDE, [f"{sorted(catalogue.buyers.items())} {routes}"])
    if widen:
        _widen(store, TOUCHED.format(now="beside"))


def look_at_worth(store: Connection, catalogue: Catalogue, widen: bool) -> None:
    """Gather comparable offers, and note them; soundness must be written before.

    Args:
        widen: Look at all pairs on offer, and add to ``todo`` those for which they changed.
    """
    pool_comparables(store, catalogue.values, "on_offer" if widen else "todo")
    store.execute(WORTH)
    if widen:
        _widen(store, TOUCHED.format(now="worth"))


def _widen(store: Connection, more: str) -> None:
    """Add to ``todo`` what an INSERT finds; it stays in the order of the ids."""
    store.execute(more)
    store.execute(IN_ORDER)


def keep(store: Connection, as_of: date) -> None:
    """Note by what the listings in ``todo`` were weighed.

    A night done again after later ones tells the history nothing, so what it weighed stays due for the next one.
    """
    store.execute("DELETE FROM weighed WHERE listing_id IN (SELECT listing_id FROM todo)")
    store.execute(KEPT, [as_of])
    for table in ("weighed_now", "beside_now", "worth_now"):
        store.execute(f"DROP TABLE {table}")
