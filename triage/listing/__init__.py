"""Stage 2, listings: raw_row -> listing, sighting, twin, reject."""

from collections.abc import Iterator, Mapping
from datetime import date
from types import MappingProxyType

import polars as pl

from triage.catalogue.places import Region
from triage.catalogue.words import Words
from triage.listing.cells import new_feeds, read_cells
from triage.listing.history import record
from triage.listing.normalise import Reading, normalise
from triage.listing.twins import write_twins
from triage.store import Connection, transaction

BATCH_ROWS = 200_000  # small exports are read together, large ones one by one: fixed costs against memory


def run(store: Connection, words: Words, as_of: date, regions: Mapping[str, Region] = MappingProxyType({})) -> None:
    """Turn the new rows of every export into listings and sightings.

    A row that is a sighting already, or was rejected, is left alone; so a run again changes nothing, and exports
    read in any order leave the same tables.

    Args:
        store: Open store; reads ``feed`` and ``raw_row``.
        words: How sellers write prices, sizes, years and wear.
        as_of: The night; every date that counts here is the night an export was saved, which ingest keeps below it.
        regions: Regions by code, with the words that name them.
    """
    reading = Reading(words, regions)
    seen = 0
    for cells in _batches(store):
        with transaction(store):
            seen += record(store, *normalise(cells, reading))
    if seen:
        with transaction(store):
            write_twins(store, words.twin)


def _batches(store: Connection) -> Iterator[pl.DataFrame]:
    """Yield the cells of the new rows, whole exports at a time."""
    waiting: list[pl.DataFrame] = []
    for feed in new_feeds(store).iter_rows(named=True):
        waiting.append(read_cells(store, feed))
        if sum(cells.height for cells in waiting) >= BATCH_ROWS:
            yield pl.concat(waiting)
            waiting = []
    if waiting:
        yield pl.concat(waiting)
