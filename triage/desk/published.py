"""What a night publishes for the page: one small DuckDB file beside the store, with the pairs worth an evening.

DuckDB lets one process write a file or several read it, never both, so a page that read the store itself would keep
the night out, or be kept out by it. This file is made beside its place and moved over it, and the page copies it into
memory and lets go of it: neither ever waits for the other. It holds every row of the pairs shown, and of other
listings only what those are compared with, so it is small whatever the store's size.
"""

from pathlib import Path

import duckdb

from triage.catalogue.values import Values
from triage.errors import TriageError
from triage.keeping import copies, versions
from triage.keeping.held import private
from triage.keeping.opening import Connection, open_file
from triage.rules.facts import ASKED
from triage.store import file_of, rows_of
from triage.verdict.worth import LATEST, OFFERS

# The best of each call for each buyer; more is not looked at in an evening.
MOST_SHOWN = 150
# What something was noted about stays for so long, whatever its call: a parcel takes its time.
NOTED_DAYS = 120

SHOWN = """
CREATE OR REPLACE TEMP TABLE todo AS
SELECT listing_id
FROM verdict
JOIN listing USING (listing_id)
WHERE status = 'open' AND call IN ('buy', 'ask') AND rank <= $1
UNION
SELECT listing_id
FROM note
SEMI JOIN listing USING (listing_id)
WHERE noted_on > (SELECT max(as_of) FROM run) - $2::INTEGER
ORDER BY listing_id
"""
# Twins of the pairs shown are named on their tickets.
KIN = """
CREATE OR REPLACE TEMP TABLE kin AS
SELECT DISTINCT twin_id AS listing_id
FROM twin
SEMI JOIN todo USING (listing_id)
WHERE twin_id NOT IN (SELECT listing_id FROM todo)
ORDER BY listing_id
"""
# What the pairs shown are measured against, and nothing else of others: the latest comparable offers of their models,
# and what open pairs of their releases ask. The pairs themselves and their kin are in the file by their own rows.
OWN_RELEASES = """
CREATE OR REPLACE TEMP TABLE own_release AS
SELECT DISTINCT c.model_id, c.maker || ' ' || c.model AS model
FROM match m
SEMI JOIN todo USING (listing_id)
JOIN construction c ON c.model_id = m.construction_id
"""
HELD = "SELECT listing_id FROM todo UNION ALL SELECT listing_id FROM kin"
BESIDE = {
    "beside_offer": LATEST.format(
        offers=f"SELECT * FROM ({OFFERS}) WHERE model IN (SELECT model FROM own_release) AND listing_id NOT IN ({HELD})"
    ),
    "beside_asked": f"""
SELECT construction_id, price_base_minor
FROM ({ASKED})
WHERE construction_id IN (SELECT model_id FROM own_release) AND listing_id NOT IN ({HELD})
""",
}
WHOLE = ("run", "storage_node", "feed")
BY_LISTING = (
    "sighting", "twin", "match_evidence", "observation", "life_led", "finding_fired", "finding_open", "posterior",
    "verdict", "plan", "question", "sensitivity", "call_history", "answer", "confirmation", "inspection", "purchase",
    "note",
)  # fmt: skip
# Of kin no texts and no names: nothing of them is shown but what they ask.
OF_KIN = {
    "listing": "SELECT * REPLACE (NULL AS body, NULL AS seller) FROM listing SEMI JOIN kin USING (listing_id)",
    "match": "SELECT * FROM match SEMI JOIN kin USING (listing_id) WHERE place = 1",
    "soundness": "SELECT * FROM soundness SEMI JOIN kin USING (listing_id)",
}
LIFE_PARTS = """
SELECT *
FROM life_part
WHERE life IN (SELECT life FROM life_led SEMI JOIN todo USING (listing_id))
ORDER BY rowid
"""
OPEN_RULES = """
SELECT *
FROM open_rule
WHERE open_set IN (SELECT open_set FROM finding_open SEMI JOIN todo USING (listing_id))
ORDER BY rowid
"""
RAW_ROWS = """
SELECT *
FROM raw_row
SEMI JOIN (SELECT feed_id, row_no FROM sighting SEMI JOIN todo USING (listing_id)) USING (feed_id, row_no)
ORDER BY feed_id, row_no
"""


def path_of(store: Path) -> Path:
    """Return where a store's published file is."""
    return store.with_name(f"{store.name}.desk")


def publish(store: Connection, values: Values) -> Path | None:
    """Write the file beside a store anew; None for a store in memory.

    Args:
        values: Which offers are comparable.
    """
    place = file_of(store)
    if place is None:
        return None
    store.execute(SHOWN, [MOST_SHOWN, NOTED_DAYS])
    store.execute(KIN)
    store.execute(OWN_RELEASES)
    path = path_of(place)
    with private():
        fresh = copies.fresh_of(path)
        store.execute(f"ATTACH '{str(fresh).replace(chr(39), chr(39) * 2)}' AS published")
        try:
            for table, query in _queries().items():
                store.execute(f"CREATE TABLE published.{table} AS {query}")
            for table, query in BESIDE.items():
                given = {"sound_from": values.sound_from} if "$sound_from" in query else None
                store.execute(f"CREATE TABLE published.{table} AS {query}", given)
            store.execute("CREATE TABLE published.schema_version AS FROM schema_version")
            store.execute("CHECKPOINT published")
        finally:
            store.execute("DETACH published")
        copies.put(fresh, path)
    return path


def _queries() -> dict[str, str]:
    """Return what each table of the file holds, in the order it was written: the later of two answers counts."""
    shown = {name: f"{rows_of(name, 'todo')} ORDER BY rowid" for name in (*BY_LISTING, *OF_KIN)}
    both = {name: f"({shown[name]}) UNION ALL ({query} ORDER BY listing_id)" for name, query in OF_KIN.items()}
    whole = {name: f"SELECT * FROM {name} ORDER BY rowid" for name in WHOLE}
    return shown | both | whole | {"life_part": LIFE_PARTS, "open_rule": OPEN_RULES, "raw_row": RAW_ROWS}


def is_of_today(path: Path) -> bool:
    """Return whether a file is there and was published under today's contract, with the tables of today."""
    if not path.is_file():
        return False
    try:
        connection = open_file(path, read_only=True)
    except TriageError:
        return False
    try:
        found = {name for (name,) in connection.execute("SELECT table_name FROM duckdb_tables()").fetchall()}
        expected = {*_queries(), *BESIDE, "schema_version"}
        return found == expected and versions.version_of(connection) == versions.current()
    except duckdb.Error:
        return False
    finally:
        connection.close()


def read_into(memory: Connection, path: Path) -> None:
    """Fill an empty store in memory from a published file, which is let go of at once."""
    memory.execute(f"ATTACH '{str(path).replace(chr(39), chr(39) * 2)}' AS published (READ_ONLY)")
    try:
        for table in _queries():
            memory.execute(f"INSERT INTO {table} BY NAME SELECT * FROM published.{table} ORDER BY rowid")
        for table in BESIDE:
            memory.execute(f"CREATE TEMP TABLE {table} AS FROM published.{table}")
    finally:
        memory.execute("DETACH published")
