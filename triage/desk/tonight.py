"""The pairs of tonight in memory: what the last night published, with the journal's newer notes taken over."""

import json
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path
from threading import RLock
from typing import Any

import duckdb
import polars as pl

from triage import batch, journal, verdict
from triage.catalogue import Catalogue
from triage.desk import overnight, published
from triage.desk.again import Known, Supposed, know, suppose, weigh_noted
from triage.desk.inline import inline
from triage.errors import STORE_TROUBLE, fail
from triage.journal import Note
from triage.store import Connection, connect, frame, transaction
from triage.writeup import queries
from triage.writeup.calls import calls_of, weighed
from triage.writeup.frames import read_detail
from triage.writeup.ticket import Context, Ticket, anchor, tickets_of

RUN = "SELECT as_of, rules_sha256 FROM run ORDER BY as_of DESC, started_at DESC LIMIT 1"
NOTES = """
SELECT kind, noted_on, content
FROM note
WHERE listing_id = ?
ORDER BY rowid
"""
# Listings that notes can be on, and the notes that the night has.
HELD = "SELECT listing_id FROM listing"
TAKEN = "SELECT key FROM note"
SHOWN = "SELECT DISTINCT listing_id FROM sighting ORDER BY listing_id"
# What is there only to be compared with has no verdict.
WEIGHED = queries.LISTINGS.format(of="listing_id IN (SELECT listing_id FROM verdict)")
# Of thousands of releases a few hundred are anybody's candidate tonight.
USED_RELEASES = """
DELETE FROM construction
WHERE NOT generic AND model_id NOT IN (
  SELECT construction_id FROM match WHERE construction_id IS NOT NULL
)
"""
BELIEVED = """
SELECT part, p_unfit
FROM posterior
WHERE listing_id = ? AND horizon_years = ? AND climate = ?
ORDER BY part
"""


@dataclass(frozen=True)
class Standing:
    """Where a pair stands for a buyer: what a change is told by.

    Attributes:
        call: buy, ask or skip; empty for a pair that is no longer weighed.
        number: Place in the list of buys and asks; None below it.
        wearable: Chance of wearable; None where not known.
        offer_minor: Highest sensible offer, minor units.
        unfit: Chance that a part is unfit, by part.
    """

    buyer: str
    call: str
    number: int | None
    wearable: float | None
    offer_minor: int
    surplus_minor: int | None
    landed_minor: int | None
    currency: str
    reason: str
    unfit: Mapping[str, float]


