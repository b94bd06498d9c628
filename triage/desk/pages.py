"""What each page shows, worked out from tonight's pairs and put into templates; words and looks are the report's."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from jinja2 import ChoiceLoader, Environment, PackageLoader

from triage.catalogue import Catalogue
from triage.desk.forms import new_form
from triage.desk.inline import inline
from triage.desk.reply import Reply, reply_of
from triage.desk.tonight import Tonight, notes_of
from triage.learning.release import parts_of
from triage.store import Connection, frame
from triage.writeup import phrase
from triage.writeup.arrivals import LAST_PURCHASE
from triage.writeup.page import environment as report_environment
from triage.writeup.page import script
from triage.writeup.receipt import sheet_of
from triage.writeup.ticket import Ticket, anchor

LISTING = "SELECT title, language, source, url, status FROM listing WHERE listing_id = ?"
LATEST_NOTES = """
SELECT listing_id, last(kind ORDER BY rowid) AS kind, last(noted_on ORDER BY rowid) AS noted_on
FROM note
GROUP BY listing_id
ORDER BY listing_id
"""
LOOKED = """
SELECT sign, last(state ORDER BY answered_on, rowid) AS state
FROM answer
WHERE listing_id = ? AND said_by = 'buyer' AND sign IS NOT NULL
GROUP BY sign
ORDER BY sign
"""
ASKED = "SELECT DISTINCT ON (sign) sign FROM question WHERE listing_id = ? AND sign IS NOT NULL ORDER BY sign, place"
PARCELS = """
SELECT listing.listing_id, title, language, bought_on, arrived_on, landed_minor, purchase.currency
FROM (
  SELECT * FROM purchase QUALIFY row_number() OVER (PARTITION BY listing_id ORDER BY rowid DESC) = 1
) AS purchase
JOIN listing USING (listing_id)
ORDER BY arrived_on NULLS FIRST, bought_on DESC, listing.listing_id
"""
FOUND = """
SELECT part, last(state ORDER BY inspected_on, rowid) AS state, last(note ORDER BY inspected_on, rowid) AS note
FROM inspection
WHERE listing_id = ?
GROUP BY part
ORDER BY part
"""
RESTORING = """
SELECT repairs
FROM plan
WHERE listing_id = ? AND plan = 'restore'
ORDER BY probability DESC, buyer
LIMIT 1
"""
SUPPOSED = ("price", "purpose", "repair", "storage", "year")
LOOKED_AS = {"affirmed": "yes", "denied": "no", "no_reply": "not shown"}
NOTED = {
    "look": "looked at", "answer": "answered", "asked": "asked", "no_reply": "no reply", "sold": "sold",
    "open": "still to be had", "bought": "bought", "received": "received",
}  # fmt: skip


@cache
def environment() -> Environment:
    """Return the environment: the report's own, with the page's templates before the report's."""
    return report_environment().overlay(
        loader=ChoiceLoader([PackageLoader("triage.desk"), PackageLoader("triage.writeup")])
    )


def render(template: str, **values: Any) -> str:
    """Return a template filled in."""
    return environment().get_template(template).render(**values)


@cache
def assets() -> Mapping[str, tuple[str, bytes]]:
    """Return every file the pages load by name: media type and bytes. No other file is ever served."""
    own = files("triage.desk") / "static"
    style = render("night.css") + (own / "desk.css").read_text("utf-8")
    return {
        "desk.css": ("text/css; charset=utf-8", style.encode()),
        "desk.js": ("text/javascript; charset=utf-8", (own / "desk.js").read_bytes()),
        "page.js": ("text/javascript; charset=utf-8", script().encode()),
        "htmx.js": ("text/javascript; charset=utf-8", (own / "htmx-4.0.1.min.js").read_bytes()),
    }


@dataclass(frozen=True)
class Decided:
    """What was supposed, field by field, and what would become of the pair, in a line."""

    line: str = ""
    fields: Mapping[str, str] = field(default_factory=lambda: dict.fromkeys(SUPPOSED, ""))


