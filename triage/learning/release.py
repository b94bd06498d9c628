"""Which parts a pair has: those of its confirmed release, else of the release it is surely taken for, else of any."""

from collections.abc import Iterable

import polars as pl

from triage.store import Connection, frame, registered

PARTS = ("midsole", "outsole", "cushion", "bond", "trim", "coating", "upper", "lining")
RELEASES = """
WITH confirmed AS (
  SELECT listing_id, last(construction_id ORDER BY confirmed_on, rowid) AS construction_id
  FROM confirmation
  GROUP BY listing_id
),
candidate AS (
  SELECT listing_id, construction_id, place
  FROM match
  QUALIFY place = 1 OR NOT bool_or(place = 1 AND accepted) OVER (PARTITION BY listing_id)
),
taken AS (
  SELECT listing_id, construction_id, 1 AS place FROM confirmed WHERE construction_id IS NOT NULL
  UNION ALL
  SELECT * FROM candidate
  WHERE listing_id NOT IN (SELECT listing_id FROM confirmed WHERE construction_id IS NOT NULL)
),
made_of AS (
  UNPIVOT (SELECT model_id, midsole, outsole, cushion, bond, trim, coating, upper, lining FROM construction)
  ON midsole, outsole, cushion, bond, trim, coating, upper, lining
  INTO NAME part VALUE material
)
SELECT
  w.listing_id,
  coalesce(
    first(concat_ws(' ', c.model_id, c.maker, c.model) ORDER BY t.place) FILTER (c.model_id IS NOT NULL), 'its release'
  ) AS release,
  list(DISTINCT m.part ORDER BY m.part) FILTER (m.material <> '') AS parts
FROM wanted w
LEFT JOIN taken t ON t.listing_id = w.listing_id
LEFT JOIN construction c ON c.model_id = t.construction_id
LEFT JOIN made_of m ON m.model_id = t.construction_id
GROUP BY w.listing_id
ORDER BY w.listing_id
"""


def parts_of(store: Connection, listings: Iterable[str]) -> pl.DataFrame:
    """Return what some listings are made of: listing_id, release (in words), parts.

    Args:
        listings: Ids; one that the store does not have comes back with all parts.

    Returns:
        One row a listing. A pair of no known release may have any of the eight parts.
    """
    with registered(
        store, "wanted", pl.DataFrame({"listing_id": sorted(set(listings))}, schema={"listing_id": pl.String})
    ):
        found = frame(store, RELEASES)
    return found.with_columns(pl.col("parts").fill_null(pl.lit(sorted(PARTS))))
