"""Answers: one from the command line, or a file of them, taken whole or not at all; then their listings anew."""

from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import NamedTuple

import polars as pl

from triage.batch import stages
from triage.catalogue import Catalogue
from triage.catalogue.documents import read_csv
from triage.errors import USAGE, Problem, TriageError, fail
from triage.store import Connection, append, frame, registered, transaction

# The columns of a file of answers; only ``listing`` must be there, an empty cell is as good as none.
COLUMNS = {
    "listing": "id of the listing, as the reports show it",
    "sign": "id of the sign that was asked for; empty where the words in text shall be read for every sign",
    "answer": "yes, no, or none for no reply; empty where sign is",
    "by": "seller (so when left out), or buyer for what you see in the photos",
    "date": "day of the answer, YYYY-MM-DD; the as-of date when left out; the later beats the earlier",
    "text": "the words themselves, in any of the six languages",
}
STATES = {"yes": "affirmed", "no": "denied", "none": "no_reply"}
SPEAKERS = {"seller": "answer", "buyer": "buyer"}
UNKNOWN = "SELECT listing_id FROM named ANTI JOIN listing USING (listing_id) ORDER BY listing_id"
# The same answer given again is the same answer.
NEW = """
SELECT g.*
FROM given_answer g
ANTI JOIN answer a ON a.listing_id = g.listing_id AND a.sign IS NOT DISTINCT FROM g.sign
  AND a.answered_on = g.answered_on AND a.said_by = g.said_by AND a.state IS NOT DISTINCT FROM g.state
  AND a.text IS NOT DISTINCT FROM g.text
ORDER BY g.nth
"""


class Told(NamedTuple):
    """One answer, as the table has it."""

    listing_id: str
    sign: str | None
    answered_on: date
    said_by: str
    state: str | None
    text: str | None


def given(
    store: Connection, file: Path | None, cells: Mapping[str, str | None], signs: Sequence[str], as_of: date
) -> list[Told]:
    """Return the answers of a file, or the one of the command line, whose cells are named like a file's columns.

    Raises:
        TriageError: Both a file and an answer are given, or some answers have faults: every one, with its line.
    """
    problems: list[Problem] = []
    if file is None:
        rows = [("answer", {name: cell or "" for name, cell in cells.items()})]
    elif cells["listing"] is None:
        rows = in_file(file, problems)
    else:
        fail("--file", f"is {file} and listing is {cells['listing']!r}", "one or the other")
    found = [told(one, place, signs, as_of, problems) for place, one in rows]
    named = {one["listing"].strip() for _, one in rows} - {""}
    with registered(store, "named", pl.DataFrame({"listing_id": sorted(named)}, schema={"listing_id": pl.String})):
        unknown = set(frame(store, UNKNOWN)["listing_id"])
    expected = "an id of the store, as the reports show it"
    problems.extend(
        Problem(place, f"listing {one['listing'].strip()} is not in the store", expected)
        for place, one in rows
        if one["listing"].strip() in unknown
    )
    if problems:
        raise TriageError(problems, USAGE)
    return [one for one in found if one is not None]


def in_file(path: Path, problems: list[Problem]) -> list[tuple[str, dict[str, str]]]:
    """Return the rows of a CSV file with the columns of ``COLUMNS``, each with its place; faults are added."""
    rows = read_csv(path, ("listing",), problems)
    for column in rows[0][1] if rows else ():
        if column not in COLUMNS:
            problems.append(Problem(f"{path}:1", f"column {column!r}", f"some of the columns {', '.join(COLUMNS)}"))
    if not rows and not problems:
        problems.append(Problem(str(path), "no answer in it", "a row an answer"))
    return [(f"{path}:{line}", cells) for line, cells in rows]


def told(
    cells: Mapping[str, str], place: str, signs: Sequence[str], as_of: date, problems: list[Problem]
) -> Told | None:
    """Return one answer from its cells by column; on a fault add a problem and return None."""
    cell = {name: (cells.get(name) or "").strip() for name in COLUMNS}
    sign, state, day = cell["sign"], cell["answer"], _day(cell["date"], as_of)
    silent = not (sign or state or cell["text"])
    faults = (
        (not cell["listing"], "listing", "an id as the reports show it"),
        (sign not in (*signs, ""), "sign", "the id of a file in rules/signs/"),
        (state not in (*STATES, ""), "answer", "yes, no or none"),
        (bool(sign) and not state, "answer", "yes, no or none, as a sign is given"),
        (not sign and state in ("yes", "no"), "sign", f"the sign that was asked for, as the answer is {state}"),
        (silent, "text", "a sign with its answer, or words to read"),
        (cell["by"] not in (*SPEAKERS, ""), "by", "seller or buyer"),
        (day is None or day > as_of, "date", f"a date YYYY-MM-DD, up to {as_of}"),
    )
    found = [Problem(place, f"{name} is {cell[name]!r}", expected) for wrong, name, expected in faults if wrong]
    problems.extend(found)
    if found or day is None:
        return None
    speaker = SPEAKERS[cell["by"] or "seller"]
    return Told(cell["listing"], sign or None, day, speaker, STATES.get(state), cell["text"] or None)


def _day(text: str, as_of: date) -> date | None:
    try:
        return date.fromisoformat(text) if text else as_of
    except ValueError:
        return None


def take(store: Connection, catalogue: Catalogue, answers: Sequence[Told], as_of: date) -> list[str]:
    """Record answers, kept for good, and weigh their listings anew, and no others; all of it or nothing.

    Returns:
        The listings that were weighed: those with an answer the store did not have.
    """
    kinds = {"nth": pl.Int64, "listing_id": pl.String, "sign": pl.String, "answered_on": pl.Date}
    schema = {**kinds, **dict.fromkeys(("said_by", "state", "text"), pl.String)}
    given = pl.DataFrame([(nth, *one) for nth, one in enumerate(answers)], schema=schema, orient="row")
    with registered(store, "given_answer", given):
        new = frame(store, NEW).unique(given.columns[1:], keep="first", maintain_order=True)
    touched = new["listing_id"].unique().sort().to_list()
    if touched:
        with transaction(store):
            append(store, "answer", new.drop("nth"))
            stages(store, catalogue, as_of, touched)
    return touched
