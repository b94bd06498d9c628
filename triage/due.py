"""Which listings a night weighs: what is on offer, and of what is gone only what may still change."""

from datetime import date

from triage.catalogue import Catalogue
from triage.store import Connection

# What is gone is weighed for a week more: its exports may come late, and in any order (our judgement).
LATE_DAYS = 7

# The order of the rows, not the clock's, which may jump.
LAST_RULES = "SELECT rules_sha256 FROM run ORDER BY rowid DESC LIMIT 1"
DUE = """
SELECT listing_id
FROM listing
WHERE status = 'open'
  OR last_seen > $1::DATE - $2::INTEGER
  OR listing_id IN (SELECT listing_id FROM verdict)
  OR (kind = 'pair' AND listing_id NOT IN (SELECT listing_id FROM soundness))
ORDER BY listing_id
"""


def due(store: Connection, catalogue: Catalogue, as_of: date) -> list[str] | None:
    """Return the listings to weigh; None, all of them, when the rules are others than those of the last night.

    A pair that is gone keeps what was read of it and how sound it seemed when it went, which is what its price was
    asked for; weighing it anew every night would make nights longer for good. Its call goes with it.
    """
    last = store.execute(LAST_RULES).fetchall()
    if not last or last[0][0] != catalogue.sha256:
        return None
    return [listing_id for (listing_id,) in store.execute(DUE, [as_of, LATE_DAYS]).fetchall()]
