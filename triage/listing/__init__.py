"""Stage 2, listings: raw_row -> listing, sighting, twin, reject."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import date
from types import MappingProxyType

import polars as pl

from triage.catalogue.places import Region
from triage.catalogue.words import TwinWords, Words
from triage.listing.cells import new_feeds, read_cells
from triage.listing.history import record
from triage.listing.normalise import Reading, normalise
from triage.listing.rates import rate_table
from triage.listing.twins import write_twins
from triage.store import Connection, transaction

__all__ = ["Reading", "make_ready", "normalise", "run", "sort_out", "write_twins"]

# Cells to rows and refusals, as ``normalise`` makes them.
Normalise = Callable[[pl.DataFrame, Reading], tuple[pl.DataFrame, pl.DataFrame]]
BATCH_ROWS = 200_000  # small exports are read together, large ones one by one: fixed costs against memory


def make_ready(words: Words) -> None:
    """Read the reference rates, before there is a price in another currency."""
    rate_table(words.money.rate_file)


def run(
    store: Connection,
    words: Words,
    as_of: date,
    regions: Mapping[str, Region] = MappingProxyType({}),
    normalised: Normalise = normalise,
    twins: Callable[[Connection, TwinWords], None] = write_twins,
) -> None:
    """Turn the new rows of every export into listings and sightings, and find the twins among them.

    A row that is a sighting already, or was rejected, is left alone; so a run again changes nothing, and exports
    read in any order leave the same tables.

    Args:
        store: Open store; reads ``feed`` and ``raw_row``.
        words: How sellers write prices, sizes, years and wear.
        as_of: The night; every date that counts here is the night an export was saved, which ingest keeps below it.
        regions: Regions by code, with the words that name them.
        normalised: Reads cells: ``normalise``, or what does the same elsewhere.
        twins: Writes the couples: ``write_twins``, or what does the same elsewhere.
    """
    reading = Reading(words, regions)
    for cells in _batches(store, new_feeds(store)):
        with transaction(store):
            _add(store, cells, reading, normalised)
    if not store.execute("SELECT 1 FROM twin LIMIT 1").fetchall():
        with transaction(store):
            twins(store, words.twin)


def sort_out(store: Connection, reading: Reading, feed_ids: Sequence[str], normalised: Normalise = normalise) -> None:
    """Turn the new rows of some exports into listings and sightings; the caller holds the transaction.

    ``run`` finds the twins, and whatever else is still to be done.
    """
    for cells in _batches(store, new_feeds(store, feed_ids)):
        _add(store, cells, reading, normalised)


def _add(store: Connection, cells: pl.DataFrame, reading: Reading, normalised: Normalise) -> None:
    """Write listings and sightings.

    Twins found among other listings than those of now are none: they go with the first new sighting, and a store
    without any is one whose twins are still to be looked for. So a night that is killed in between loses none.
    """
    if record(store, *normalised(cells, reading)):
        store.execute("DELETE FROM twin")


def _batches(store: Connection, feeds: pl.DataFrame) -> Iterator[pl.DataFrame]:
    """Yield the cells of the new rows, whole exports at a time."""
    waiting: list[pl.DataFrame] = []
    for feed in feeds.iter_rows(named=True):
        waiting.append(read_cells(store, feed))
        if sum(cells.height for cells in waiting) >= BATCH_ROWS:
            yield pl.concat(waiting)
            waiting = []
    if waiting:
        yield pl.concat(waiting)
