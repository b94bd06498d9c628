"""Which contract a store was laid out by, and how an older store becomes one of today.

``contract.sql`` is always the newest contract. Each file of ``migrations/`` stands for one change of it, and its
number is the version that change made. An older store isn't altered in place (DuckDB can't add a column with a
check): a new file is laid out beside it, every row is copied by the names of its columns, and the new file takes
the old one's place. What a copied row lacks gets the column's default; a migration fills in more with SQL that finds
the old tables in the schema ``old``.
"""

from importlib.resources import files
from pathlib import Path

import duckdb

from triage.errors import STORE_TROUBLE, fail
from triage.keeping import copies
from triage.keeping.opening import Connection, log_of, open_file, tell

_FIRST = 1


def migrations() -> dict[int, str]:
    """Return the SQL of every migration by the version it makes, in order."""
    found = sorted(
        (one for one in files("triage").joinpath("migrations").iterdir() if one.name.endswith(".sql")),
        key=lambda one: one.name,
    )
    return {int(one.name[:4]): one.read_text("utf-8") for one in found}


def current() -> int:
    """Return the version of the contract."""
    return max(migrations(), default=_FIRST)


def lay_out(connection: Connection, comments: bool = True) -> None:
    """Make the tables of the contract in an empty database.

    Args:
        comments: With what tables and columns mean; they take as long as all the tables.
    """
    contract = files("triage").joinpath("contract.sql").read_text("utf-8")
    if not comments:
        contract = "\n".join(line for line in contract.splitlines() if not line.startswith("COMMENT ON "))
    connection.execute("BEGIN TRANSACTION")
    connection.execute(contract)
    connection.execute("INSERT INTO schema_version VALUES (?)", [current()])
    connection.execute("COMMIT")


def version_of(connection: Connection) -> int | None:
    """Return the version of a store; None when the database is none."""
    query = "SELECT table_name FROM duckdb_tables() WHERE database_name = current_database() AND NOT internal"
    tables = {name for (name,) in connection.execute(query).fetchall()}
    if "schema_version" in tables:
        found = connection.execute("SELECT max(version) FROM schema_version").fetchall()[0][0]
        return None if found is None else int(found)
    return _FIRST if {"run", "feed", "raw_row", "listing", "sighting"} <= tables else None


def make_new(path: Path) -> None:
    """Make an empty store; it appears whole or not at all."""
    fresh = copies.fresh_of(path)
    connection = open_file(fresh)
    try:
        lay_out(connection)
    finally:
        connection.close()
    copies.put(fresh, path)


def bring_up(path: Path) -> None:
    """Bring a store up to today's contract.

    Raises:
        TriageError: It is none, is of a newer version, or its rows don't fit; it is as it was.
    """
    connection = open_file(path)
    try:
        version = version_of(connection)
    except duckdb.Error as error:
        tell(str(path), error)
    finally:
        connection.close()
    if version is None:
        fail(str(path), "a DuckDB file, but no store", "a file that 'triage nightly' has made", STORE_TROUBLE)
    if version > current():
        fail(
            str(path),
            f"a store of version {version}; this program knows versions up to {current()}",
            "a newer triage, or 'triage store restore' with a copy made before; nothing was changed",
            STORE_TROUBLE,
        )
    if version < current():
        _migrate(path, version)


def _migrate(path: Path, version: int) -> None:
    if log_of(path).exists():
        fail(str(log_of(path)), "still there after the store was closed", "no log", STORE_TROUBLE)
    copies.backup(path, f"version-{version}")
    fresh = copies.fresh_of(path)
    try:
        written_anew(path, fresh, version)
    except duckdb.ConstraintException as error:
        fail(
            str(path),
            f"rows of version {version} don't fit version {current()} ({str(error).splitlines()[0][:300]})",
            "the triage that made it; nothing was changed. Please report this",
            STORE_TROUBLE,
        )
    except duckdb.Error as error:
        tell(str(path), error)
    copies.put(fresh, path)


def written_anew(path: Path, fresh: Path, version: int | None = None) -> None:
    """Write all rows of a store into a new file, in their order, and read it through: free blocks stay behind.

    Args:
        path: The store; it is only read.
        fresh: Where the new file shall be.
        version: The store's version; today's when left out.

    Raises:
        duckdb.ConstraintException: Rows don't fit today's contract.
        duckdb.Error: Something can't be read or written.
    """
    connection = open_file(fresh)
    try:
        lay_out(connection)
        connection.execute(f"ATTACH {_quoted(str(path), chr(39))} AS old (READ_ONLY)")
        connection.execute("BEGIN TRANSACTION")
        for table in _tables(connection, "old"):
            _copy_table(connection, table)
        for number, statements in migrations().items():
            if version is not None and number > version and _says_something(statements):
                connection.execute(statements)
        connection.execute("COMMIT")
        connection.execute("DETACH old")
        connection.execute("CHECKPOINT")
    finally:
        connection.close()
    copies.scan(fresh)


def _copy_table(connection: Connection, table: str) -> None:
    """Copy a table row by row in order, columns by name; a table of the user's own comes along as it is."""
    name = _quoted(table)
    if table == "schema_version" or table in _views(connection):
        # What is a view now is filled by the migration that made it one.
        return
    if table not in _tables(connection, "main"):
        connection.execute(f"CREATE TABLE {name} AS FROM old.{name} ORDER BY rowid")
    else:
        shared = _columns(connection, "old", table)
        known = set(_columns(connection, "main", table))
        columns = ", ".join(_quoted(column) for column in shared if column in known)
        connection.execute(f"INSERT INTO {name} ({columns}) SELECT {columns} FROM old.{name} ORDER BY rowid")
    counts = [
        connection.execute(f"SELECT count(*) FROM {place}.{name}").fetchall()[0][0]
        for place in ("old", _quoted(_database(connection)))
    ]
    if counts[0] != counts[1]:
        raise duckdb.ConstraintException(f"{table}: {counts[0]} rows before, {counts[1]} after")


def _database(connection: Connection) -> str:
    return str(connection.execute("SELECT current_database()").fetchall()[0][0])


def _tables(connection: Connection, database: str) -> list[str]:
    name = _database(connection) if database == "main" else database
    query = "SELECT table_name FROM duckdb_tables() WHERE database_name = ? AND NOT temporary ORDER BY table_oid"
    return [row[0] for row in connection.execute(query, [name]).fetchall()]


def _views(connection: Connection) -> set[str]:
    query = "SELECT view_name FROM duckdb_views() WHERE database_name = ? AND NOT internal"
    return {row[0] for row in connection.execute(query, [_database(connection)]).fetchall()}


def _columns(connection: Connection, database: str, table: str) -> list[str]:
    name = _database(connection) if database == "main" else database
    query = """
        SELECT column_name FROM duckdb_columns() WHERE database_name = ? AND table_name = ? ORDER BY column_index
    """
    return [row[0] for row in connection.execute(query, [name, table]).fetchall()]


def _says_something(statements: str) -> bool:
    return any(line.strip() and not line.strip().startswith("--") for line in statements.splitlines())


def _quoted(text: str, quote: str = '"') -> str:
    return quote + text.replace(quote, quote * 2) + quote
