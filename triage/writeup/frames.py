"""The frames behind a report: of the whole night, and of the listings shown in full."""

from dataclasses import dataclass
from datetime import date

import polars as pl

from triage.order import ordered
from triage.store import Connection, frame, registered
from triage.writeup import queries
from triage.writeup.history import CALLS_SO_FAR


@dataclass(frozen=True)
class Night:
    """The frames of the whole night: every listing on offer, and those that left since the night before.

    ``nights`` holds the last dates exports were saved on, the latest first, at most two.
    ``reported_until`` is the date of the last report before this one; NULL when there was none.
    """

    as_of: date
    nights: tuple[date, ...]
    reported_until: date | None
    feed: pl.DataFrame
    reject: pl.DataFrame
    listing: pl.DataFrame
    price_path: pl.DataFrame
    verdict: pl.DataFrame


@dataclass(frozen=True)
class Detail:
    """The frames behind the listings that are shown in full, and behind no others."""

    match: pl.DataFrame
    evidence: pl.DataFrame
    observation: pl.DataFrame
    prognosis: pl.DataFrame
    finding: pl.DataFrame
    posterior: pl.DataFrame
    plan: pl.DataFrame
    question: pl.DataFrame
    twin: pl.DataFrame
    raw_row: pl.DataFrame
    history: pl.DataFrame
    sensitivity: pl.DataFrame


def read_night(store: Connection, as_of: date) -> Night:
    """Return what the store holds of a night."""
    return Night(
        as_of=as_of,
        nights=tuple(frame(store, queries.NIGHTS, [as_of])["seen_on"].to_list()),
        reported_until=frame(store, queries.LAST_RUN, [as_of])["as_of"].item(),
        feed=frame(store, queries.FEEDS, [as_of]),
        reject=frame(store, queries.REJECTS, [as_of]),
        listing=ordered(frame(store, queries.OF_NIGHT, [as_of]), "listing_id"),
        price_path=frame(store, queries.PATH_ON_OFFER, [as_of]),
        verdict=ordered(frame(store, queries.VERDICTS), "listing_id", "buyer"),
    )


def read_detail(store: Connection, listing_ids: pl.Series) -> Detail:
    """Return everything known of some listings.

    Args:
        listing_ids: Ids of the listings to be shown in full.
    """
    with registered(store, "shown", pl.DataFrame({"listing_id": listing_ids.cast(pl.String)})):
        return Detail(
            match=frame(store, queries.MATCHES),
            evidence=frame(store, queries.EVIDENCE),
            observation=frame(store, queries.OBSERVATIONS),
            prognosis=frame(store, queries.PROGNOSES),
            finding=frame(store, queries.FINDINGS),
            posterior=frame(store, queries.POSTERIORS),
            plan=frame(store, queries.PLANS),
            question=frame(store, queries.QUESTIONS),
            twin=frame(store, queries.TWINS),
            raw_row=frame(store, queries.RAW_ROWS),
            history=frame(store, CALLS_SO_FAR),
            sensitivity=frame(store, queries.SENSITIVITY),
        )


def nearest_id(store: Connection, listing_id: str) -> str | None:
    """Return the id of the store most like one that is not there; None for an empty store."""
    found = frame(store, queries.NEAREST_ID, [listing_id])["listing_id"].to_list()
    return found[0] if found else None
