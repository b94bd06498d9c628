"""A short list for one buyer as a page: why each pair is on it, then its ticket."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from triage.store import Connection
from triage.writeup import phrase
from triage.writeup.calls import weighed
from triage.writeup.frames import read_detail, read_night
from triage.writeup.knowledge import Catalogue
from triage.writeup.page import page
from triage.writeup.queries import LATEST_RUN
from triage.writeup.ticket import Context, Ticket, tickets_of

Row = Mapping[str, Any]

ROLE = {
    "surest": "the surest: the highest chance of wearable after the plan",
    "value": "the best value: the most left over",
    "want": "the most wanted: worth the most when sound",
    "": "",
}


@dataclass(frozen=True)
class Place:
    """A place on the list: its ticket, what it is there for, and how it would most likely disappoint."""

    ticket: Ticket
    role: str
    differs: str


def shortlist_page(store: Connection, catalogue: Catalogue, lines: pl.DataFrame, buyer_id: str) -> str:
    """Return the short list for a buyer as a page.

    Args:
        store: Store that holds the verdicts.
        catalogue: Words for signs, materials, repairs and buyers.
        lines: As ``verdict.comparison.shortlist`` returns them, best first; of these listing_id and role are read.
        buyer_id: Whose list it is.
    """
    buyer = catalogue.buyers[buyer_id]
    as_of = store.execute(LATEST_RUN).fetchall()[0][0]
    tickets: tuple[Ticket, ...] = ()
    if lines.height:
        night = read_night(store, as_of)
        own = weighed(night.listing, night.verdict).filter(pl.col("buyer") == buyer_id)
        leads = lines.select("listing_id").join(own, on="listing_id", maintain_order="left")
        leads = leads.with_columns(buyers=pl.lit([buyer.name]))
        tonight, previous = (*night.nights, None, None)[:2]
        context = Context(catalogue, tonight, previous, frozenset(leads["listing_id"]))
        tickets = tickets_of(leads, own, read_detail(store, leads["listing_id"]), night.price_path, context)
    roles = dict(lines.select("listing_id", "role").iter_rows())
    return page(
        "shortlist.html",
        buyer=buyer.name,
        as_of=phrase.long_day(as_of) if as_of else "",
        places=tuple(Place(ticket, ROLE.get(roles[ticket.listing_id], ""), _differs(ticket)) for ticket in tickets),
        photos=False,
        count=phrase.count,
    )


def _differs(ticket: Ticket) -> str:
    weak = ticket.weak
    return f"{ticket.lead.plan}; first to fail: {weak.part}, {weak.word}" if weak else ticket.lead.plan
