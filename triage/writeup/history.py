"""Earlier calls in words: "was ask, now buy, because the seller says the foam springs back"."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

import polars as pl

from triage.store import Connection, frame, registered, rows_of
from triage.writeup import phrase
from triage.writeup.knowledge import Catalogue

Row = Mapping[str, Any]

# Everything that was called of the listings in ``shown``, the first call first.
CALLS_SO_FAR = f"""
SELECT
  listing_id, buyer, place, as_of, call, plan, offer_minor, currency, p_wearable, because,
  lag(call) OVER earlier AS call_was,
  lag(plan) OVER earlier AS plan_was,
  lag(offer_minor) OVER earlier AS offer_was_minor
FROM ({rows_of("call_history", "shown")})
WINDOW earlier AS (PARTITION BY listing_id, buyer ORDER BY place)
ORDER BY listing_id, buyer, place
"""


def calls_so_far(rows: Iterable[Row], catalogue: Catalogue) -> list[str]:
    """Return a line for every call that was made on a listing, buyer by buyer."""
    return [
        f"{_named(row, catalogue)}, {phrase.day(row['as_of'])}: {row['call']}, {phrase.PLAN[row['plan']]}, "
        f"up to {phrase.at_most(row['offer_minor'], row['currency'])}, wearable {_chance(row)}; "
        + (row["because"] if row["call_was"] is None else change(row))
        for row in rows
    ]


def latest_changes(rows: Sequence[Row], buyers: Sequence[str], catalogue: Catalogue) -> tuple[str, ...]:
    """Return the latest change of the calls for some buyers, in words, with its date.

    Args:
        rows: As ``CALLS_SO_FAR`` gives them, of one listing.
        buyers: Ids of the buyers shown; named where there are several.
    """
    last = {row["buyer"]: row for row in rows if row["call_was"] is not None and row["buyer"] in buyers}
    many = len(buyers) > 1
    return tuple(
        f"{_named(last[buyer], catalogue) + ': ' if many else ''}{change(last[buyer])}, "
        f"{phrase.day(last[buyer]['as_of'])}"
        for buyer in buyers
        if buyer in last
    )


def change(row: Row) -> str:
    """Return what a row changed and why: the call, else the plan, else the offer."""
    if row["call"] != row["call_was"]:
        was, now = row["call_was"], row["call"]
    elif row["plan"] != row["plan_was"]:
        was, now = phrase.PLAN[row["plan_was"]], phrase.PLAN[row["plan"]]
    else:
        was, now = (
            f"up to {phrase.at_most(row[name], row['currency'])}" for name in ("offer_was_minor", "offer_minor")
        )
    return f"was {was}, now {now}, because {row['because']}"


def _named(row: Row, catalogue: Catalogue) -> str:
    buyer = catalogue.buyers.get(row["buyer"])
    return buyer.name if buyer else str(row["buyer"])


def _chance(row: Row) -> str:
    return "not known" if row["p_wearable"] is None else phrase.percent(row["p_wearable"])


# How far each history went, and what is called now, of the listings in ``shown``.
REACHED = """
SELECT listing_id, buyer, max(place) AS place
FROM call_history
GROUP BY listing_id, buyer
ORDER BY listing_id, buyer
"""
HOLDING = """
SELECT v.listing_id, v.buyer, v.call, l.title
FROM verdict v
JOIN listing l USING (listing_id)
JOIN shown USING (listing_id)
ORDER BY v.listing_id, v.buyer
"""


def answered(store: Connection, catalogue: Catalogue, take: Callable[[], Sequence[str]]) -> str:
    """Return which calls change by what ``take`` does: it records answers and returns the listings weighed anew."""
    reached = {(listing, buyer): place for listing, buyer, place in frame(store, REACHED).iter_rows()}
    listings = take()
    if not listings:
        return "nothing new: the store has these answers already\n"
    with registered(store, "shown", pl.DataFrame({"listing_id": listings})):
        held, calls = frame(store, HOLDING).to_dicts(), frame(store, CALLS_SO_FAR).to_dicts()
    moved = {
        (row["listing_id"], row["buyer"]): change(row)
        for row in calls
        if row["place"] > reached.get((row["listing_id"], row["buyer"]), 0) and row["call_was"] is not None
    }
    lines = [f"{phrase.count(len(listings), 'listing')} weighed anew"]
    shown = ""
    for row in held:
        if row["listing_id"] != shown:
            shown = row["listing_id"]
            lines.append(f"{phrase.plain(row['title'])} [{phrase.plain(shown)}]")
        words = moved.get((shown, row["buyer"]), f"stays {row['call']}")
        lines.append(f"  {_named(row, catalogue)}: {words}")
    return "\n".join(lines) + "\n"