@dataclass(frozen=True)
class Look:
    """One thing to look for in the photos, and what was seen before."""

    sign: str
    part: str
    where: str
    ask: str
    traps: str
    told: str


@inline
def list_page(tonight: Tonight) -> str:
    """Return the list of tonight's pairs in the order of the ranking, with their calls as they are now."""
    with tonight.fresh() as memory:
        now = tonight.called()
        notes = {row["listing_id"]: row for row in frame(memory, LATEST_NOTES).to_dicts()}
        leads = {row["listing_id"]: row for row in now.leads.iter_rows(named=True)}
        lines = [_line(tonight, memory, one, leads.get(one), notes.get(one)) for one in tonight.order]
        return render("list.html", **_common(tonight), lines=lines, count=phrase.count)


def _line(tonight: Tonight, memory: Connection, listing_id: str, lead: Any, note: Any) -> dict[str, Any]:
    row = lead or frame(memory, LISTING, [listing_id]).row(0, named=True)
    return {
        "name": anchor(listing_id),
        "number": tonight.order.index(listing_id) + 1,
        "title": phrase.title_of(row["title"]),
        "language": phrase.language_tag(row["language"]),
        "call": lead["call"] if lead else row["status"],
        "price": phrase.money(lead["price_minor"], lead["price_currency"]) if lead else "",
        "offer": phrase.at_most(lead["offer_minor"], lead["currency"]) if lead and lead["offer_minor"] else "",
        "note": f"{NOTED[note['kind']]} {phrase.day(note['noted_on'])}" if note else "",
    }


@inline
def pair_page(
    tonight: Tonight, listing_id: str, *, reply: Reply | None = None, decided: Decided = Decided(), photos: bool = False
) -> str:
    """Return the page of a pair: the ticket, and forms to look, to answer and to decide.

    Args:
        reply: A reply that was read and not noted yet.
        decided: What was supposed.
        photos: Load the photos.
    """
    with tonight.fresh() as memory:
        return render("pair.html", **pair_values(tonight, memory, listing_id, reply, decided), photos=photos)


def pair_values(
    tonight: Tonight, memory: Connection, listing_id: str, reply: Reply | None = None, decided: Decided = Decided()
) -> dict[str, Any]:
    """Return what the page of a pair is filled with."""
    ticket = tonight.ticket(memory, listing_id)
    listing = frame(memory, LISTING, [listing_id]).row(0, named=True)
    notes = notes_of(memory, listing_id)
    place = tonight.order.index(listing_id) if listing_id in tonight.order else None
    near = {} if place is None else {"back": place - 1, "next": place + 1}
    asked = frame(memory, ASKED, [listing_id])["sign"].to_list()
    return {
        **_common(tonight),
        "t": ticket,
        "name": anchor(listing_id),
        "title": phrase.title_of(listing["title"]),
        "language": phrase.language_tag(listing["language"]),
        "status": listing["status"],
        "place": None if place is None else place + 1,
        "of": len(tonight.order),
        "near": {word: anchor(tonight.order[n]) for word, n in near.items() if 0 <= n < len(tonight.order)},
        "notes": [f"{NOTED[note['kind']]} {phrase.day(note['noted_on'])}" for note in notes],
        "kinds": [note["kind"] for note in notes],
        "changed": tonight.changed.get(listing_id, ""),
        "looks": looks_of(tonight.catalogue, memory, listing_id, ticket),
        "reply": reply or reply_of("", listing["language"], asked, tonight.catalogue),
        "decided": decided,
        "supposable": _supposable(tonight.catalogue, memory, ticket, listing_id),
        "buyers": [(key, one.name) for key, one in tonight.catalogue.buyers.items()],
        "today": tonight.today().isoformat(),
    }


