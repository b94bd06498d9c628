"""What is known of a few pairs before anybody says anything of them."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from triage.catalogue.buyers import Buyer, Outlook
from triage.handed import Lives
from triage.order import ordered
from triage.store import Connection, frame, registered
from triage.verdict.beliefs import Aged, Candidates, aged_of, read_aged, read_candidates
from triage.verdict.ground import Ground, Releases, trade_of
from triage.verdict.money import Flags
from triage.verdict.offers import read_unsaid
from triage.verdict.plans import Mender
from triage.verdict.scenes import Prices, prices_to
from triage.verdict.worth import read_comparables

WHICH = "SELECT listing_id FROM todo ORDER BY listing_id"
# What is sold or gone is believed in too: it stays comparable.
LISTINGS = """
SELECT listing_id, kind = 'pair' AS pair, status = 'open' AS open
FROM listing
WHERE listing_id IN (SELECT listing_id FROM todo) AND (
    kind <> 'pair' OR listing_id IN (SELECT listing_id FROM match WHERE listing_id IN (SELECT listing_id FROM todo))
  )
"""


@dataclass(frozen=True)
class Known:
    """What the worth of few pairs hangs on: who weighs them again and again reads once what nothing said moves.

    Attributes:
        todo: The listings.
        listings, comparables: As ``read_listings`` and ``read_comparables`` return them.
        offers: As ``offers.read_unsaid`` returns them; None where they are to be read.
        aged: By outlook; what is not there is read.
        prices: By buyer; what holds no more is worked out again.
        said, findings: As ``read_heard`` takes them; None where they are to be read.
    """

    todo: list[str]
    listings: pl.DataFrame
    candidates: Candidates
    comparables: pl.DataFrame
    offers: pl.DataFrame | None
    aged: Mapping[Outlook, Aged]
    prices: Mapping[str, Prices]
    said: pl.DataFrame | None = None
    findings: pl.DataFrame | None = None

    @property
    def whole(self) -> bool:
        """Nothing of the pairs is to be read."""
        return bool(self.aged) and not any(one is None for one in (self.offers, self.said, self.findings))

    def otherwise_aged(self, lives: Lives | None) -> "Known":
        """Return what is known when the parts have aged otherwise, as ``prognosis.run`` returns it."""
        if lives is None:
            return replace(self, aged={})
        aged = {
            outlook: aged_of(lives.of(outlook), self.candidates, was.node_weight) for outlook, was in self.aged.items()
        }
        return replace(self, aged=aged)

    def otherwise_priced(self) -> "Known":
        """Return what is still known when something else is asked for the pairs."""
        return replace(self, offers=None)

    def prices_to(self, buyer: Buyer, mender: Mender, bears: Flags) -> Prices | None:
        """Return what the pairs are worth to a buyer who mends them so; None where that was not worked out."""
        found = self.prices.get(buyer.id)
        if found is None or found.mender is not mender or not np.array_equal(found.bears, bears):
            return None
        return found


def read_listings(store: Connection) -> pl.DataFrame:
    """Return the listings in ``todo`` that are weighed: listing_id, pair, open."""
    return ordered(frame(store, LISTINGS), "listing_id")


def know(store: Connection, ground: Ground, releases: Releases, pool: Callable[[Connection], None]) -> Known:
    """Return what of the listings in ``todo``, which are few, hangs on nothing that is said of them.

    Args:
        releases: Those of the store.
        pool: Gathers comparables as ``pool_comparables`` does.
    """
    todo, listings = frame(store, WHICH)["listing_id"].to_list(), read_listings(store)
    pool(store)
    with registered(store, "chunk", listings.select("listing_id")):
        candidates = read_candidates(store)
        aged = {outlook: read_aged(store, candidates, outlook) for outlook in ground.outlooks()}
        comparables = read_comparables(store, ground.values)
        ids, construction, trade = candidates.listing_ids, candidates.construction, trade_of(releases, ground)
        prices = {}
        for buyer in ground.buyers.values():
            bears = aged[buyer.outlook].bears_of_candidates
            mender = trade.mender(buyer)
            prices[buyer.id] = prices_to(buyer, ids, construction, bears, comparables, mender, ground.values)
        return Known(todo, listings, candidates, comparables, read_unsaid(store), aged, prices)
