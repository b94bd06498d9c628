"""The night: run the eight stages in order, keep the account, and see that it adds up."""

import hashlib
import json
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import partial
from pathlib import Path

import polars as pl

from triage import due, ingest, listing, match, observation, prognosis, rules, verdict, writeup
from triage.catalogue import Catalogue
from triage.desk import overnight, published
from triage.errors import fail
from triage.handed import Lives
from triage.ingest import FeedNote
from triage.match.gaps import gaps
from triage.progress import Step, silent
from triage.spread import Kit, Spread
from triage.store import Connection, append, frame, transaction
from triage.verdict import history

ACCOUNT = """
SELECT
  f.feed_id,
  f.path,
  f.source,
  f.rows_read,
  f.lines_skipped,
  (SELECT count(*) FROM sighting s WHERE s.feed_id = f.feed_id AND s.part = 0 AND s.first) AS listings,
  (SELECT count(*) FROM sighting s WHERE s.feed_id = f.feed_id AND s.part = 0 AND NOT s.first) AS further,
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


# Steps of a night, for a bar.
STEPS = 8


def nightly(
    store: Connection,
    catalogue: Catalogue,
    feeds: Sequence[Path],
    as_of: date,
    out: Path,
    look: writeup.Look = writeup.Look(),  # noqa: B008 - frozen
    step: Step = silent,
    spread: Spread | None = None,
) -> Night:
    """Read the feeds, weigh every open listing and publish the report.

    Args:
        store: The store; it is brought up to the night.
        catalogue: The rules.
        feeds: Exports: files or folders.
        as_of: The night.
        out: Folder of all reports.
        look: How the report is to be written.
        step: Told the name of each of ``STEPS`` steps as it begins.
        spread: Where stages 2 to 7 are done; None: here.

    Raises:
        TriageError: A feed doesn't exist, or a rule may not run; nothing was written.
        Unbalanced: A feed's rows don't add up.
    """
    started = datetime.now(UTC).replace(tzinfo=None)
    rules.ensure(catalogue.rules, catalogue.facts, catalogue.signs)
    step("reading exports")
    with ThreadPoolExecutor(1) as aside:
        ready = None if spread else aside.submit(make_ready, catalogue)
        reading = listing.Reading(catalogue.words, catalogue.climates.regions)
        normalised = listing.normalise if spread is None else partial(spread.normalised, store, kit_of(catalogue))
        sort_out = partial(listing.sort_out, store, reading, normalised=normalised)
        notes = ingest.run(store, catalogue.feeds, feeds, as_of, then=sort_out)
        step("sorting out listings")
        twins = listing.write_twins if spread is None else partial(spread.twins, kit_of(catalogue))
        listing.run(store, catalogue.words, as_of, catalogue.climates.regions, normalised, twins)
        overnight.take_journal(store, catalogue)
        account = balanced(store)
        if ready is not None:
            ready.result()
    weigh(store, catalogue, as_of, step=step, spread=spread)
    record(store, catalogue, as_of, started, account)
    step("writing the report")
    page = writeup.run(store, catalogue, as_of, out, look)
    published.publish(store, catalogue.values)
    rejected = int(store.execute(REJECTED).fetchall()[0][0])
    return Night(notes, account, frame(store, CALLS), page, rejected)


def make_ready(catalogue: Catalogue) -> None:
    """Work out what stages 2 to 4 know before there is a listing: a second of Python, while the store is waited for.

    Where they are spread, each worker makes it for itself.
    """
    listing.make_ready(catalogue.words)
    observation.make_ready(catalogue.reading)
    match.make_ready(catalogue.constructions, catalogue.match_weights)


def weigh(
    store: Connection,
    catalogue: Catalogue,
    as_of: date,
    listings: Sequence[str] | None = None,
    step: Step = silent,
    spread: Spread | None = None,
) -> None:
    """Run stages 3 to 7 over some listings, or over all that are due, in one transaction."""
    with transaction(store):
        if spread is None:
            stages(store, catalogue, as_of, listings, step)
            return
        load_constructions(store, catalogue)
        # What changed for whom shows only between the stages: over several machines all on offer is done at once.
        due.fill(store, catalogue, as_of, listings, whole=True)
        spread.weigh(store, kit_of(catalogue), as_of, step)
        due.look_beside(store, catalogue, as_of, widen=False)
        due.look_at_worth(store, catalogue, widen=False)
        due.keep(store, as_of)


def stages(
    store: Connection, catalogue: Catalogue, as_of: date, listings: Sequence[str] | None, step: Step = silent
) -> None:
    """Run stages 3 to 7 over some listings, or over all that are due, and keep the calls that changed.

    The caller holds the transaction.
    """
    load_constructions(store, catalogue)
    due.fill(store, catalogue, as_of, listings)
    step("finding releases")
    match.run(store, catalogue.constructions, catalogue.match_weights, as_of)
    step("reading what was said")
    observation.run(store, catalogue.reading, as_of)
    step("ageing the parts")
    age(store, catalogue, as_of)
    due.look_beside(store, catalogue, as_of, widen=listings is None)
    step("applying the rules")
    rules.run(store, catalogue.rules, catalogue.facts, catalogue.signs)
    step("weighing for each buyer")
    pool = partial(due.look_at_worth, catalogue=catalogue, widen=listings is None)
    verdict.run(store, ground(catalogue), as_of, pool=pool)
    verdict.rank(store)
    history.record(store, catalogue, as_of)
    due.keep(store, as_of)


def age(
    store: Connection,
    catalogue: Catalogue,
    as_of: date,
    known: prognosis.Known | None = None,
) -> Lives | None:
    """Run stage 5 over the listings in ``todo``.

    Arguments and result as of ``prognosis.run``.
    """
    of_rules = dict(catalogue.materials), catalogue.unknown, catalogue.climates, catalogue.outlooks
    return prognosis.run(store, *of_rules, as_of, known)


def ground(catalogue: Catalogue) -> verdict.Ground:
    """Return what stage 7 knows beside the tables."""
    return verdict.Ground(
        buyers=catalogue.buyers,
        repairs=catalogue.repairs,
        costs=catalogue.costs,
        values=catalogue.values,
        signs=catalogue.signs,
        facts=catalogue.facts,
        ageing_signs=catalogue.ageing_signs,
    )


def kit_of(catalogue: Catalogue) -> Kit:
    """Return what every part of a night that is spread knows."""
    return Kit(catalogue, ground(catalogue))


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


def account_text(night: Night) -> str:
    """Return what became of each file, and the account of the whole store."""
    lines = [f"{note.path}: {note.outcome}{', ' + '; '.join(note.notes) if note.notes else ''}" for note in night.notes]
    lines.append("rows read = new listings + further sightings + rejects")
    for row in night.account.iter_rows(named=True):
        lines.append(
            f"  {row['path']}: {row['rows_read']} = {row['listings']} + {row['further']} + {row['rejects']}"
            + (f" ({row['lines_skipped']} lines that are no data)" if row["lines_skipped"] else "")
        )
    total = [int(night.account[name].sum()) for name in ("rows_read", "listings", "further", "rejects")]
    lines.append(f"  together: {total[0]} = {total[1]} + {total[2]} + {total[3]}")
    return "\n".join(lines) + "\n"


def catalogue_text(catalogue: Catalogue) -> str:
    """Return how much of everything the rules hold."""
    named = {
        "materials": catalogue.materials,
        "signs": catalogue.signs,
        "rules": catalogue.rules,
        "facts": catalogue.facts,
        "repairs": catalogue.repairs,
        "routes": catalogue.routes,
        "buyers": catalogue.buyers,
        "feed maps": catalogue.feeds.maps,
        "sources": catalogue.sources,
    }
    counts = [f"{len(found)} {name}" for name, found in named.items()]
    tables = catalogue.constructions
    counts.insert(1, f"{tables.table.height} releases and {tables.generic.height} generic constructions")
    return f"{catalogue.folder}: nothing wrong with {', '.join(counts)}"


def confirm(store: Connection, catalogue: Catalogue, listing_id: str, release: str, as_of: date) -> None:
    """Record which release a listing is, kept for good.

    Args:
        release: model_id of the construction table, or ``none``.

    Raises:
        TriageError: The listing or the release does not exist; nothing was written.
    """
    if not store.execute("SELECT 1 FROM listing WHERE listing_id = ?", [listing_id]).fetchall():
        fail(f"listing {listing_id}", "not in the store", "an id as the reports show it")
    if release != "none" and release not in catalogue.constructions.table["model_id"]:
        fail(f"release {release}", "not in the construction tables", "a model_id, or none")
    named = None if release == "none" else release
    store.execute("INSERT INTO confirmation VALUES (?, ?, ?)", [listing_id, named, as_of])


def remarks(store: Connection, catalogue: Catalogue) -> list[rules.Remark]:
    """Return what is odd about the rules on a store's listings: never fire, always together, at odds."""
    due.set_todo(store, None)
    columns = rules.columns_of(catalogue.facts, tuple(catalogue.signs))
    return rules.lint(rules.read_facts(store, catalogue.signs), rules.compile_rules(catalogue.rules, columns, []))


def gaps_text(store: Connection, catalogue: Catalogue) -> str:
    """Return the makers and models most often offered that no table has, as rows ready to fill."""
    found = gaps(store, catalogue.constructions, catalogue.match_weights)
    if found.is_empty():
        return "no maker or model is missing more than once"
    lines = []
    for row in found.to_dicts():
        years = f", {row['year_lo']} to {row['year_hi']}" if row["year_lo"] else ""
        lines.append(f"# {row['listings']} listings, such as {row['example']!r}{years}")
        lines.append(row["row"].rstrip())
    return "\n".join(lines)
