"""The night: run the eight stages in order, keep the account, and see that it adds up."""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

import polars as pl

from triage import ingest, listing, match, observation, prognosis, rules, verdict, writeup
from triage.catalogue import Catalogue
from triage.ingest import FeedNote
from triage.store import Connection, append, frame, transaction

ACCOUNT = """
SELECT
  f.feed_id,
  f.path,
  f.source,
  f.rows_read,
  f.lines_skipped,
  (SELECT count(*) FROM sighting s WHERE s.feed_id = f.feed_id AND s.first) AS listings,
  (SELECT count(*) FROM sighting s WHERE s.feed_id = f.feed_id AND NOT s.first) AS further,
  (SELECT count(DISTINCT r.row_no) FROM reject r WHERE r.feed_id = f.feed_id AND r.scope = 'row') AS rejects,
  (SELECT count(*) FROM reject r WHERE r.feed_id = f.feed_id AND r.scope = 'file') AS refused
FROM feed f
ORDER BY f.path, f.feed_id
"""
CALLS = "SELECT buyer, call, count(*) AS listings FROM verdict GROUP BY ALL ORDER BY buyer, call"
REJECTED = "SELECT count(*) FROM reject WHERE scope IN ('file', 'row')"


class Unbalanced(Exception):  # noqa: N818 - it reads as what it says
    """Rows went missing between the exports and the tables: a bug, shown with the account."""


@dataclass(frozen=True)
class Night:
    """What a night did: notes on the files, the account, the page, and whether rows were rejected."""

    notes: list[FeedNote]
    account: pl.DataFrame
    calls: pl.DataFrame
    page: Path
    rejected: int


def nightly(store: Connection, catalogue: Catalogue, feeds: Sequence[Path], as_of: date, out: Path) -> Night:
    """Read the feeds, weigh every open listing and publish the report.

    Raises:
        TriageError: A feed doesn't exist, or a rule may not run; nothing was written.
        Unbalanced: A feed's rows don't add up.
    """
    started = datetime.now(UTC).replace(tzinfo=None)
    rules.ensure(catalogue.rules, catalogue.facts, signs_asked(catalogue))
    notes = ingest.run(store, catalogue.feeds, feeds, as_of)
    with transaction(store):
        listing.run(store, catalogue.words, as_of)
        account = balanced(store)
    weigh(store, catalogue, as_of)
    record(store, catalogue, as_of, started, account)
    page = writeup.run(store, catalogue, as_of, out)
    rejected = int(store.execute(REJECTED).fetchall()[0][0])
    return Night(notes, account, frame(store, CALLS), page, rejected)


def weigh(store: Connection, catalogue: Catalogue, as_of: date, listings: Sequence[str] | None = None) -> None:
    """Run stages 3 to 7 over some listings, or over all of them, in one transaction."""
    with transaction(store):
        load_constructions(store, catalogue)
        set_todo(store, listings)
        match.run(store, catalogue.constructions, catalogue.match_weights, as_of)
        observation.run(store, catalogue.signs, as_of)
        horizons = [buyer.horizon_years for buyer in catalogue.buyers.values()]
        prognosis.run(store, dict(catalogue.materials), catalogue.unknown, catalogue.climates, horizons, as_of)
        rules.run(store, catalogue.rules, catalogue.facts, signs_asked(catalogue))
        verdict.run(store, ground(catalogue), as_of)


def signs_asked(catalogue: Catalogue) -> dict[str, bool]:
    """Return every sign with whether it can be asked for."""
    return {sign.id: sign.question is not None for sign in catalogue.signs}


def ground(catalogue: Catalogue) -> verdict.Ground:
    """Return what stage 7 knows beside the tables."""
    return verdict.Ground(
        buyers=catalogue.buyers,
        repairs=catalogue.repairs,
        routes=catalogue.routes,
        values=catalogue.values,
        signs=catalogue.signs.by_id,
        facts=catalogue.facts,
        rule_groups={rule.id: rule.group for rule in catalogue.rules if rule.group is not None},
        ageing_signs=catalogue.ageing_signs,
    )


def set_todo(store: Connection, listings: Sequence[str] | None) -> None:
    """Fill ``todo``: the listings to work on, all when none are named."""
    store.execute("CREATE OR REPLACE TEMP TABLE todo (listing_id VARCHAR)")
    if listings is None:
        store.execute("INSERT INTO todo SELECT listing_id FROM listing ORDER BY listing_id")
    else:
        append(store, "todo", pl.DataFrame({"listing_id": list(listings)}, schema={"listing_id": pl.String}))


def load_constructions(store: Connection, catalogue: Catalogue) -> None:
    """Replace the store's construction table by the catalogue's."""
    names = [row[0] for row in store.execute("SELECT column_name FROM duckdb_columns() WHERE table_name = "
                                             "'construction' ORDER BY column_index").fetchall()]  # fmt: skip
    store.execute("DELETE FROM construction")
    for table, generic in ((catalogue.constructions.table, False), (catalogue.constructions.generic, True)):
        append(store, "construction", table.with_columns(generic=pl.lit(generic)).select(names))


def balanced(store: Connection) -> pl.DataFrame:
    """Return the account of all feeds.

    Raises:
        Unbalanced: Some feed's rows read are not new listings + further sightings + rejects.
    """
    account = frame(store, ACCOUNT)
    wrong = account.filter(pl.col("rows_read") != pl.col("listings") + pl.col("further") + pl.col("rejects"))
    if wrong.height:
        raise Unbalanced(f"rows read are not listings + further sightings + rejects:\n{wrong}")
    return account


def record(store: Connection, catalogue: Catalogue, as_of: date, started: datetime, account: pl.DataFrame) -> None:
    """Write the run; the same night over the same exports and rules is the same run and is kept as it was."""
    feeds = ",".join(account["feed_id"].sort().to_list())
    run_id = hashlib.sha256(f"{as_of}|{catalogue.sha256}|{feeds}".encode()).hexdigest()[:16]
    if store.execute("SELECT 1 FROM run WHERE run_id = ?", [run_id]).fetchall():
        return
    counts = {
        "rows_read": int(account["rows_read"].sum()),
        "listings": int(account["listings"].sum()),
        "further": int(account["further"].sum()),
        "rejects": int(account["rejects"].sum()),
        "calls": {f"{buyer} {call}": number for buyer, call, number in frame(store, CALLS).iter_rows()},
    }
    finished = datetime.now(UTC).replace(tzinfo=None)
    row = [run_id, as_of, started, finished, catalogue.sha256, json.dumps(counts, sort_keys=True)]
    store.execute("INSERT INTO run VALUES (?, ?, ?, ?, ?, ?)", row)
