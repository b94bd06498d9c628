"""Stage 5, material ageing: match, observation -> prognosis."""

from collections.abc import Sequence
from datetime import date

import numpy as np
import polars as pl

from triage.catalogue.climates import Climates
from triage.catalogue.materials import Material, UnknownMix
from triage.prognosis.clocks import decimal_year, read_clocks
from triage.prognosis.parts import Materials, joined_parts, node_chances, part_rows
from triage.store import Connection, replace

COLUMNS = (
    "listing_id", "place", "part", "horizon_years", "material", "mode", "load_bearing", "made_lo", "made_hi",
    "age_years", "effective_years", "p_unfit_lo", "p_unfit", "p_unfit_hi", "p_unfit_lo_node", "p_unfit_node",
    "p_unfit_hi_node", "node_weight", "basis",
)  # fmt: skip


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
    clocks = read_clocks(store, climates, as_of)
    rows = part_rows(clocks, unknown)
    found = []
    for horizon in sorted(set(horizons)):
        if rows.is_empty():
            break
        chances = node_chances(rows, known, climates.of_country(None), decimal_year(as_of), horizon)
        parts = joined_parts(rows, chances, known).with_columns(horizon_years=pl.lit(float(horizon)))
        found.append(parts.with_columns(pl.col(pl.Float64).clip(-np.inf, np.inf)).select(COLUMNS))
    if found:
        replace(store, "prognosis", pl.concat(found).sort("listing_id", "horizon_years", "place", "part"))
    else:
        store.execute("DELETE FROM prognosis WHERE listing_id IN (SELECT listing_id FROM todo)")
