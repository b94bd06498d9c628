"""The sheet for a pair that has arrived: tests in their order beside what the seller claimed, on one printed page."""

import shlex
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any, Protocol

import polars as pl

from triage.errors import fail
from triage.keeping.held import usual
from triage.store import Connection, frame
from triage.writeup import phrase
from triage.writeup.arrivals import LAST_PURCHASE
from triage.writeup.folder import write_file
from triage.writeup.frames import nearest_id, read_detail
from triage.writeup.knowledge import Catalogue
from triage.writeup.page import page
from triage.writeup.parts import PARTS, material_words
from triage.writeup.queries import LISTING
from triage.writeup.ticket import anchor, candidate

Row = Mapping[str, Any]

# Folder of the sheets among the reports.
SHEETS = "sheets"
# What fits on the printed page beside a test, and of one quote.
CLAIMS, QUOTE = 2, 64


class Test(Protocol):
    """A test of ``rules/inspection.toml``."""

    @property
    def do(self) -> str: ...
    @property
    def unfit(self) -> str: ...
    @property
    def parts(self) -> Sequence[str]: ...
    @property
    def signs(self) -> Sequence[str]: ...
    @property
    def stop(self) -> bool: ...


class Claim(Protocol):
    """A period of ``rules/inspection.toml``."""

    @property
    def days(self) -> int: ...
    @property
    def what(self) -> str: ...
    @property
    def source(self) -> str: ...
    def fits(self, ships_from: str | None, seller_kind: str | None, marketplace: str) -> bool: ...


class Inspection(Protocol):
    """The tests and the periods."""

    @property
    def test(self) -> Sequence[Test]: ...
    @property
    def claim(self) -> Sequence[Claim]: ...


class Knowledge(Catalogue, Protocol):
    """What the sheet reads of the catalogue."""

    @property
    def inspection(self) -> Inspection: ...


@dataclass(frozen=True)
class Claimed:
    """What the seller said of a sign: in our words, and in theirs."""

    words: str
    quote: str
    language: str


@dataclass(frozen=True)
class TestLine:
    """A test of the sheet with what the seller claimed of it."""

    do: str
    unfit: str
    parts: str
    stop: bool
    claimed: tuple[Claimed, ...]
    more: int


def sheet_page(store: Connection, catalogue: Knowledge, listing_id: str, parts: Collection[str]) -> str:
    """Return the inspection sheet of a pair as a page that prints on one sheet of A4; arguments as ``sheet_of``."""
    return page("receipt.html", **sheet_of(store, catalogue, listing_id, parts))


def sheet_of(store: Connection, catalogue: Knowledge, listing_id: str, parts: Collection[str]) -> dict[str, Any]:
    """Return what the inspection sheet of a pair says.

    What the program believes of the parts is left out on purpose: whoever inspects should not know it.

    Args:
        store: Store that holds the listing.
        catalogue: Tests, periods and words.
        listing_id: The pair.
        parts: The parts it has.

    Raises:
        TriageError: The store has no such listing.
    """
    found = frame(store, LISTING, [listing_id]).to_dicts()
    if not found:
        like = nearest_id(store, listing_id)
        fail(f"listing {listing_id}", "not in the store", f"an id of the store, such as {like}" if like else "a night")
    listing, detail = found[0], read_detail(store, pl.Series([listing_id]))
    observations = detail.observation.filter(pl.col("counts") & pl.col("said_by").is_in(["listing", "answer"]))
    bought = next(iter(frame(store, LAST_PURCHASE, [listing_id]).to_dicts()), None)
    match = next(iter(detail.match.to_dicts()), None)
    aged = detail.prognosis.filter(pl.col("place") == 1).unique("part").select("part", "material")
    made_of = dict(aged.iter_rows())
    return dict(
        listing_id=phrase.plain(listing_id),
        title=phrase.title_of(listing["title"]),
        language=phrase.language_tag(listing["language"]),
        source=phrase.plain(listing["source"]),
        facts=_facts(listing, bought),
        release=candidate(match) if match else None,
        tests=_tests(catalogue, observations.to_dicts(), parts),
        periods=_periods(catalogue.inspection.claim, listing, bought["arrived_on"] if bought else None),
        results=[(part, material_words(made_of.get(part, "?"), catalogue)[0]) for part in PARTS if part in parts],
        command=shlex.join(["triage", "inspect", listing_id]),
    )


def write_sheet(out: Path, listing_id: str, text: str) -> Path:
    """Write a sheet among the reports, over an earlier one of the same pair, and return its path."""
    path = out / SHEETS / f"{anchor(listing_id)}.html"
    with usual():
        write_file(path, text)
    return path


def _facts(listing: Row, bought: Row | None) -> tuple[str, ...]:
    facts = [
        f"size {phrase.short(listing['size_text'])}" if listing["size_text"] else "size not stated",
        f"sold as {phrase.CONDITION[listing['condition']]}",
        f"price {phrase.money(listing['price_minor'], listing['currency'])}",
    ]
    if bought:
        facts.append(f"bought {phrase.day(bought['bought_on'])}")
        facts.append(f"arrived {phrase.day(bought['arrived_on'])}" if bought["arrived_on"] else "arrived ________")
    else:
        facts.append("no purchase recorded")
    return tuple(facts)


def _tests(catalogue: Knowledge, said: Sequence[Row], parts: Collection[str]) -> tuple[TestLine, ...]:
    """Return the tests of the parts a pair has, in their order."""
    lines = []
    for test in catalogue.inspection.test:
        own = [part for part in PARTS if part in test.parts and part in parts]
        if own or not test.parts:
            claims = _claims(catalogue, [row for sign in test.signs for row in said if row["sign"] == sign])
            lines.append(
                TestLine(test.do, test.unfit, ", ".join(own), test.stop, claims[:CLAIMS], len(claims[CLAIMS:]))
            )
    return tuple(lines)


def _claims(catalogue: Knowledge, rows: Iterable[Row]) -> tuple[Claimed, ...]:
    claims = []
    for row in rows:
        sign = catalogue.signs.get(row["sign"])
        words = (sign.affirmed if row["state"] == "affirmed" else sign.denied) if sign else row["sign"]
        quote = phrase.plain(row["quote"])
        cut = quote if len(quote) <= QUOTE else quote[: QUOTE - 1].rstrip() + "…"
        doubt = ", with a doubt" if row["hedged"] else ""
        claims.append(Claimed(words + doubt, cut, phrase.language_tag(row["language"])))
    return tuple(claims)


def _periods(claims: Iterable[Claim], listing: Row, arrived: date | None) -> tuple[tuple[str, str], ...]:
    """Return what can be done until when, the shortest time first; one line says so where no time is known."""
    fitting = [one for one in claims if one.fits(listing["ships_from"], listing["seller_kind"], listing["source"])]
    timed = sorted((one for one in fitting if one.days), key=lambda one: one.days)
    lines = [(_until(one.days, arrived), f"{one.what} ({one.source})") for one in timed]
    if not timed:
        who = {"private": "a private seller", "business": "a trader"}.get(listing["seller_kind"], "this seller")
        where = f" in {listing['ships_from']}" if listing["ships_from"] else ""
        lines.append(("No date known", f"the rules name no period for {who}{where}: look up the marketplace's terms"))
    lines += [("At once", f"{one.what} ({one.source})") for one in fitting if not one.days]
    return tuple(lines)


def _until(days: int, arrived: date | None) -> str:
    if arrived is None:
        return f"{days} days after arrival"
    return f"Until {phrase.day(arrived + timedelta(days=days))} ({days} days)"
