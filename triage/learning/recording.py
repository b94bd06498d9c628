"""Inspections: one from the command line, or a file of them, recorded whole or not at all, kept for good."""

from collections.abc import Mapping
from datetime import date
from pathlib import Path

import polars as pl

from triage.catalogue.documents import read_csv
from triage.errors import USAGE, Problem, TriageError, fail
from triage.learning.release import PARTS, parts_of
from triage.store import Connection, append, frame, registered, transaction

# The columns of a file of inspections; the first three must be there, an empty cell is as good as none.
COLUMNS = {
    "listing": "id of the listing, as the reports show it",
    "part": "midsole, outsole, cushion, bond, trim, coating, upper or lining",
    "found": "fit or unfit",
    "date": "day of the inspection, YYYY-MM-DD; the as-of date when left out; the latest of a part counts",
    "wears": "times worn before",
    "note": "free text",
}
REQUIRED = ("listing", "part", "found")
KNOWN = """
SELECT w.listing_id, coalesce(p.arrived_on, p.bought_on) AS held_on, p.arrived_on IS NOT NULL AS arrived
FROM wanted w
JOIN listing USING (listing_id)
LEFT JOIN (
  SELECT * FROM purchase QUALIFY row_number() OVER (PARTITION BY listing_id ORDER BY rowid DESC) = 1
) p USING (listing_id)
"""
# The same inspection told again is the same inspection.
NEW = """
SELECT g.*
FROM given_inspection g
ANTI JOIN inspection i ON i.listing_id = g.listing_id AND i.part = g.part AND i.inspected_on = g.inspected_on
  AND i.state = g.state AND i.wears IS NOT DISTINCT FROM g.wears AND i.note IS NOT DISTINCT FROM g.note
ORDER BY g.nth
"""


def given(store: Connection, file: Path | None, cells: Mapping[str, str | None], as_of: date) -> pl.DataFrame:
    """Return the inspections of a file, or the one of the command line, whose cells are named like a file's columns.

    Args:
        store: Open store; nothing is written.
        file: CSV file with the columns of ``COLUMNS``; None for the command line's own.
        cells: Cells by column; ``listing`` is None where none was given.
        as_of: No inspection is later than this.

    Returns:
        Rows of the table ``inspection`` in the order they were given, one each, and ``nth``, their place from 0.

    Raises:
        TriageError: Both a file and an inspection are given, or some have faults: every one, with its line.
    """
    problems: list[Problem] = []
    if file is None:
        rows = [("inspection", {name: cell or "" for name, cell in cells.items()})]
    elif cells["listing"] is None:
        rows = in_file(file, problems)
    else:
        fail("--file", f"is {file} and listing is {cells['listing']!r}", "one or the other")
    told = _read(store, rows, as_of)
    problems.extend(Problem(*row) for row in _faults(told, as_of).iter_rows())
    if problems:
        raise TriageError(problems, USAGE)
    recorded = told.select(
        "nth", listing_id="listing", part="part", inspected_on="day", state="found", wears="times",
        note=pl.when(pl.col("note") != "").then("note"),
    )  # fmt: skip
    return recorded.unique(recorded.columns[1:], keep="first", maintain_order=True)


def take(store: Connection, inspections: pl.DataFrame) -> pl.DataFrame:
    """Record inspections, all of them or none, and return those that the store did not have."""
    with transaction(store):
        return add(store, inspections)


def add(store: Connection, inspections: pl.DataFrame) -> pl.DataFrame:
    """Do what ``take`` does within a transaction of the caller's."""
    with registered(store, "given_inspection", inspections):
        new = frame(store, NEW).drop("nth")
    append(store, "inspection", new)
    return new


def in_file(path: Path, problems: list[Problem]) -> list[tuple[str, dict[str, str]]]:
    """Return the rows of a CSV file with the columns of ``COLUMNS``, each with its place; faults are added."""
    rows = read_csv(path, REQUIRED, problems)
    for column in rows[0][1] if rows else ():
        if column not in COLUMNS:
            problems.append(Problem(f"{path}:1", f"column {column!r}", f"some of the columns {', '.join(COLUMNS)}"))
    if not rows and not problems:
        problems.append(Problem(str(path), "no inspection in it", "a row an inspection"))
    return [(f"{path}:{line}", cells) for line, cells in rows]


