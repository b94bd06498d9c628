"""Read a whole store, recount every ledger line and see that the tables agree: each query returns what is wrong."""

from collections.abc import Iterator
from dataclasses import dataclass

import duckdb

from triage.errors import STORE_TROUBLE, Problem, TriageError
from triage.keeping.copies import scan_open
from triage.keeping.opening import Connection

_SHOWN = 20


@dataclass(frozen=True)
class Check:
    """What must hold, and the query for the rows that break it: what it is, found, expected."""

    what: str
    query: str


CHECKS = (
    Check("the ledger line of an export", """
        SELECT 'export ' || feed.path, 'rows_read is ' || rows_read, 'rows stored + rows refused by stage 1 = '
          || (coalesce(stored.total, 0) + coalesce(refused.total, 0))
        FROM feed
        LEFT JOIN (SELECT feed_id, count(*) AS total FROM raw_row GROUP BY feed_id) stored USING (feed_id)
        LEFT JOIN (
          SELECT feed_id, count(*) AS total FROM reject WHERE scope = 'row' AND stage = 'ingest' GROUP BY feed_id
        ) refused USING (feed_id)
        WHERE rows_read <> coalesce(stored.total, 0) + coalesce(refused.total, 0)
    """),
    Check("the refused rows of an export", """
        SELECT 'export ' || feed.path, 'rows_rejected is ' || rows_rejected, coalesce(refused.total, 0)
        FROM feed
        LEFT JOIN (
          SELECT feed_id, count(DISTINCT row_no) AS total FROM reject WHERE scope = 'row' GROUP BY feed_id
        ) refused USING (feed_id)
        WHERE rows_rejected <> coalesce(refused.total, 0)
    """),
    Check("the account of an export", """
        SELECT 'export ' || feed.path, 'rows_read is ' || rows_read, 'sightings + refused rows = '
          || (coalesce(seen.total, 0) + coalesce(refused.total, 0)) || '; the next night reads the rest'
        FROM feed
        LEFT JOIN (SELECT feed_id, count(*) AS total FROM sighting GROUP BY feed_id) seen USING (feed_id)
        LEFT JOIN (
          SELECT feed_id, count(DISTINCT row_no) AS total FROM reject WHERE scope = 'row' GROUP BY feed_id
        ) refused USING (feed_id)
        WHERE rows_read <> coalesce(seen.total, 0) + coalesce(refused.total, 0)
    """),
    Check("the numbers of an export's rows", """
        SELECT 'export ' || feed.path, 'row ' || row_no || ' stands in it ' || count(*) || ' times', 'once, up to '
          || any_value(rows_read)
        FROM (
          SELECT feed_id, row_no FROM raw_row
          UNION ALL
          SELECT feed_id, row_no FROM reject WHERE scope = 'row' AND stage = 'ingest'
        ) numbered
        JOIN feed USING (feed_id)
        GROUP BY feed.path, feed_id, row_no
        HAVING count(*) > 1 OR row_no > any_value(rows_read) OR row_no < 1
    """),
    Check("the id of an export", """
        SELECT 'export ' || path, 'feed_id is ' || feed_id, 'the start of sha256 ' || sha256
        FROM feed WHERE feed_id <> left(sha256, 16)
    """),
    Check("a row of an export", """
        SELECT 'row ' || row_no || ' of export ' || feed_id, 'stands in ' || place, 'a row of an export of the ledger'
        FROM (
          SELECT feed_id, row_no, 'raw_row' AS place FROM raw_row
          UNION ALL SELECT feed_id, row_no, 'reject' FROM reject
        ) stray
        WHERE feed_id NOT IN (SELECT feed_id FROM feed)
        UNION ALL
        SELECT 'row ' || row_no || ' of export ' || feed_id, 'is a sighting', 'a row that is stored'
        FROM (SELECT feed_id, row_no FROM sighting EXCEPT SELECT feed_id, row_no FROM raw_row)
    """),
    Check("the sightings of a listing", """
        SELECT 'listing ' || coalesce(listing.listing_id, seen.listing_id),
          CASE WHEN listing.listing_id IS NULL THEN 'has sightings and is none'
               WHEN seen.listing_id IS NULL THEN 'was never seen'
               ELSE 'was first seen ' || seen.firsts || ' times, nights ' || seen.from_ || ' to ' || seen.to_ END,
          'one first sighting, nights ' || coalesce(first_seen || ' to ' || last_seen, 'as the sightings say')
        FROM listing
        FULL JOIN (
          SELECT listing_id, count(*) FILTER (first) AS firsts, min(seen_on) AS from_, max(seen_on) AS to_
          FROM sighting GROUP BY listing_id
        ) seen ON seen.listing_id = listing.listing_id
        WHERE seen.listing_id IS NULL OR listing.listing_id IS NULL
          OR firsts <> 1 OR first_seen <> from_ OR last_seen <> to_
    """),
    Check("a verdict", """
        SELECT 'listing ' || listing_id, 'has a verdict and is none', 'a listing'
        FROM (SELECT DISTINCT listing_id FROM verdict EXCEPT SELECT listing_id FROM listing)
    """),
    Check("the counts of a night", """
        SELECT 'the night of ' || as_of, 'read ' || (counts->>'rows_read'), 'new + further + refused = '
          || ((counts->>'listings')::BIGINT + (counts->>'further')::BIGINT + (counts->>'rejects')::BIGINT)
        FROM run
        WHERE (counts->>'rows_read')::BIGINT
          <> (counts->>'listings')::BIGINT + (counts->>'further')::BIGINT + (counts->>'rejects')::BIGINT
    """),
)  # fmt: skip


