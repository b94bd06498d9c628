"""Stage 2 in pieces: cells of exports to rows of listings, wherever that is done."""

from dataclasses import replace

import polars as pl

from triage.listing import Reading, normalise
from triage.once import once
from triage.spread.engine import Engine
from triage.spread.files import read_frames, write_frame
from triage.spread.partition import Kit, Partition, at_work

WRITTEN = ("rows", "refusals")


def normalised(engine: Engine, cells: pl.DataFrame, first: Partition) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Return what ``listing.normalise`` makes of cells; a row depends on no other.

    Args:
        first: The first of the partitions, with the folder that holds what all know.
    """
    size = max(1, -(-cells.height // first.partitions))
    some = list(cells.iter_slices(size)) or [cells]
    pieces = [replace(first, number=number) for number in range(len(some))]
    for piece, cut in zip(pieces, some, strict=True):
        write_frame(cut, piece.file("cells"))
    engine.map(normalise_piece, pieces)
    rows, refusals = (read_frames(piece.file(name) for piece in pieces) for name in WRITTEN)
    return rows, refusals


def normalise_piece(partition: Partition) -> None:
    """Do the first half of stage 2 on some rows."""
    with at_work(partition) as kit:
        found = normalise(pl.read_parquet(partition.file("cells")), _reading(kit))
        for name, frame in zip(WRITTEN, found, strict=True):
            write_frame(frame, partition.file(name))


@once
def _reading(kit: Kit) -> Reading:
    return Reading(kit.catalogue.words, kit.catalogue.climates.regions)