def looks_of(catalogue: Catalogue, memory: Connection, listing_id: str, ticket: Ticket | None) -> list[Look]:
    """Return what can be looked for on a pair: only parts it has."""
    if ticket is None:
        return []
    seen = dict(frame(memory, LOOKED, [listing_id]).iter_rows())
    present = {part.part for part in ticket.parts if part.present}
    return [
        Look(name, sign.part, look.where, look.ask, sign.traps, LOOKED_AS.get(seen.get(name, ""), ""))
        for name, look in catalogue.look.items()
        for sign in [catalogue.signs[name]]
        if sign.part in present
    ]


def _supposable(catalogue: Catalogue, memory: Connection, ticket: Ticket | None, listing_id: str) -> dict[str, Any]:
    """Return what can be supposed of a pair, in words."""
    if ticket is None:
        return {}
    return {
        "purposes": ("wear", "restore", "display", "resell"),
        "repairs": ", ".join(catalogue.repairs[key].name for key in repairs_of(memory, listing_id)),
        "storage": [(key, catalogue.signs[key].affirmed) for key in sorted(catalogue.climates.storage)],
        "currency": catalogue.words.money.base_currency,
    }


def repairs_of(memory: Connection, listing_id: str) -> tuple[str, ...]:
    """Return the repairs of the plan to restore a pair, of the buyer to whom it is likeliest; ids."""
    rows = frame(memory, RESTORING, [listing_id])["repairs"].to_list()
    return tuple(rows[0] or ()) if rows else ()


def parcels_page(tonight: Tonight) -> str:
    """Return the list of what was bought: what is on its way first."""
    with tonight.fresh() as memory:
        lines = [
            {
                "name": anchor(row["listing_id"]), "title": phrase.title_of(row["title"]),
                "language": phrase.language_tag(row["language"]), "bought": phrase.day(row["bought_on"]),
                "arrived": phrase.day(row["arrived_on"]) if row["arrived_on"] else "",
                "paid": phrase.money(row["landed_minor"], row["currency"]),
            }
            for row in frame(memory, PARCELS).to_dicts()
        ]  # fmt: skip
        return render("parcels.html", **_common(tonight), lines=lines)


def parcel_page(tonight: Tonight, listing_id: str) -> str:
    """Return the receipt sheet of a pair as a form."""
    with tonight.fresh() as memory:
        parts = parts_of(memory, [listing_id])["parts"][0].to_list()
        sheet = sheet_of(memory, tonight.catalogue, listing_id, parts)
        bought = next(iter(frame(memory, LAST_PURCHASE, [listing_id]).to_dicts()), None)
        found = {row["part"]: row for row in frame(memory, FOUND, [listing_id]).to_dicts()}
        return render(
            "parcel.html", **_common(tonight), **sheet, name=anchor(listing_id), found=found, bought=bought,
            today=tonight.today().isoformat(),
        )  # fmt: skip


def knowledge_page(tonight: Tonight, buyer_files: Mapping[str, Path]) -> str:
    """Return buyers and rules, with the files they are edited in."""
    catalogue = tonight.catalogue
    buyers = [
        {
            "name": one.name, "about": one.about, "purposes": ", ".join(one.purposes),
            "budget": phrase.estimate(one.budget_minor, one.currency), "tolerance": one.repair_tolerance,
            "file": buyer_files.get(key, catalogue.folder / "buyers" / f"{key}.toml"),
        }
        for key, one in catalogue.buyers.items()
    ]  # fmt: skip
    return render("knowledge.html", **_common(tonight), buyers=buyers, rules=catalogue.rules, folder=catalogue.folder)


def fault_page(tonight: Tonight, title: str, faults: list[str], back: str) -> str:
    """Return a page that tells what could not be done, and leads back."""
    values = {"as_of": "", "faults": (), "other_rules": False, "form": new_form()}
    return render("fault.html", **values, title=title, told=faults, back=back)


def _common(tonight: Tonight) -> dict[str, Any]:
    return {
        "as_of": phrase.long_day(tonight.as_of),
        "faults": tonight.faults,
        "other_rules": tonight.other_rules,
        "form": new_form(),
    }