@dataclass(frozen=True)
class Sound:
    """What a sound store holds."""

    exports: int
    rows: int
    listings: int
    sightings: int
    nights: int

    def __str__(self) -> str:
        return (
            f"{self.rows} rows read, every ledger line recounted: {self.exports} exports, {self.sightings} sightings "
            f"of {self.listings} listings, {self.nights} nights; nothing wrong"
        )


def verify(connection: Connection, place: str) -> Sound:
    """Return what a store holds when all of it can be read and adds up.

    Raises:
        TriageError: Every fault found, at most twenty a check.
        duckdb.Error: A block can't be read.
    """
    rows = scan_open(connection)
    _touch_indexes(connection)
    problems = [problem for check in CHECKS for problem in _broken(connection, check, place)]
    if problems:
        raise TriageError(problems, STORE_TROUBLE)
    counts = [
        int(connection.execute(f"SELECT count(*) FROM {table}").fetchall()[0][0])
        for table in ("feed", "listing", "sighting", "run")
    ]
    return Sound(counts[0], rows, counts[1], counts[2], counts[3])


def _broken(connection: Connection, check: Check, place: str) -> Iterator[Problem]:
    found = connection.execute(f"SELECT * FROM ({check.query}) ORDER BY ALL LIMIT {_SHOWN}").fetchall()
    for what, said, expected in found:
        yield Problem(f"{place}: {what}", str(said), f"{expected} ({check.what})")


def _touch_indexes(connection: Connection) -> None:
    """Read every index: a look-up by key loads it, and DuckDB checks its blocks as it does."""
    query = """
        SELECT table_name, constraint_column_names FROM duckdb_constraints()
        WHERE constraint_type = 'PRIMARY KEY' AND database_name = current_database()
    """
    for table, columns in connection.execute(query).fetchall():
        names = ", ".join(f'"{column}"' for column in columns)
        row = connection.execute(f'SELECT {names} FROM "{table}" ORDER BY rowid DESC LIMIT 1').fetchall()
        if row:
            same = " AND ".join(f'"{column}" = ?' for column in columns)
            found = connection.execute(f'SELECT count(*) FROM "{table}" WHERE {same}', list(row[0])).fetchall()
            if found[0][0] != 1:
                raise duckdb.IOException(f"Corrupt index of {table}: a row that is there is not found by its key")