@dataclass
class Tonight:
    """A published night in memory. One connection, one user at a time: every method takes the lock.

    Attributes:
        store: The store's file; it is never opened.
        today: Gives the day that notes are for.
        changed: What the last note on a listing changed, in a line.
        order: Listings in the order of the ranking when the night was read; it stays while they change calls.
    """

    store: Path
    catalogue: Catalogue
    today: Callable[[], date]
    lock: RLock = field(default_factory=RLock)
    order: tuple[str, ...] = ()
    names: Mapping[str, str] = field(default_factory=dict)
    as_of: date = date.min
    other_rules: bool = False
    faults: tuple[str, ...] = ()
    changed: dict[str, str] = field(default_factory=dict)
    _memory: Connection | None = None
    _seen: tuple[object, ...] = ()
    _called: "Called | None" = None
    _listings: pl.DataFrame | None = None
    _releases: verdict.Releases | None = None
    _known: Known | None = None
    _held: frozenset[str] = frozenset()
    _taken: set[str] = field(default_factory=set)

    @contextmanager
    def fresh(self) -> Iterator[Connection]:
        """Hold the store in memory, read anew where a night was published or another page noted something since."""
        with self.lock:
            # Looked at before the files are read: what changes meanwhile is seen the next time.
            seen = _stamp(published.path_of(self.store)), _stamp(journal.path_of(self.store))
            if self._memory is None or self._seen[0] != seen[0]:
                self._read_night()
                self.take_notes()
            elif self._seen[1] != seen[1]:
                self.take_notes()
            self._seen = seen
            assert self._memory is not None
            yield self._memory

    def _read_night(self) -> None:
        path = published.path_of(self.store)
        memory = connect()
        # Small questions, many of them: a second thread would only wait.
        memory.execute("SET threads = 1")
        try:
            published.read_into(memory, path)
        except duckdb.Error as error:
            memory.close()
            found = f"can't be read ({str(error).splitlines()[0][:200]})"
            fail(str(path), found, "that file taken away, then 'triage desk' again: it is made anew", STORE_TROUBLE)
        batch.load_constructions(memory, self.catalogue)
        memory.execute(USED_RELEASES)
        for table in ("verdict", "plan", "question", "sensitivity"):
            # Buyers of the night that nobody asks for now.
            memory.execute(
                f"DELETE FROM {table} WHERE NOT list_contains($1::VARCHAR[], buyer)", [[*self.catalogue.buyers]]
            )
        if self._memory is not None:
            self._memory.close()
        self._memory, self._called, self._listings, self._known = memory, None, None, None
        self._held = frozenset(frame(memory, HELD)["listing_id"])
        self._taken = set(frame(memory, TAKEN)["key"])
        self._releases = verdict.Releases.of(memory)
        self.as_of, rules = frame(memory, RUN).row(0)
        self.other_rules = rules != self.catalogue.sha256
        self.names = {anchor(one): one for one in frame(memory, SHOWN)["listing_id"]}
        self.order = tuple(self.called().tickets["listing_id"])

    def take_notes(self) -> None:
        """Take over what the journal has that the night had not; those pairs are weighed together."""
        assert self._memory is not None
        held = journal.read(self.store)
        self.faults = held.faults
        fresh = [note for note in held.notes if note.key not in self._taken and note.listing_id in self._held]
        with transaction(self._memory):
            overnight.record(self._memory, self.catalogue, fresh)
            if fresh:
                stands = not self.other_rules and all(note.kind not in overnight.OF_STATUS for note in fresh)
                self._known = weigh_noted(
                    self._memory, self.catalogue, self.as_of, overnight.listings_of(fresh), stands, self._releases,
                    self._known,
                )  # fmt: skip
                self._called = None
                if not stands:
                    self._listings = None
        self._taken.update(note.key for note in fresh)

    def prepare(self, listing_id: str) -> None:
        """Read what no note on a pair moves, while it is looked at; not while somebody else waits for the pairs."""
        if not self.lock.acquire(blocking=False):
            return
        try:
            with self.fresh() as memory:
                if self._known is None or self._known.listing_id != listing_id or not self._known.whole:
                    assert self._releases is not None
                    self._known = know(memory, self.catalogue, listing_id, self._releases)
        finally:
            self.lock.release()

    def called(self) -> "Called":
        """Return the calls as they are now. The caller holds the lock."""
        if self._called is None:
            assert self._memory is not None
            if self._listings is None:
                self._listings = frame(self._memory, WEIGHED, [date.max])
            self._called = called(self._listings, frame(self._memory, queries.VERDICTS), self.catalogue)
        return self._called

    def ticket(self, memory: Connection, listing_id: str) -> Ticket | None:
        """Return the ticket of a pair as it is now; None for one that is no longer weighed."""
        now = self.called()
        lead = now.leads.filter(pl.col("listing_id") == listing_id)
        if lead.is_empty():
            return None
        nights = [*frame(memory, queries.NIGHTS, [date.max])["seen_on"], None, None]
        place = now.numbers.get(listing_id, self.order.index(listing_id) + 1 if listing_id in self.order else 0)
        context = Context(self.catalogue, nights[0], nights[1], frozenset(self.order), first_number=place)
        detail = read_detail(memory, lead["listing_id"])
        return tickets_of(lead, now.every, detail, frame(memory, queries.PRICE_PATH, [date.max]), context)[0]

    def standing(self, memory: Connection, listing_id: str, buyer: str | None = None) -> Standing | None:
        """Return where a pair stands now for a buyer, the one it matters most to when none is named."""
        now = self.called()
        rows = now.leads if buyer is None else now.every.filter(pl.col("buyer") == buyer)
        row = next(iter(rows.filter(pl.col("listing_id") == listing_id).to_dicts()), None)
        if row is None:
            return None
        outlook = self.catalogue.buyers[row["buyer"]].outlook
        unfit = dict(frame(memory, BELIEVED, [listing_id, *outlook]).iter_rows())
        return Standing(
            row["buyer"], row["call"], now.numbers.get(listing_id), row["p_wearable"], row["offer_minor"] or 0,
            row["surplus_minor"], row["landed_minor"], row["currency"], row["reason"], unfit,
        )  # fmt: skip

    def suppose(self, memory: Connection, listing_id: str, supposed: Supposed, buyer: str) -> Standing | None:
        """Return where a pair would stand for a buyer if something were so; nothing of it stays."""
        only = replace(self.catalogue, buyers={buyer: self.catalogue.buyers[buyer]})
        # The listings stay as they are: what a pair asks tells near misses from other skips, and those have no place.
        kept, self._called = self._called, None
        memory.execute("BEGIN TRANSACTION")
        try:
            others = "DELETE FROM verdict WHERE buyer <> ?"
            memory.execute(others, [buyer])
            suppose(memory, only, self.as_of, [listing_id], supposed, self._releases, self._known)
            return self.standing(memory, listing_id, buyer)
        finally:
            memory.execute("ROLLBACK")
            self._called = kept

    def note(self, form: str, kind: journal.Kind, listing_id: str, content: Mapping[str, Any]) -> bool:
        """Write a note to the journal; return False where the form was sent before.

        It is on the disk when this returns; the pair is weighed anew when it is looked at the next time.

        Raises:
            TriageError: It does not fit what is known of the pair, or can't be written; nothing was noted.
        """
        key = journal.key_of(form, kind, listing_id, content)
        note = Note(key, kind, listing_id, self.today(), content, journal.now())
        with self.fresh() as memory:
            # Tried before it is written: what can't be recorded is told to who still has the form before them.
            memory.execute("BEGIN TRANSACTION")
            try:
                overnight.record_parcel(memory, self.catalogue, note)
            finally:
                memory.execute("ROLLBACK")
            return journal.add(self.store, note)


