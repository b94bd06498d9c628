"""Stage 5, material ageing: match, observation -> prognosis."""

from collections.abc import Sequence
from datetime import date

import polars as pl

from triage.catalogue.climates import Climates
from triage.catalogue.materials import Material, UnknownMix
from triage.prognosis.clocks import RELEASES, decimal_year, distinct_lives, read_clocks
from triage.prognosis.parts import Materials, joined_parts, node_chances, part_rows
from triage.store import Connection, append, frame

COLUMNS = (
    "listing_id", "place", "part", "horizon_years", "material", "mode", "load_bearing", "made_lo", "made_hi",
    "age_years", "effective_years", "p_unfit_lo", "p_unfit", "p_unfit_hi", "p_unfit_lo_node", "p_unfit_node",
    "p_unfit_hi_node", "node_weight", "basis",
)  # fmt: skip

# Candidates written at a time: their node lists are what fills the memory.
BLOCK_ROWS = 100_000


def run(
    store: Connection,
    materials: dict[str, Material],
    unknown: UnknownMix,
    climates: Climates,
    horizons: Sequence[float],
    as_of: date,
) -> None:
    """Write the prognosis of the listings in ``todo``, once for each horizon a buyer has.

    Args:
        horizons: Years of ordinary wear still wanted, distinct.
    """
    known = Materials(tuple(sorted(materials)), materials, unknown)
    now, home = decimal_year(as_of), climates.of_country(None)
    lives, led = distinct_lives(read_clocks(store, climates, as_of))
    rows = part_rows(lives, frame(store, RELEASES), unknown)
    store.execute("DELETE FROM prognosis WHERE listing_id IN (SELECT listing_id FROM todo)")
    if rows.is_empty():
        return
    found = []
    for horizon in sorted(set(horizons)):
        chances = node_chances(rows, known, home, now, horizon)
        found.append(joined_parts(rows, chances, known).with_columns(horizon_years=pl.lit(float(horizon))))
    aged = pl.concat(found)
    for block in led.iter_slices(BLOCK_ROWS):
        append(store, "prognosis", of_candidates(block, aged))


def of_candidates(led: pl.DataFrame, aged: pl.DataFrame) -> pl.DataFrame:
    """Return the prognosis of every listing and candidate of ``led``, as the contract's table has it.

    Args:
        led: listing_id, place, life.
        aged: One row per life, part and horizon.
    """
    rows = led.join(aged, on="life").select(COLUMNS)
    return rows.sort("listing_id", "horizon_years", "place", "part")
