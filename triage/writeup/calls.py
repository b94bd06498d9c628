"""Which listings get a ticket and in which order: verdicts, listings -> one row per listing."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

import polars as pl

# Our judgement: a skip whose highest sensible offer is at least half its price may come within reach.
NEAR_SHARE = 0.5
# Places of the calls, best first.
BUY, ASK, NEAR, SKIP = range(4)


class Named(Protocol):
    """Anything with a name for people."""

    @property
    def name(self) -> str: ...


@dataclass(frozen=True)
class Calls:
    """Open listings with their best call over all buyers, one row each, best first.

    Columns are the listing's (its currency as ``price_currency``) and those of the leading verdict;
    ``worth_minor`` is what the order goes by, ``buyers`` holds the names of all whose call it is.

    Attributes:
        leads: All of them: buys, asks, near misses, skips.
        ends: Where each of these ends.
    """

    leads: pl.DataFrame
    ends: tuple[int, int, int, int]

    @property
    def tickets(self) -> pl.DataFrame:
        """Buys, then asks."""
        return self.leads[: self.ends[ASK]]

    @property
    def buy(self) -> pl.DataFrame:
        """Buys."""
        return self.leads[: self.ends[BUY]]

    @property
    def ask(self) -> pl.DataFrame:
        """Asks."""
        return self.leads[self.ends[BUY] : self.ends[ASK]]

    @property
    def near(self) -> pl.DataFrame:
        """Near misses."""
        return self.leads[self.ends[ASK] : self.ends[NEAR]]

    @property
    def skip(self) -> pl.DataFrame:
        """All other skips."""
        return self.leads[self.ends[NEAR] :]


def weighed(listing: pl.DataFrame, verdict: pl.DataFrame) -> pl.DataFrame:
    """Return one row per verdict on a listing that is still open, with the listing's columns beside it.

    ``call_place`` orders calls: a buy, an ask, a skip that is a near miss, any other skip.
    """
    offered = listing.filter(pl.col("status") == "open").rename({"currency": "price_currency"})
    # A pair that can't fit is out of reach at any price.
    near = (
        (pl.col("offer_minor") > 0)
        & (pl.col("offer_minor") >= NEAR_SHARE * pl.col("price_base_minor"))
        & (pl.col("p_fits").fill_null(1.0) > 0)
    )
    return verdict.join(offered, on="listing_id", maintain_order="left").with_columns(
        call_place=pl.when(pl.col("call") == "buy")
        .then(BUY)
        .when(pl.col("call") == "ask")
        .then(ASK)
        .when(near.fill_null(False))
        .then(NEAR)
        .otherwise(SKIP),
        worth_minor=pl.when(pl.col("call") == "ask").then(pl.col("ask_gain_minor")).otherwise(pl.col("surplus_minor")),
    )


def best_calls(listing: pl.DataFrame, verdict: pl.DataFrame, buyers: Mapping[str, Named]) -> Calls:
    """Return every open listing once, in its best call: a buy for anyone is a buy.

    Args:
        listing: Listing columns of the contract.
        verdict: Verdict columns of the contract.
        buyers: Buyers by id; one the mapping lacks goes by its id.
    """
    return calls_of(weighed(listing, verdict), buyers)


def calls_of(every: pl.DataFrame, buyers: Mapping[str, Named]) -> Calls:
    """Return what ``best_calls`` returns, of verdicts as ``weighed`` returns them."""
    every = every if every["listing_id"].is_sorted() else every.sort("listing_id")
    order = ["call_place", "worth_minor", "listing", "buyer"]
    # Ranked by these alone: every other column is copied once, for the rows that lead. A listing goes by its number,
    # which is in the order of the ids.
    ranked = every.select("call_place", "worth_minor", "buyer", listing=pl.col("listing_id").rle_id())
    ranked = ranked.with_row_index("row").sort(order, descending=[False, True, False, False], nulls_last=True)
    best = ranked.filter(pl.col("call_place") == pl.col("call_place").min().over("listing"))
    name = pl.col("buyer").replace({key: buyer.name for key, buyer in buyers.items()})
    names = best.group_by("listing").agg(buyers=name)
    lead = best.filter(pl.col("listing").is_first_distinct()).join(names, on="listing", maintain_order="left")
    leads = every[lead["row"]].with_columns(lead["buyers"])
    buy, ask, near, skip = (int(leads["call_place"].search_sorted(place, "right")) for place in (BUY, ASK, NEAR, SKIP))
    return Calls(leads, (buy, ask, near, skip))
