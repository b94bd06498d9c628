"""Stage 3, record linkage: listing -> match, match_evidence."""

from datetime import date

import polars as pl

from triage.catalogue.constructions import Constructions
from triage.catalogue.matching import MatchWeights
from triage.match.link import Linked, link
from triage.store import Connection, frame, replace

LISTINGS = """
SELECT
  l.listing_id,
  l.title,
  l.body,
  l.size_text,
  l.stated_year_lo,
  l.stated_year_hi,
  l.stated_year_kind
FROM listing AS l
JOIN todo AS t ON t.listing_id = l.listing_id
WHERE l.kind = 'pair'
ORDER BY l.listing_id
"""
BATCH = 100_000  # listings held in memory at a time


def run(store: Connection, constructions: Constructions, weights: MatchWeights, as_of: date) -> None:
    """Write which releases each listing in ``todo`` may be, and why.

    Args:
        store: Needs ``listing`` and the TEMP table ``todo``.
        constructions: Releases and generic constructions.
        weights: Weights and words of ``rules/match``.
        as_of: Not used: which release a pair is does not depend on the night.
    """
    del as_of
    listings = frame(store, LISTINGS)
    found = [link(part, constructions, weights) for part in listings.iter_slices(BATCH)] or [
        link(listings, constructions, weights)
    ]
    replace(store, "match", pl.concat([one.match for one in found]))
    replace(store, "match_evidence", pl.concat([one.evidence for one in found]))


__all__ = ["Linked", "link", "run"]
