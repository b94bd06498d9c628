"""Forget a seller for good: no name, text, address or answer of theirs stays in the store's file or its copies.

What a pair was (its price, dates, size, the chances of the day, what the buyer found and paid) stays, under an id that
leads nowhere. Nothing is changed in place: a copy is emptied of the seller, and what is left of it is written into a
new file, because a database keeps what was deleted in its free blocks.
"""

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import duckdb

from triage.errors import STORE_TROUBLE, TriageError, fail
from triage.keeping import copies, versions
from triage.keeping.opening import Connection, faults_told, log_of, open_file

# Rows whose seller cell is the name, and listings that show it or were made of such rows; names whatever their case.
NAMED = """
CREATE OR REPLACE TEMP TABLE named_row AS
SELECT r.feed_id, r.row_no
FROM raw_row r
JOIN feed f USING (feed_id)
WHERE lower(trim(json_extract_string(
  r.cells, '/' || replace(replace(json_extract_string(f.mapping, '$.seller'), '~', '~0'), '/', '~1')
))) = lower(trim($1));
"""
LISTINGS = """
CREATE OR REPLACE TEMP TABLE named_listing AS
WITH named AS (
  SELECT listing_id FROM listing WHERE lower(trim(seller)) = lower(trim($1))
  UNION
  SELECT listing_id FROM sighting JOIN named_row USING (feed_id, row_no)
)
SELECT
  listing_id,
  l.source || '/forgotten-' || (
    row_number() OVER (ORDER BY listing_id) + (
      SELECT coalesce(max(regexp_extract(listing_id, '/forgotten-(\\d+)$', 1)::BIGINT), 0)
      FROM listing
      WHERE regexp_matches(listing_id, '/forgotten-\\d+$')
    )
  ) AS new_id
FROM listing l
JOIN named USING (listing_id)
"""
ROWS = """
INSERT INTO named_row
SELECT DISTINCT feed_id, row_no FROM sighting JOIN named_listing USING (listing_id)
EXCEPT
SELECT * FROM named_row
"""
EXPORTS = """
SELECT DISTINCT concat(path, ' of ', seen_on) FROM feed JOIN named_row USING (feed_id) ORDER BY ALL
"""
# A whole word in a text, whatever its case.
WORD = (
    "regexp_matches(lower({column}::VARCHAR), '(^|[^\\pL\\pN])' || regexp_escape(lower(trim($1))) || '($|[^\\pL\\pN])')"
)
# What the buyer keeps of a forgotten listing, and what goes from it. Every other table that has listings loses its
# rows: the next night works out what can be.
KEPT = ("listing", "sighting", "call_history", "answer", "confirmation", "inspection", "purchase")
EMPTIED = (
    "DELETE FROM habit WHERE (source, seller) IN (SELECT (source, seller) FROM listing SEMI JOIN named_listing "
    "USING (listing_id))",
    "UPDATE raw_row SET cells = '{}' WHERE (feed_id, row_no) IN (FROM named_row)",
    "UPDATE reject SET value = NULL WHERE (feed_id, row_no) IN (FROM named_row)",
    "DELETE FROM answer WHERE said_by = 'answer' AND listing_id IN (SELECT listing_id FROM named_listing)",
    "UPDATE answer SET text = 'forgotten' WHERE text IS NOT NULL AND listing_id IN "
    "(SELECT listing_id FROM named_listing)",
    "UPDATE inspection SET note = NULL WHERE listing_id IN (SELECT listing_id FROM named_listing)",
    "UPDATE purchase SET note = NULL WHERE listing_id IN (SELECT listing_id FROM named_listing)",
    "UPDATE call_history SET text_md5 = 'forgotten' WHERE listing_id IN (SELECT listing_id FROM named_listing)",
    "UPDATE sighting SET status = 'gone' WHERE status = 'open' AND listing_id IN "
    "(SELECT listing_id FROM named_listing)",
    """
    UPDATE listing SET
      external_id = split_part(n.new_id, '/', -1), url = NULL, seller = NULL, title = '', body = NULL, named = NULL,
      language = NULL, region = NULL, size_text = NULL, image_names = NULL, text_cut = FALSE,
      status = CASE status WHEN 'open' THEN 'gone' ELSE status END
    FROM named_listing n
    WHERE n.listing_id = listing.listing_id
    """,
    "UPDATE listing SET lot_id = n.new_id FROM named_listing n WHERE n.listing_id = listing.lot_id",
)
WITH_LISTINGS = """
SELECT table_name, list(column_name ORDER BY column_index)
FROM duckdb_columns()
SEMI JOIN (FROM duckdb_tables()) USING (database_name, table_name)
WHERE database_name = current_database() AND NOT internal AND column_name IN ('listing_id', 'twin_id')
  AND table_name NOT IN ('named_row', 'named_listing')
GROUP BY table_name
ORDER BY table_name
"""
TEXTS = """
SELECT table_name, column_name
FROM duckdb_columns()
SEMI JOIN (FROM duckdb_tables()) USING (database_name, table_name)
WHERE database_name = current_database() AND NOT internal
  AND (contains(data_type, 'VARCHAR') OR data_type = 'JSON')
ORDER BY table_name, column_index
"""
NEAREST = """
SELECT seller FROM listing WHERE seller IS NOT NULL
ORDER BY jaro_winkler_similarity(lower(seller), lower($1)) DESC, seller
LIMIT 1
"""


