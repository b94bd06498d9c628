"""Stage 8, the report: verdicts and all that led to them -> a folder of files for a night."""

import re
from dataclasses import replace
from datetime import date
from pathlib import Path

import polars as pl

from triage.keeping.held import usual
from triage.store import Connection
from triage.writeup import phrase
from triage.writeup.calls import best_calls, weighed
from triage.writeup.folder import write_whole
from triage.writeup.frames import Night, read_detail, read_night
from triage.writeup.knowledge import Catalogue
from triage.writeup.night import account_of, changes_of, skip_lines
from triage.writeup.page import render
from triage.writeup.tables import csv_text, json_text, verdict_table
from triage.writeup.ticket import Context, tickets_of

__all__ = ["run"]

# A page with more tickets than this is not read in a morning; the rest stays in verdicts.csv.
TICKETS = 150


def run(store: Connection, catalogue: Catalogue, as_of: date, out: Path) -> Path:
    """Write the report of a night and return the path of its page.

    Args:
        store: Store with all eight stages' tables filled.
        catalogue: Words for signs, materials, repairs and buyers.
        as_of: The night.
        out: Folder of all reports; ``<as-of>/`` and ``latest/`` are made in it.

    Returns:
        ``out/<as-of>/index.html``.
    """
    night = read_night(store, as_of)
    table = verdict_table(night.listing, night.verdict)
    files = {
        "index.html": night_page(store, catalogue, night),
        "verdicts.csv": csv_text(table),
        "verdicts.json": json_text(table, as_of),
    }
    folder = out / as_of.isoformat()
    with usual():
        write_whole(folder, files)
        write_whole(out / "latest", {"index.html": render("latest.html", night=newest_night(out))})
    return folder / "index.html"


def night_page(store: Connection, catalogue: Catalogue, night: Night) -> str:
    """Return the page of a night as HTML."""
    calls = best_calls(night.listing, night.verdict, catalogue.buyers)
    every = weighed(night.listing, night.verdict)
    leads = pl.concat([calls.buy, calls.ask, calls.near, calls.skip])
    buys, asks = calls.buy.head(TICKETS), calls.ask.head(TICKETS)
    shown = pl.concat([buys["listing_id"], asks["listing_id"]])
    detail = read_detail(store, shown)
    tonight, previous = (*night.nights, None, None)[:2]
    context = Context(catalogue, tonight, previous, frozenset(shown))
    names = {key: buyer.name for key, buyer in catalogue.buyers.items()}
    buy_tickets = tickets_of(buys, every, detail, night.price_path, context)
    context = replace(context, first_number=buys.height + 1)
    ask_tickets = tickets_of(asks, every, detail, night.price_path, context)
    return render(
        "night.html",
        as_of=phrase.long_day(night.as_of),
        calls=calls,
        open_count=night.listing.filter(pl.col("status") == "open").height,
        account=account_of(night),
        changes=changes_of(night, leads),
        buys=buy_tickets,
        asks=ask_tickets,
        buyers=sorted({name for ticket in buy_tickets + ask_tickets for name in ticket.buyers}),
        near=skip_lines(calls.near, every, names),
        skips=skip_lines(calls.skip, every, names),
        count=phrase.count,
    )


def newest_night(out: Path) -> str:
    """Return the name of the latest night's folder, so that redoing an old night leaves ``latest`` alone."""
    return max(path.name for path in out.iterdir() if re.fullmatch(r"\d{4}-\d{2}-\d{2}", path.name))
