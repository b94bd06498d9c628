"""Stage 3, record linkage: listing -> match, match_evidence."""

from datetime import date

from triage.catalogue.constructions import Constructions
from triage.catalogue.matching import MatchWeights
from triage.match.link import Linked, link, link_batches
from triage.match.table import build_index
from triage.store import Connection, append, frame, replace

# Columns of the export that name the release are read as part of the title.
LISTINGS = """
SELECT
  l.listing_id,
  concat_ws(' ', l.title, l.named) AS title,
  l.body,
  l.size_text,
  l.stated_year_lo,
  l.stated_year_hi,
  l.stated_year_kind
FROM listing AS l
JOIN todo AS t ON t.listing_id = l.listing_id
WHERE l.kind = 'pair'
"""


def make_ready(constructions: Constructions, weights: MatchWeights) -> None:
    """Lay the construction table out, before there is a listing to look up."""
    build_index(constructions, weights)


def run(store: Connection, constructions: Constructions, weights: MatchWeights, as_of: date) -> None:
    """Write which releases each listing in ``todo`` may be, and why.

    Args:
        store: Needs ``listing`` and the TEMP table ``todo``.
        constructions: Releases and generic constructions.
        weights: Weights and words of ``rules/match``.
        as_of: Not used: which release a pair is does not depend on the night.
    """
    del as_of
    write = replace  # the first batch takes the old rows away, the rest are added
    for linked in link_batches(frame(store, LISTINGS), constructions, weights):
        write(store, "match", linked.match)
        write(store, "match_evidence", linked.evidence)
        write = append


__all__ = ["Linked", "link", "make_ready", "run"]
