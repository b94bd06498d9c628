"""What was said of listings, as the stages behind read it."""

from collections.abc import Collection

import polars as pl

from triage.store import Connection, frame

# Whose word holds against whose: the last one's.
SPEAKERS = ("listing", "answer", "buyer", "inspection")
SAID = f"""
SELECT listing_id, sign, said_by, state, hedged, counts, TRY_CAST(value AS INTEGER) AS year
FROM observation
WHERE listing_id IN (SELECT listing_id FROM {{of}}) AND {{which}}
ORDER BY listing_id, sign, list_position({list(SPEAKERS)}, said_by)
"""


def read_said(store: Connection, of: str = "todo", signs: Collection[str] | None = None) -> pl.DataFrame:
    """Return what was said of some listings, by listing and sign, the word that holds last.

    Args:
        of: Table of the listings.
        signs: Signs that are looked at; all when left out.

    Returns:
        listing_id, sign, said_by, state, hedged, counts, and ``year``, what was stated as a whole number.
    """
    if signs is None:
        return frame(store, SAID.format(of=of, which="TRUE"))
    return frame(store, SAID.format(of=of, which="list_contains($1::VARCHAR[], sign)"), [sorted(signs)])