@dataclass(frozen=True)
class Forgotten:
    """What was forgotten, and what was found that is not the store's to change.

    Attributes:
        listings: Listings emptied.
        rows: Rows of exports emptied.
        copies: Copies of the store taken away.
        reports: Reports and sheets taken away.
        exports: Exports in the ledger that hold rows of the seller: files of the user's own.
        mentions: Table and column to how many other rows hold the name as a word: texts of other people.
    """

    listings: int
    rows: int
    copies: int
    reports: int
    exports: tuple[str, ...]
    mentions: dict[str, int]


def forget(store: Path, seller: str, take_reports: Callable[[list[str]], int]) -> Forgotten:
    """Forget a seller in a store, its copies and its reports.

    The order is such that a run that is killed can be run again: the emptied store is finished first, reports go
    while their listings are still known, then it takes its place, then copies go.

    Args:
        store: A store of today's contract, closed; its lock is held.
        seller: Name as exports have it, whatever the case.
        take_reports: Takes away every report that has one of some ids or the name in it, and returns how many.

    Raises:
        TriageError: Nobody of that name is in store, copies or reports, or something is damaged; nothing was changed.
    """
    if not seller.strip():
        fail("--seller", f"is {seller!r}", "a seller's name as the exports have it")
    if log_of(store).exists():
        fail(str(log_of(store)), "still there after the store was closed", "no log", STORE_TROUBLE)
    work = copies.work_folder(store)
    work.mkdir(mode=0o700, exist_ok=True)
    emptied = work / "emptied.duckdb"
    try:
        shutil.copyfile(store, emptied)
        fresh = copies.fresh_of(store)
        with faults_told(store):
            ids, rows, exports = _empty(emptied, seller)
            if rows or ids:
                versions.written_anew(emptied, fresh)
        reports = take_reports([*ids, seller])
        if rows or ids:
            copies.put(fresh, store)
    finally:
        shutil.rmtree(work, ignore_errors=True)
    gone = [one.path for one in copies.copies_of(store) if _holds(one.path, seller)]
    for path in gone:
        for file in (path, log_of(path), path.with_name(f"{path.name}.sha256")):
            file.unlink(missing_ok=True)
    if not (ids or rows or gone or reports):
        _nobody(store, seller)
    if gone:
        copies.backup(store, "forgotten")
    return Forgotten(len(ids), rows, len(gone), reports, exports, _mentions(store, seller))


def _find(connection: Connection, seller: str) -> tuple[list[str], int]:
    """Work out which listings and rows are a seller's; return the ids and the number of rows."""
    connection.execute(NAMED, [seller])
    connection.execute(LISTINGS, [seller])
    connection.execute(ROWS)
    ids = connection.execute("SELECT listing_id FROM named_listing ORDER BY listing_id").fetchall()
    return [row[0] for row in ids], int(connection.execute("SELECT count(*) FROM named_row").fetchall()[0][0])


def _empty(path: Path, seller: str) -> tuple[list[str], int, tuple[str, ...]]:
    """Take a seller out of a store; return the listings' old ids, how many rows, and of which exports."""
    connection = open_file(path)
    try:
        ids, rows = _find(connection, seller)
        exports = tuple(row[0] for row in connection.execute(EXPORTS).fetchall())
        connection.execute("BEGIN TRANSACTION")
        connection.execute(f"UPDATE reject SET value = NULL WHERE {WORD.format(column='value')}", [seller])
        for statement in EMPTIED:
            connection.execute(statement)
        for table, columns in connection.execute(WITH_LISTINGS).fetchall():
            for column in columns:
                connection.execute(_statement(table, column))
        connection.execute("COMMIT")
    finally:
        connection.close()
    return ids, rows, exports


def _statement(table: str, column: str) -> str:
    if table in KEPT:
        return f'UPDATE "{table}" AS t SET {column} = n.new_id FROM named_listing n WHERE n.listing_id = t.{column}'
    return f'DELETE FROM "{table}" WHERE {column} IN (SELECT listing_id FROM named_listing)'


def _holds(copy: Path, seller: str) -> bool:
    """Return whether a copy holds anything of a seller; one that can't be read may."""
    try:
        connection = open_file(copy, read_only=True)
    except TriageError:
        return True
    try:
        ids, rows = _find(connection, seller)
    except duckdb.Error:
        return True
    finally:
        connection.close()
    return bool(ids or rows)


def _mentions(store: Path, seller: str) -> dict[str, int]:
    connection = open_file(store, read_only=True)
    try:
        found = {}
        for table, column in connection.execute(TEXTS).fetchall():
            query = f'SELECT count(*) FROM "{table}" WHERE {WORD.format(column=column)}'
            found[f"{table}.{column}"] = int(connection.execute(query, [seller]).fetchall()[0][0])
    finally:
        connection.close()
    return {place: number for place, number in found.items() if number}


def _nobody(store: Path, seller: str) -> None:
    connection = open_file(store, read_only=True)
    try:
        like = connection.execute(NEAREST, [seller]).fetchall()
    finally:
        connection.close()
    expected = f"a name as the exports have it, such as {like[0][0]!r}" if like else "a name as the exports have it"
    fail(f"--seller {seller}", "nobody of that name in the store, its copies or its reports", expected)