@dataclass(frozen=True)
class Called:
    """The calls of all pairs in memory.

    Attributes:
        tickets: Buys, then asks, best first, one row a listing.
        leads: The same and the skips.
        every: Every verdict.
        numbers: Place in ``tickets`` by listing.
    """

    tickets: pl.DataFrame
    leads: pl.DataFrame
    every: pl.DataFrame
    numbers: Mapping[str, int]


@inline
def called(listing: pl.DataFrame, verdict: pl.DataFrame, catalogue: Catalogue) -> Called:
    """Return the calls on listings, from their columns and those of their verdicts."""
    every = weighed(listing, verdict)
    calls = calls_of(every, catalogue.buyers)
    numbers = {one: number for number, one in enumerate(calls.tickets["listing_id"], 1)}
    return Called(calls.tickets, calls.leads, every, numbers)


def notes_of(memory: Connection, listing_id: str) -> list[dict[str, Any]]:
    """Return what was noted of a listing, in order: kind, noted_on, content."""
    return [{**row, "content": json.loads(row["content"])} for row in frame(memory, NOTES, [listing_id]).to_dicts()]


def _stamp(path: Path) -> tuple[int, ...] | None:
    try:
        told = path.stat()
    except FileNotFoundError:
        return None
    return told.st_ino, told.st_size, told.st_mtime_ns
