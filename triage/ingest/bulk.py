"""A long clean table goes from the file into the store in one statement; whatever is odd stops it.

Reading row by row in Python is several times slower than DuckDB's own reader, but that reader accepts much
that ought to be refused. So it is told everything (delimiter, quote, columns), runs in strict mode, and every
row passes the checks of the slow way, and the lines of the file must add up to the rows. Any doubt raises an
error, and the file is read the slow way from the start. (DuckDB 2.0.1 returns no row and no error when it is told
the line end, and leaves out blank lines: hence the count.)
"""

from pathlib import Path

import duckdb

from triage.ingest.dialect import Dialect, split
from triage.ingest.fit import Fitting
from triage.ingest.layout import Layout
from triage.ingest.rows import Bulk
from triage.store import Connection

# Line ends inside the cells of a feed's rows: escapes of a JSON text are taken in turn, so that a backslash
# before an n is none.
_LINE_ENDS_INSIDE = r"""
    SELECT coalesce(sum(len(list_filter(regexp_extract_all(cells::VARCHAR, '\\.'), lambda e: e = '\n'))), 0)
    FROM raw_row
    WHERE feed_id = ?
      AND contains(cells::VARCHAR, '\n')
"""
LEAST_BYTES = 16 << 20
# Of a file of so many bytes all rows fit into half of the memory that DuckDB may use meanwhile (``memory``).
IN_MEMORY = 300 << 20
_BLOCK = 1 << 22
# Stands in no text: an empty cell is an empty text, not NULL.
_NO_NULL = "\x01\x02\x03"


class NotCleanError(Exception):
    """A query for a clean table met something else."""


def bulk_of(path: Path, dialect: Dialect, layout: Layout) -> Bulk | None:
    """Return the statement that reads a clean table, or None when the file needs the slow way.

    Args:
        layout: From the first rows; the heading is the file's first line.
    """
    plain = dialect == Dialect(dialect.delimiter) and layout.kept is None and layout.headings == layout.header
    if not plain or len(dialect.delimiter.encode()) != 1:
        return None
    lines = _lines(path)
    if lines is None or not _ends_whole(path, dialect, layout):
        return None
    names = [f'"{heading.replace(chr(34), chr(34) * 2)}"' for heading in layout.headings]
    columns = ", ".join(f"{_text(heading)}: 'VARCHAR'" for heading in layout.headings)
    cells = ", ".join(f"{_text(heading)}: {name}" for heading, name in zip(layout.headings, names, strict=True))
    query = f"""
        SELECT to_json({{{cells}}}) AS cells
        FROM read_csv(
          ?,
          auto_detect = false,
          delim = ?,
          quote = '"',
          escape = '"',
          header = true,
          columns = {{{columns}}},
          nullstr = {_text(_NO_NULL)},
          strict_mode = true,
          null_padding = false,
          ignore_errors = false
        )
        WHERE CASE WHEN {_is_clean(layout, names, dialect)} THEN TRUE ELSE error('not clean') END
    """
    return Bulk(query, (str(path), dialect.delimiter), lines - 1, path.stat().st_size)


def store_bulk(store: Connection, feed_id: str, bulk: Bulk) -> int:
    """Store the rows of a query; return how many.

    Raises:
        NotCleanError: The table is not clean; the transaction is to be undone.
    """
    into = "INSERT INTO raw_row (feed_id, row_no, cells) SELECT ?, row_number() OVER (), cells FROM"
    source, values = f"({bulk.query})", bulk.values
    try:
        if bulk.bytes <= IN_MEMORY:
            # What numbers the rows takes them one by one: of rows that are there it is soon done, and all threads read.
            store.execute(f"CREATE OR REPLACE TEMP TABLE bulk_row AS {bulk.query}", bulk.values)
            source, values = "bulk_row", ()
        rows = int(store.execute(f"{into} {source}", [feed_id, *values]).fetchall()[0][0])
        store.execute("DROP TABLE IF EXISTS bulk_row")
    except duckdb.Error as error:
        raise NotCleanError(str(error).splitlines()[0]) from error
    inside = int(store.execute(_LINE_ENDS_INSIDE, [feed_id]).fetchall()[0][0])
    if rows + inside != bulk.lines:
        raise NotCleanError(f"{bulk.lines} lines, {rows} rows and {inside} line ends inside cells")
    return rows


def _is_clean(layout: Layout, names: list[str], dialect: Dialect) -> str:
    """Return the condition a row of data meets: filled, no heading, cells of their kinds, no row inside a cell."""
    first = names[0]
    filled = " + ".join(f"({name} <> '')::TINYINT" for name in names)
    kinds = [
        f"(NOT regexp_matches({name}, {_text(kind)}))::TINYINT"
        for name, kind in zip(names, layout.profile.kinds, strict=True)
        if kind
    ]
    inside = [
        f"NOT (contains({name}, chr(10)) AND "
        f"length({name}) - length(replace({name}, {_text(dialect.delimiter)}, '')) >= {layout.width - 1})"
        for name in names
    ]
    conditions = [
        f"{first} NOT IN ('', {_text(layout.header[0])})",
        f"{filled} > {max(1, layout.width // 3)}",
        f"({' + '.join(kinds) or '0'}) < 2",
        *inside,
    ]
    return " AND ".join(conditions)


def _lines(path: Path) -> int | None:
    """Return the number of lines; None when there is a NUL."""
    ends = 0
    last = b""
    with path.open("rb") as stream:
        while block := stream.read(_BLOCK):
            if b"\0" in block:
                return None
            ends += block.count(b"\n")
            last = block[-1:]
    return ends + (last != b"\n")


def _ends_whole(path: Path, dialect: Dialect, layout: Layout) -> bool:
    """Tell whether a file ends with a line end, or with a row that is not cut off."""
    with path.open("rb") as stream:
        stream.seek(max(0, path.stat().st_size - _BLOCK))
        tail = stream.read()
    if tail.endswith(b"\n"):
        return True
    last = tail.rpartition(b"\n")[2].decode("utf-8", "replace")
    cells = next((one.cells for one in split([last], dialect)), None)
    return cells is not None and len(cells) == layout.width and Fitting(layout, dialect).is_whole(cells)


def _text(text: str) -> str:
    """Return a text as SQL writes it."""
    return "'" + text.replace("'", "''") + "'"
