"""Take notes of the journal over into a store: answers, own looks, what is sold; each note once."""

import json
import logging
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

import polars as pl

from triage import journal
from triage.catalogue import Catalogue
from triage.errors import TriageError
from triage.journal import Note
from triage.keeping.opening import Connection
from triage.learning import purchases, recording
from triage.store import append, file_of, frame, registered, transaction

# What a note says of a sign -> the state of an answer. What is not shown takes back what was noted before.
TOLD = {"yes": "affirmed", "no": "denied", "not shown": "no_reply"}
# What tells whether a pair is still to be had: one that is not ages no further.
OF_STATUS = ("sold", "open", "bought", "received")
LOG = logging.getLogger(__name__)

NEW = """
SELECT g.key
FROM given_note g
SEMI JOIN listing USING (listing_id)
ANTI JOIN note ON note.key = g.key
"""
# The latest word on whether a pair is still to be had. An export saved later than a "sold" knows better.
IS_WORD = f"kind IN {OF_STATUS}"
LATEST_WORD = f"""
SELECT listing_id, last(kind ORDER BY rowid) AS kind, max(noted_on) AS noted_on
FROM note
WHERE {IS_WORD}
GROUP BY listing_id
"""
ANY_WORD = f"SELECT 1 FROM note WHERE {IS_WORD} LIMIT 1"
SOLD = f"""
UPDATE listing SET status = 'sold'
FROM ({LATEST_WORD}) AS word
WHERE word.listing_id = listing.listing_id
  AND listing.status = 'open'
  AND (word.kind IN ('bought', 'received') OR (word.kind = 'sold' AND listing.last_seen <= word.noted_on))
"""
OPEN_AGAIN = f"""
UPDATE listing SET status = 'open'
FROM ({LATEST_WORD}) AS word
WHERE word.listing_id = listing.listing_id
  AND listing.status = 'sold'
  AND word.kind = 'open'
  AND (
    SELECT max_by(status, (seen_on, feed_id, row_no))
    FROM sighting
    WHERE sighting.listing_id = listing.listing_id
  ) = 'open'
"""


def take_journal(store: Connection, catalogue: Catalogue) -> list[str]:
    """Take over what the journal beside a store has new; return the listings it is about.

    Notes on listings the store does not have wait in the journal. A store in memory has no journal.
    """
    place = file_of(store)
    if place is None:
        return []
    held = journal.read(place)
    for fault in held.faults:
        LOG.warning("%s", fault)
    with transaction(store):
        return listings_of(take(store, catalogue, held.notes))


def listings_of(notes: Iterable[Note]) -> list[str]:
    """Return the listings some notes are about, in order."""
    return sorted({note.listing_id for note in notes})


def take(store: Connection, catalogue: Catalogue, notes: Iterable[Note]) -> list[Note]:
    """Take over the notes a store does not have yet; return them. The caller commits."""
    fresh = []
    if given := {note.key: note for note in notes}:
        rows = [(key, note.listing_id) for key, note in given.items()]
        with registered(store, "given_note", pl.DataFrame(rows, schema=["key", "listing_id"], orient="row")):
            new = set(frame(store, NEW)["key"])
        fresh = [note for key, note in given.items() if key in new]
    record(store, catalogue, fresh)
    return fresh


def record(store: Connection, catalogue: Catalogue, fresh: Sequence[Note]) -> None:
    """Take over notes that are new to a store, on listings it has. The caller commits.

    A purchase or a finding that no longer fits what the store was told since is told in the log and stays a note.
    """
    append(store, "note", pl.DataFrame([_row(note) for note in fresh]))
    append(store, "answer", answers_of(fresh))
    for note in fresh:
        try:
            record_parcel(store, catalogue, note)
        except TriageError as error:
            LOG.warning("note %s on %s is kept but not recorded: %s", note.key, note.listing_id, error)
    if store.execute(ANY_WORD).fetchall():
        # Every night anew: stage 2 goes by what the exports show.
        store.execute(OPEN_AGAIN)
        store.execute(SOLD)


def answers_of(notes: Iterable[Note]) -> pl.DataFrame:
    """Return the rows of ``answer`` that notes are, in order."""
    rows = [row for note in notes for row in _answers(note)]
    names = ("listing_id", "sign", "state", "text", "said_by")
    return pl.DataFrame(rows, schema={**dict.fromkeys(names, pl.String), "answered_on": pl.Date}, orient="row")


def _answers(note: Note) -> Iterator[tuple[Any, ...]]:
    """Yield the rows of one note; the words come before what was said of them, so that the latter holds."""
    speaker = "buyer" if note.kind == "look" else "answer"
    if note.kind == "no_reply":
        yield note.listing_id, None, "no_reply", None, speaker, note.on
    if note.kind in ("look", "answer"):
        if note.content.get("text"):
            yield note.listing_id, None, None, note.content["text"], speaker, note.on
        for sign, told in note.content.get("signs", {}).items():
            yield note.listing_id, sign, TOLD[told], None, speaker, note.on


def record_parcel(store: Connection, catalogue: Catalogue, note: Note) -> None:
    """Record the purchase, the arrival or what was found that a note tells of, where it tells of any.

    Raises:
        TriageError: It doesn't fit what the store knows; nothing was recorded.
    """
    told = note.content
    if note.kind == "bought":
        paid = {"--on": told["on"], "--price": told["price"], "--for": told.get("buyer")}
        purchases.add(store, purchases.given(store, catalogue, note.listing_id, paid, note.on))
    if note.kind == "received":
        arrived = {"--on": None, "--arrived": told["arrived"]}
        bought = purchases.given(store, catalogue, note.listing_id, arrived, note.on)
        cells = [{"listing": note.listing_id, "date": None, **one} for one in told["found"]]
        found = [recording.given(store, None, one, note.on) for one in cells]
        purchases.add(store, bought)
        for one in found:
            recording.add(store, one)


def _row(note: Note) -> dict[str, Any]:
    return {
        "key": note.key, "kind": note.kind, "listing_id": note.listing_id, "noted_on": note.on,
        "written_at": note.written_at.replace(tzinfo=None), "content": json.dumps(dict(note.content), sort_keys=True),
    }  # fmt: skip
