"""Stage 8, the report: verdicts and all that led to them -> a folder of files for a night."""

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from triage.keeping.held import usual
from triage.store import Connection
from triage.writeup import phrase
from triage.writeup.atom import atom_text
from triage.writeup.changes import NIGHT
from triage.writeup.digest import digest_text
from triage.writeup.folder import Content, publishing, write_whole
from triage.writeup.frames import Night, read_night
from triage.writeup.knowledge import Catalogue
from triage.writeup.mail import empty_letter, letter
from triage.writeup.page import page, render
from triage.writeup.tables import csv_pieces, json_pieces, verdict_table
from triage.writeup.view import NightView, view_of
from triage.writeup.workbook import workbook

__all__ = ["Look", "run"]


@dataclass(frozen=True)
class Look:
    """How a report is to be written.

    Attributes:
        photos: Load the photos the exports name into the page; else they are links.
        mail_from: Sender of the letter.
        mail_to: Whom the letter is for; empty leaves it to be filled in.
        sellers: Name the sellers in the tables for other programs; else they are left out.
    """

    photos: bool = False
    mail_from: str = "triage@localhost"
    mail_to: str = ""
    sellers: bool = False


def run(store: Connection, catalogue: Catalogue, as_of: date, out: Path, look: Look = Look()) -> Path:
    """Write the report of a night and return the path of its page.

    Args:
        store: Store with all eight stages' tables filled.
        catalogue: Words for signs, materials, repairs and buyers.
        as_of: The night.
        out: Folder of all reports; ``<as-of>/`` and ``latest/`` are made in it.
        look: How it is to be written.

    Returns:
        ``out/<as-of>/index.html``.
    """
    empty_letter(look.mail_from, look.mail_to)  # an address that is none is told before there is a folder
    night, folder = read_night(store, as_of), out / as_of.isoformat()
    with usual(), publishing(out):
        write_whole(folder, _files(store, catalogue, night, out, look))
        write_whole(out / "latest", latest(out))
    return folder / "index.html"


def _files(
    store: Connection, catalogue: Catalogue, night: Night, out: Path, look: Look
) -> Iterator[tuple[str, Content]]:
    """Yield the files of a report: the long ones first, which are written while the page is worked out."""
    table = verdict_table(night.listing, night.verdict, look.sellers)
    # The workbook takes as long as all else, most of which waits for the store.
    with ThreadPoolExecutor(1) as aside:
        book = aside.submit(workbook, table, night.as_of)
        yield "verdicts.csv", csv_pieces(table)
        yield "verdicts.json", json_pieces(table, night.as_of)
        view = view_of(store, catalogue, night, out)
        yield "index.html", night_page(view, look)
        yield "atom.xml", atom_text(view)
        yield "digest.txt", digest_text(view)
        yield "digest.eml", letter(view, look.mail_from, look.mail_to)
        yield "verdicts.xlsx", book.result()


def latest(out: Path) -> dict[str, Content]:
    """Return what leads to the latest complete night: a page, and that night's feed, for a reader that watches it."""
    newest = max(path.name for path in out.iterdir() if NIGHT.fullmatch(path.name))
    feed = out / newest / "atom.xml"
    told: dict[str, Content] = {"index.html": render("latest.html", night=newest)}
    # A night of an earlier version has no feed; redoing an old night leaves the latest alone.
    return told | ({"atom.xml": feed.read_bytes()} if feed.is_file() else {})


def night_page(view: NightView, look: Look) -> str:
    """Return the page of a night as HTML."""
    return page(
        "night.html",
        images=look.photos,
        as_of=phrase.long_day(view.night.as_of),
        calls=view.calls,
        view=view,
        open_count=view.open_count,
        account=view.account,
        changes=view.changes,
        buys=view.buys,
        asks=view.asks,
        buyers=view.buyers,
        near=view.near,
        skips=view.skips,
        photos=look.photos,
        count=phrase.count,
    )
