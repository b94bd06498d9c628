"""Which listings a night weighs: all that are on offer, and of the others those that changed since they last were.

A pair on offer grows older and its market moves, so it is weighed every night. What is sold or gone stays as it was
when last seen. It is weighed again only when something it was weighed by is another: its own row, its sightings and
relists, what was answered or confirmed, what its seller writes elsewhere, the rules, or the program itself.
"""

from collections.abc import Sequence
from datetime import date

import polars as pl

from triage import __version__
from triage.catalogue import Catalogue
from triage.store import Connection, append

# The last night and the number of nights mean nothing while a pair is on offer: it is weighed anyway.
INPUTS = """
CREATE OR REPLACE TEMP TABLE weighed_now AS
WITH
  one AS (SELECT * EXCLUDE (first_seen, last_seen) FROM listing),
  said AS (SELECT listing_id, hash(list(a ORDER BY a.rowid)) AS inputs FROM answer a GROUP BY listing_id),
  named AS (SELECT listing_id, hash(list(c ORDER BY c.rowid)) AS inputs FROM confirmation c GROUP BY listing_id),
  again AS (
    SELECT listing_id, count(*) AS relists
    FROM twin
    SEMI JOIN todo USING (listing_id)
    WHERE kind = 'relist'
    GROUP BY listing_id
  ),
  seen AS (
    SELECT listing_id, count(*) AS sightings, max(price_minor) AS dearest
    FROM sighting
    SEMI JOIN todo USING (listing_id)
    GROUP BY listing_id
  )
SELECT
  l.listing_id,
  l.source,
  l.seller,
  l.status = 'open' AS on_offer,
  hash(l.source, l.seller, l.body) AS words,
  hash(
    one, l.first_seen, least(l.last_seen, $1), said.inputs, named.inputs, again.relists, seen.sightings, seen.dearest,
    $2
  ) AS inputs
FROM listing l
SEMI JOIN todo USING (listing_id)
JOIN one ON one.listing_id = l.listing_id
LEFT JOIN said ON said.listing_id = l.listing_id
LEFT JOIN named ON named.listing_id = l.listing_id
LEFT JOIN again ON again.listing_id = l.listing_id
LEFT JOIN seen ON seen.listing_id = l.listing_id
"""
# What stands in most of a seller's texts says nothing of any one of them, so a new one may change the others.
DUE = """
CREATE OR REPLACE TEMP TABLE todo AS
WITH
  seller AS (
    SELECT DISTINCT n.source, n.seller
    FROM weighed_now n
    LEFT JOIN weighed w ON w.listing_id = n.listing_id
    WHERE n.seller IS NOT NULL AND w.words IS DISTINCT FROM n.words
  )
SELECT n.listing_id
FROM weighed_now n
LEFT JOIN weighed w ON w.listing_id = n.listing_id
WHERE n.on_offer OR w.inputs IS DISTINCT FROM n.inputs OR (n.source, n.seller) IN (FROM seller)
ORDER BY n.listing_id
"""


def set_todo(store: Connection, listings: Sequence[str] | None) -> None:
    """Fill ``todo``: the listings to work on, all when none are named."""
    store.execute("CREATE OR REPLACE TEMP TABLE todo (listing_id VARCHAR)")
    if listings is None:
        store.execute("INSERT INTO todo SELECT listing_id FROM listing ORDER BY listing_id")
    else:
        append(store, "todo", pl.DataFrame({"listing_id": list(listings)}, schema={"listing_id": pl.String}))


def fill(store: Connection, catalogue: Catalogue, as_of: date, listings: Sequence[str] | None = None) -> None:
    """Fill ``todo``, the listings to work on: the named ones, or those that are due."""
    set_todo(store, listings)
    outlooks = sorted({buyer.outlook for buyer in catalogue.buyers.values()})
    rules = f"{__version__} {catalogue.sha256_without_buyers} {outlooks}"
    store.execute(INPUTS, [as_of, rules])
    if listings is None:
        store.execute(DUE)


def keep(store: Connection) -> None:
    """Note by what the listings in ``todo`` were weighed."""
    store.execute("DELETE FROM weighed WHERE listing_id IN (SELECT listing_id FROM todo)")
    store.execute(
        "INSERT INTO weighed SELECT listing_id, words, inputs FROM weighed_now SEMI JOIN todo USING (listing_id) "
        "ORDER BY listing_id"
    )
    store.execute("DROP TABLE weighed_now")