def _read(store: Connection, rows: list[tuple[str, dict[str, str]]], as_of: date) -> pl.DataFrame:
    """Return the cells as columns with what they say: ``day``, ``times``, and what the store knows of each pair."""
    columns = {"place": [place for place, _ in rows]}
    columns |= {name: [cells.get(name) or "" for _, cells in rows] for name in COLUMNS}
    told = pl.DataFrame(columns, schema=dict.fromkeys(columns, pl.String)).with_row_index("nth")
    told = told.with_columns(pl.col(tuple(COLUMNS)).str.strip_chars()).with_columns(
        day=pl.when(pl.col("date") == "")
        .then(pl.lit(as_of))
        # As the other dates of the command line: nothing but YYYY-MM-DD.
        .otherwise(pl.when(pl.col("date").str.contains(r"^\d{4}-\d{2}-\d{2}$")).then("date").str.to_date(strict=False)),
        times=pl.when(pl.col("wears").str.contains(r"^\d{1,6}$")).then("wears").cast(pl.Int32),
    )
    named = told["listing"].unique().to_list()
    parts = parts_of(store, named)
    with registered(store, "wanted", pl.DataFrame({"listing_id": named}, schema={"listing_id": pl.String})):
        known = frame(store, KNOWN).with_columns(known=pl.lit(True))
    for one in (parts, known):
        told = told.join(one, left_on="listing", right_on="listing_id", how="left", maintain_order="left")
    return told


def _faults(told: pl.DataFrame, as_of: date) -> pl.DataFrame:
    """Return every fault of every row: place, what was found, what was expected."""
    known, part, day = pl.col("known").is_not_null(), pl.col("part"), pl.col("day")
    a_part, a_state = part.is_in(PARTS), pl.col("found").is_in(["fit", "unfit"])
    held = pl.when("arrived").then(pl.lit("arrived")).otherwise(pl.lit("was bought"))
    same = ["listing", "part", "day"]
    other = pl.col("place").filter(pl.col("found") != pl.col("found").first()).first().over(same)
    first = pl.col("place").first().over(same)
    against = pl.when(pl.col("found") != pl.col("found").first().over(same)).then(first).otherwise(other)
    faults: tuple[tuple[pl.Expr, pl.Expr, str | pl.Expr], ...] = (
        (pl.col("listing") == "", pl.lit("listing is ''"), "an id as the reports show it"),
        (~known & (pl.col("listing") != ""), pl.format("listing {} is not in the store", "listing"),
         "an id of the store, as the reports show it"),
        (~a_part, _is("part"), f"one of {', '.join(PARTS)}"),
        (known & a_part & ~pl.col("parts").list.contains(part),
         pl.format("part is '{}', which {} does not have", "part", "release"),
         pl.format("one of {}; or 'triage confirm' first, where the pair is another release",
                   pl.col("parts").list.join(", "))),
        (~a_state, _is("found"), "fit or unfit"),
        (day.is_null() | (day > as_of), _is("date"), f"a date YYYY-MM-DD, up to {as_of}"),
        (day < pl.col("held_on"), pl.format("date is {}, and the pair {} on {}", "day", held, "held_on"),
         "a date from then on; or 'triage bought' with the right date first"),
        ((pl.col("wears") != "") & pl.col("times").is_null(), _is("wears"), "a whole number, or nothing"),
        (a_state & day.is_not_null() & against.is_not_null(),
         pl.format("{} is {} on {}, but {} has it otherwise", "part", "found", "day", against),
         "fit or unfit, one of them, for a part and a day"),
    )  # fmt: skip
    return pl.concat(
        told.filter(wrong).select(
            "place", found=found, expected=expected if isinstance(expected, pl.Expr) else pl.lit(expected)
        )
        for wrong, found, expected in faults
    )


def _is(column: str) -> pl.Expr:
    return pl.format(f"{column} is '{{}}'", column)
