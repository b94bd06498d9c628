"""One ticket per listing: the shown rows of the contract -> what the page prints, nothing left to work out."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from hashlib import sha256
from typing import Any

import polars as pl

from triage.writeup import phrase
from triage.writeup.figures import Figures, RepairView, figures, repairs_of
from triage.writeup.foam import foam_line
from triage.writeup.frames import Detail
from triage.writeup.history import latest_changes
from triage.writeup.knowledge import Catalogue
from triage.writeup.message import Message, messages_of
from triage.writeup.origin import Evidence, Exported, evidence_of, exported_of, link, photos_of
from triage.writeup.parts import PartView, part_views
from triage.writeup.reasons import Finding, Said, findings_of, open_facts_of, said_of
from triage.writeup.sensitivity import swings_of
from triage.writeup.survival import Picture, picture_of

Row = Mapping[str, Any]

# Likeliest first; a pair that is listed more often than this tells nothing more.
TWINS = 8


@dataclass(frozen=True)
class Candidate:
    """A release the pair may be."""

    name: str
    chance: str
    how: str
    accepted: bool
    made: str
    note: str


@dataclass(frozen=True)
class Twin:
    """The same pair under another id."""

    words: str
    title: str
    source: str
    price: str
    why: str
    chance: str
    anchor: str


@dataclass(frozen=True)
class Step:
    """A price on the path it took."""

    when: str
    price: str


@dataclass(frozen=True)
class Ticket:
    """Everything the page says of one listing."""

    anchor: str
    number: int
    call: str
    listing_id: str
    title: str
    language: str
    source: str
    seller: str
    url: str
    facts: tuple[str, ...]
    price: str
    price_note: str
    price_base: str
    size: str
    foot: str
    model: str
    news: str
    candidates: tuple[Candidate, ...]
    figures: tuple[Figures, ...]
    others: tuple[Figures, ...]
    parts: tuple[PartView, ...]
    survival: Picture | None
    said: tuple[Said, ...]
    foam: str
    findings: tuple[Finding, ...]
    open_facts: tuple[str, ...]
    repairs: tuple[RepairView, ...]
    changed: tuple[str, ...]
    swings: tuple[str, ...]
    path: tuple[Step, ...]
    twins: tuple[Twin, ...]
    messages: tuple[Message, ...]
    evidence: tuple[Evidence, ...]
    exported: Exported | None
    photos: tuple[str, ...]

    @property
    def lead(self) -> Figures:
        """The buyer it matters most to."""
        return self.figures[0]

    @property
    def buyers(self) -> tuple[str, ...]:
        """Names of all whose call it is, the lead first."""
        return tuple(figures.buyer for figures in self.figures)

    @property
    def weak(self) -> PartView | None:
        """The part most likely to fail its wearer."""
        return next((part for part in self.parts if part.weak), None)


@dataclass(frozen=True)
class Context:
    """What all tickets of a page share."""

    catalogue: Catalogue
    tonight: date | None
    previous: date | None
    shown: frozenset[str]
    moved: Mapping[str, str] = field(default_factory=dict)
    first_number: int = 1


def rows_of(frame: pl.DataFrame) -> dict[str, list[dict[str, Any]]]:
    """Return the rows of a frame of shown listings by listing, in the frame's order."""
    found: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for row in frame.iter_rows(named=True):
        found[row["listing_id"]].append(row)
    return found


def anchor(listing_id: str) -> str:
    """Return the name a listing has on the page, the same every night."""
    return "p" + sha256(listing_id.encode()).hexdigest()[:10]


def tickets_of(
    leads: pl.DataFrame, weighed: pl.DataFrame, detail: Detail, price_path: pl.DataFrame, context: Context
) -> tuple[Ticket, ...]:
    """Return a ticket per leading verdict, in the order given.

    Args:
        leads: One row per listing, as ``calls.best_calls`` gives them.
        weighed: Every verdict on those listings, as ``calls.weighed`` gives them.
        detail: Frames behind those listings.
        price_path: Changes of price.
        context: What all tickets of a page share.
    """
    shown = weighed.join(leads.select("listing_id"), on="listing_id", how="semi")
    shown = shown.sort("call_place", "worth_minor", "buyer", descending=[False, True, False], nulls_last=True)
    path = price_path.join(leads.select("listing_id"), on="listing_id", how="semi")
    behind = {name: rows_of(frame) for name, frame in vars(detail).items()}
    behind |= {"verdict": rows_of(shown), "path": rows_of(path)}
    return tuple(
        _ticket(number, lead, {name: rows.get(lead["listing_id"], []) for name, rows in behind.items()}, context)
        for number, lead in enumerate(leads.iter_rows(named=True), context.first_number)
    )


