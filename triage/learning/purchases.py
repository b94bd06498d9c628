"""Purchases: what was bought when and for how much, and what it came to; told piece by piece, kept for good."""

import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields, replace
from datetime import date

import polars as pl

from triage.catalogue import Catalogue
from triage.errors import USAGE, Problem, TriageError
from triage.store import Connection, append, frame, transaction

LAST = """
SELECT * EXCLUDE (listing_id)
FROM purchase
WHERE listing_id = ?
ORDER BY rowid DESC
LIMIT 1
"""
CALLED = "SELECT DISTINCT buyer FROM call_history"
FIRST_INSPECTED = "SELECT min(inspected_on) AS first FROM inspection WHERE listing_id = ?"
SCHEMA = {
    "listing_id": pl.String, "buyer": pl.String, "bought_on": pl.Date, "landed_minor": pl.Int64,
    "currency": pl.String, "arrived_on": pl.Date, "repair_minor": pl.Int64, "worth_minor": pl.Int64,
    "sold_on": pl.Date, "note": pl.String,
}  # fmt: skip
# Option of the command line -> column.
COLUMNS = {
    "--on": "bought_on", "--price": "landed_minor", "--arrived": "arrived_on", "--repair": "repair_minor",
    "--worth": "worth_minor", "--sold-on": "sold_on", "--for": "buyer", "--note": "note",
}  # fmt: skip


@dataclass(frozen=True)
class Purchase:
    """A row of the table ``purchase``; amounts in minor units of ``currency``."""

    listing_id: str
    bought_on: date
    currency: str
    buyer: str | None = None
    landed_minor: int | None = None
    arrived_on: date | None = None
    repair_minor: int | None = None
    worth_minor: int | None = None
    sold_on: date | None = None
    note: str | None = None


def given(
    store: Connection, catalogue: Catalogue, listing_id: str, told: Mapping[str, str | None], as_of: date
) -> Purchase:
    """Return a purchase with what is told of it now; what is not told stays as it was told before.

    Args:
        store: Open store; nothing is written.
        catalogue: The buyers, beside those of earlier calls, and the currency of every amount.
        listing_id: The pair.
        told: Text by option, as in ``COLUMNS``; None where it was not given.
        as_of: No date is later than this.

    Raises:
        TriageError: The pair is unknown, or something is wrong with what is told: every fault.
    """
    problems: list[Problem] = []
    currency = catalogue.words.money.base_currency
    decimals = catalogue.words.money.decimals.get(currency, 2)
    buyers = {*catalogue.buyers, *frame(store, CALLED)["buyer"]}
    if not store.execute("SELECT 1 FROM listing WHERE listing_id = ?", [listing_id]).fetchall():
        problems.append(Problem(f"listing {listing_id}", "not in the store", "an id as the reports show it"))
    values: dict[str, object] = {}
    for option, text in told.items():
        if text is not None:
            values[COLUMNS[option]] = _value(option, text, decimals, as_of, problems)
    if told.get("--for") is not None and told["--for"] not in buyers:
        problems.append(Problem(f"--for {told['--for']}", "no such buyer", f"one of {', '.join(sorted(buyers))}"))
    before = frame(store, LAST, [listing_id]).to_dicts()
    if not before and told.get("--on") is None:
        problems.append(Problem("--on", "not given", f"the day {listing_id} was bought, YYYY-MM-DD"))
    if problems:
        raise TriageError(problems, USAGE)
    new = {"bought_on": as_of, "currency": currency, **(before[0] if before else {}), **values}
    made = replace(Purchase(listing_id, as_of, currency), **new)  # type: ignore[arg-type]
    _see_order(store, made)
    return made


def take(store: Connection, purchase: Purchase) -> bool:
    """Record a purchase; return whether it says anything the store did not have."""
    with transaction(store):
        return add(store, purchase)


def add(store: Connection, purchase: Purchase) -> bool:
    """Do what ``take`` does within a transaction of the caller's."""
    row = asdict(purchase)
    before = frame(store, LAST, [purchase.listing_id]).to_dicts()
    if before and all(before[0][one.name] == row[one.name] for one in fields(purchase) if one.name != "listing_id"):
        return False
    append(store, "purchase", pl.DataFrame([row], schema=SCHEMA))
    return True


def _value(option: str, text: str, decimals: int, as_of: date, problems: list[Problem]) -> object:
    """Return what the text of an option says; on a fault add a problem and return None."""
    column = COLUMNS[option]
    if column.endswith("_on"):
        try:
            day = date.fromisoformat(text)
        except ValueError:
            day = None
        if day is not None and day <= as_of:
            return day
        problems.append(Problem(option, f"is {text!r}", f"a date YYYY-MM-DD, up to {as_of}"))
    elif column.endswith("_minor"):
        amount = re.fullmatch(r"(\d{1,12})(?:[.,](\d+))?", text)
        if amount and len(amount[2] or "") <= decimals:
            return int(amount[1] + (amount[2] or "").ljust(decimals, "0"))
        example = f"84.{'5'.ljust(decimals, '0')}" if decimals else "84"
        problems.append(Problem(option, f"is {text!r}", f"an amount like {example}"))
    return text if column in ("buyer", "note") else None


def _see_order(store: Connection, made: Purchase) -> None:
    """See that a pair was bought before it arrived, was looked at or sold."""
    inspected = frame(store, FIRST_INSPECTED, [made.listing_id])["first"].item()
    steps = (("--arrived", "arrived", made.arrived_on), ("--sold-on", "was sold", made.sold_on),
             ("--on", "was first inspected", inspected))  # fmt: skip
    held = made.arrived_on or made.bought_on
    problems = [
        Problem(option, f"the pair {what} on {day}", f"from {start} on, when it {word}")
        for option, what, day in steps
        for start, word in [(made.bought_on, "was bought") if option == "--arrived" else (held, "came")]
        if day is not None and day < start
    ]
    if made.sold_on is not None and made.worth_minor is None:
        problems.append(Problem("--sold-on", f"is {made.sold_on}, and no --worth is told", "what it was sold for"))
    if problems:
        raise TriageError(problems, USAGE)
