"""A night as every form of its report shows it: worked out once, then written as page, feed, digest and letter."""

from dataclasses import dataclass, replace
from pathlib import Path

import polars as pl

from triage.store import Connection
from triage.writeup.calls import Calls, calls_of, weighed
from triage.writeup.changes import Changes, call_changes, changes_of, earlier_calls
from triage.writeup.frames import Night, read_detail
from triage.writeup.knowledge import Catalogue
from triage.writeup.night import Account, SkipLine, account_of, skip_lines
from triage.writeup.ticket import Context, Ticket, tickets_of

# A page with more tickets than this is not read in a morning; the rest stays in verdicts.csv.
TICKETS = 150


@dataclass(frozen=True)
class NightView:
    """What a report says of a night."""

    night: Night
    calls: Calls
    account: Account
    changes: Changes | None
    buys: tuple[Ticket, ...]
    asks: tuple[Ticket, ...]
    near: tuple[SkipLine, ...]
    skips: tuple[SkipLine, ...]

    @property
    def weighed(self) -> int:
        """Number of open listings with a verdict."""
        return self.calls.tickets.height + self.calls.near.height + self.calls.skip.height

    @property
    def open_count(self) -> int:
        """Number of open listings."""
        return int((self.night.listing["status"] == "open").sum())

    @property
    def buyers(self) -> tuple[str, ...]:
        """Names of the buyers any ticket is for."""
        return tuple(sorted({name for ticket in self.buys + self.asks for name in ticket.buyers}))

    @property
    def filter_buyers(self) -> tuple[str, ...]:
        """Names of the buyers that anything on the page is for."""
        lines = self.buys + self.asks + self.near + self.skips
        return tuple(sorted({name for line in lines for name in line.buyers}))

    @property
    def models(self) -> tuple[str, ...]:
        """Models of anything on the page."""
        lines = self.buys + self.asks + self.near + self.skips
        return tuple(sorted({line.model for line in lines if line.model}))

    @property
    def currency(self) -> str:
        """The currency that prices are compared in; empty when nothing was weighed."""
        found = self.night.verdict["currency"]
        return str(found[0]) if found.len() else ""

    @property
    def fresh(self) -> tuple[Ticket, ...]:
        """The tickets that no earlier night had: all of them on a first night."""
        every = self.buys + self.asks
        return every if self.changes is None else tuple(ticket for ticket in every if ticket.news)


def view_of(store: Connection, catalogue: Catalogue, night: Night, out: Path) -> NightView:
    """Return a night, worked out.

    Args:
        store: Store with all stages' tables filled.
        catalogue: Words for signs, materials, repairs and buyers.
        night: Frames of the night.
        out: Folder of all reports: the last one before this night says which calls changed.
    """
    every = weighed(night.listing, night.verdict)
    calls = calls_of(every, catalogue.buyers)
    buys, asks = calls.buy.head(TICKETS), calls.ask.head(TICKETS)
    shown = pl.concat([buys["listing_id"], asks["listing_id"]])
    detail = read_detail(store, shown)
    tonight, previous = (*night.nights, None, None)[:2]
    earlier = earlier_calls(out, night.as_of)
    moved = call_changes(earlier, calls.leads)
    before = dict(zip(moved["listing_id"], moved["before"], strict=True))
    context = Context(catalogue, tonight, previous, frozenset(shown), before)
    asking = replace(context, first_number=buys.height + 1)
    return NightView(
        night=night,
        calls=calls,
        account=account_of(night),
        changes=changes_of(night, calls.leads, moved, earlier.night if earlier else None, frozenset(shown)),
        buys=tickets_of(buys, every, detail, night.price_path, context),
        asks=tickets_of(asks, every, detail, night.price_path, asking),
        near=skip_lines(calls.near, every, context),
        skips=skip_lines(calls.skip, every, context),
    )