def _ticket(number: int, lead: Row, behind: Mapping[str, list[dict[str, Any]]], context: Context) -> Ticket:
    catalogue = context.catalogue
    holding = [row for row in behind["verdict"] if row["call"] == lead["call"]]
    buyer = catalogue.buyers.get(lead["buyer"])
    horizon = buyer.horizon_years if buyer else 2.0
    believed, aged = (
        [row for row in behind[name] if buyer is None or row["climate"] == buyer.climate]
        for name in ("posterior", "prognosis")
    )
    parts = part_views(believed, aged, horizon, lead["weak_part"], catalogue)
    shown = [part.part for part in parts if part.present]
    candidates = tuple(candidate(row) for row in behind["match"])
    ids = [row["construction_id"] for row in behind["match"]]
    names = {key: view.name for key, view in zip(ids, candidates, strict=True) if key is not None}
    return Ticket(
        anchor=anchor(lead["listing_id"]),
        number=number,
        call=lead["call"],
        listing_id=lead["listing_id"],
        title=phrase.title_of(lead["title"]),
        language=phrase.language_tag(lead["language"]),
        source=phrase.plain(lead["source"]),
        seller=phrase.short(lead["seller"]),
        url=link(lead["url"]),
        facts=facts_of(lead, context.tonight),
        price=price_of(lead),
        price_note=price_note_of(lead),
        price_base=base_price(lead),
        size=phrase.short(lead["size_text"]),
        foot=f"{lead['foot_mm_lo']:.0f}" if lead["foot_mm_lo"] is not None else "",
        model=lead["model"] or "",
        news=news_of(lead, context),
        candidates=candidates,
        figures=tuple(figures(row, behind["plan"], catalogue) for row in holding),
        others=tuple(figures(row, [], catalogue) for row in behind["verdict"] if row["call"] != lead["call"]),
        parts=parts,
        survival=picture_of(aged, shown, horizon, catalogue),
        said=said_of(behind["observation"], lead["weak_part"], catalogue),
        foam=foam_line(behind["observation"], aged, catalogue),
        findings=findings_of(behind["finding"]),
        open_facts=open_facts_of(behind["finding"], catalogue),
        repairs=repairs_of(behind["plan"], {row["buyer"]: row["plan"] for row in holding}, catalogue),
        swings=swings_of(behind["sensitivity"], lead["buyer"]),
        changed=latest_changes(behind["history"], [row["buyer"] for row in holding], catalogue),
        path=tuple(Step(phrase.day(row["seen_on"]), price_of(row)) for row in behind["path"]),
        twins=tuple(twin(row, context.shown) for row in behind["twin"][:TWINS]),
        messages=messages_of(lead, holding, behind["question"], catalogue) if lead["call"] == "ask" else (),
        evidence=evidence_of(behind["evidence"], names),
        exported=exported_of(behind["raw_row"]),
        photos=photos_of(behind["raw_row"]),
    )


def news_of(lead: Row, context: Context) -> str:
    """Return what is new of a listing since the night before: "new", "was ask", or nothing."""
    if context.previous is not None and lead["first_seen"] > context.previous:
        return "new"
    before = context.moved.get(lead["listing_id"])
    return f"was {before}" if before else ""


def base_price(row: Row) -> str:
    """Return a price in whole units of the base currency, for sorting; empty when not known."""
    minor = row["price_base_minor"]
    return "" if minor is None else f"{minor / 10 ** phrase.minor_digits(row['currency']):.2f}"


def facts_of(listing: Row, tonight: date | None) -> tuple[str, ...]:
    """Return the plain facts a buyer glances at: size, wear, where from, photos, when seen."""
    facts = [
        f"size {phrase.short(listing['size_text'])}" if listing["size_text"] else "size not stated",
        phrase.CONDITION[listing["condition"]] + (" (claims conflict)" if listing["condition_conflict"] else ""),
        f"from {listing['ships_from']}" if listing["ships_from"] else "",
        {"private": "private seller", "business": "business seller", None: ""}[listing["seller_kind"]],
        phrase.count(listing["photo_count"], "photo") if listing["photo_count"] is not None else "",
        f"first seen {phrase.day(listing['first_seen'])}",
    ]
    if tonight and listing["last_seen"] < tonight:
        facts.append(f"last seen {phrase.day(listing['last_seen'])}: may be gone")
    if listing["text_cut"]:
        facts.append("description cut short in the export")
    return tuple(fact for fact in facts if fact)


def price_of(row: Row) -> str:
    """Return a price as the seller states it."""
    return phrase.money(row["price_minor"], row.get("price_currency") or row.get("currency"))


def price_note_of(listing: Row) -> str:
    """Return what kind of price it is, and what it is in the buyer's money by which day's rate."""
    notes = [phrase.PRICE_KIND[listing["price_kind"]]]
    if listing["rate_date"] is not None and listing["price_currency"] != listing["currency"]:
        own = phrase.estimate(listing["price_base_minor"], listing["currency"])
        notes.append(f"{own} at the rate of {phrase.day(listing['rate_date'])}")
    elif listing["price_base_minor"] is None and listing["price_minor"] is not None:
        notes.append("no exchange rate fit to use")
    return ", ".join(note for note in notes if note)


def candidate(row: Row) -> Candidate:
    """Return a candidate release in words."""
    if row["construction_id"] is None:
        name = "none of the releases in the tables"
    elif row["generic"]:
        kind = row["model"] or row["category"] or row["construction_id"]
        name = f"some other pair of its kind: {kind}"
    else:
        words = (row["maker"], row["model"], row["edition"], row["colourway"])
        name = ", ".join([" ".join(w for w in words[:2] if w), *(w for w in words[2:] if w)])
        name = name or row["construction_id"]
    made = phrase.years(row["made_from"], row["made_to"]) if row["made_from"] is not None else ""
    how = phrase.LEVEL[row["level"]]
    return Candidate(name, phrase.percent(row["probability"]), how, row["accepted"], made, row["note"] or "")


def twin(row: Row, shown: frozenset[str]) -> Twin:
    """Return another listing of the same pair in words."""
    return Twin(
        words=phrase.KIND[row["kind"]],
        title=phrase.short(row["title"]) or row["twin_id"],
        source=phrase.plain(row["source"]),
        price=f"{price_of(row)}, {row['status']}" if row["status"] else "",
        why=phrase.plain(row["why"]),
        chance=phrase.percent(row["probability"]),
        anchor=anchor(row["twin_id"]) if row["twin_id"] in shown else "",
    )
