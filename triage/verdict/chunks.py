"""Pairs of stage 7 chunk by chunk: which of them are read together, and what the store says of them."""

from collections.abc import Iterator, Sequence
from functools import partial

import polars as pl

from triage.blocks import slices
from triage.handed import read_said
from triage.store import Connection, registered
from triage.verdict.beliefs import Told, read_ages, read_candidates, read_findings
from triage.verdict.ground import Ground
from triage.verdict.known import Known

# Pairs read together: to look for those of a chunk takes the longer the larger the store, whatever the chunk; what is
# read of it fills the memory. Two chunks are weighed at once where there are enough pairs for two.
CHUNK_LISTINGS, LEAST_LISTINGS = 120_000, 20_000


def forget(store: Connection, tables: Sequence[str], known: Known | None) -> None:
    """Take out what stands in tables of the listings in ``todo``."""
    for table in tables:
        if known is None:
            store.execute(f"DELETE FROM {table} WHERE listing_id IN (SELECT listing_id FROM todo)")
        else:
            # Named, a few rows are found in half the time.
            store.execute(f"DELETE FROM {table} WHERE listing_id IN $1", [known.todo])


def chunks_of(store: Connection, pairs: pl.DataFrame, known: Known | None) -> Iterator[int]:
    """Register the pairs as ``chunk``, neighbours together; yield where each chunk begins.

    Of pairs of which nothing is to be read none is registered.
    """
    if known is not None and known.whole and pairs.height:
        yield 0
        return
    half = max(LEAST_LISTINGS, -(-pairs.height // 2))
    for rows in slices(pairs.height, min(CHUNK_LISTINGS, half)):
        with registered(store, "chunk", pairs.select("listing_id")[rows]):
            yield rows.start


def told_of(store: Connection, ground: Ground, known: Known | None) -> Told:
    """Return what the store says of the pairs in ``chunk``; nothing that is known is read again."""
    candidates = read_candidates(store) if known is None else known.candidates
    said, findings = (None, None) if known is None else (known.said, known.findings)
    aged = {} if known is None else known.aged
    return Told(
        candidates,
        read_said(store, "chunk") if said is None else said,
        read_findings(store) if findings is None else findings,
        {
            outlook: partial(aged.__getitem__, outlook) if outlook in aged else read_ages(store, candidates, outlook)
            for outlook in ground.outlooks()
        },
        ground.signs,
        ground.ageing_signs,
    )
