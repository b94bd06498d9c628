"""Stage 5, material ageing: match, observation -> prognosis."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import partial

import numpy as np
import polars as pl

from triage.blocks import in_order
from triage.catalogue.buyers import Outlook
from triage.catalogue.climates import Climate, Climates
from triage.catalogue.materials import Material, UnknownMix
from triage.prognosis.chances import Materials, node_chances, storage_nodes
from triage.prognosis.clocks import RELEASES, distinct_lives, read_clocks
from triage.prognosis.parts import exposure_of, joined_parts, materials_of, part_rows
from triage.store import Connection, append, frame

COLUMNS = (
    "listing_id", "place", "part", "horizon_years", "climate", "material", "mode", "load_bearing", "made_lo", "made_hi",
    "age_years", "effective_years", "p_unfit_lo", "p_unfit", "p_unfit_hi", "p_unfit_lo_node", "p_unfit_node",
    "p_unfit_hi_node", "basis",
)  # fmt: skip

# Candidates among which a life is looked for once: many find more that agree, and all their lives fill the memory.
CLOCKS_AT_ONCE = 3_000_000
# Lives worked on at a time: the arrays of all nodes and years at once are larger than what is kept of them.
BLOCK_LIVES = 10_000
# Candidates written at a time.
WRITTEN_AT_ONCE = 60_000


def run(
    store: Connection,
    materials: dict[str, Material],
    unknown: UnknownMix,
    climates: Climates,
    outlooks: Sequence[Outlook],
    as_of: date,
) -> None:
    """Write the prognosis of the listings in ``todo``, once for each outlook a buyer has.

    Args:
        outlooks: Years of ordinary wear still wanted, and the climate in which they go by.
    """
    known = Materials(tuple(sorted(materials)), materials, unknown)
    made_of = materials_of(frame(store, RELEASES), known)
    years = Years(tuple(sorted(set(outlooks))), climates.climates)
    clocks = read_clocks(store, climates, as_of)
    store.execute("DELETE FROM prognosis WHERE listing_id IN (SELECT listing_id FROM todo)")
    store.execute("DELETE FROM storage_node")
    append(store, "storage_node", storage_nodes())
    for rows in prognoses(clocks, made_of, known, years):
        append(store, "prognosis", rows)


@dataclass(frozen=True)
class Years:
    """The years a prognosis is for.

    Attributes:
        outlooks: Years of wear still wanted, and the climate in which they go by; distinct, in order.
        climates: Climates by key.
    """

    outlooks: tuple[Outlook, ...]
    climates: Mapping[str, Climate]


def prognoses(clocks: pl.DataFrame, made_of: pl.DataFrame, known: Materials, years: Years) -> Iterator[pl.DataFrame]:
    """Yield the prognosis of every candidate, as the contract's table has it, in the order of ``clocks``.

    A table that stands in the order of its listings lets the stages behind read some of them without all others.

    Args:
        clocks: As ``clocks.read_clocks`` returns them.
        made_of: As ``parts.materials_of`` returns it.
        known: The materials' figures.
        years: How long the parts must last, and where.
    """
    for some in clocks.iter_slices(CLOCKS_AT_ONCE):
        lives, led = distinct_lives(some)
        blocks = in_order(
            partial(aged_parts, made_of=made_of, known=known, years=years), lives.iter_slices(BLOCK_LIVES)
        )
        # Rows are gathered from all over it: in one piece that is four times as fast.
        aged = pl.concat([pl.DataFrame(), *blocks]).rechunk()
        if not aged.is_empty():
            yield from in_order(partial(of_candidates, aged=aged), led.iter_slices(WRITTEN_AT_ONCE))


def aged_parts(lives: pl.DataFrame, made_of: pl.DataFrame, known: Materials, years: Years) -> pl.DataFrame:
    """Return how every part of some lives has aged, one row per life, outlook and part, in that order.

    Args:
        lives: As ``clocks.distinct_lives`` returns them.
        made_of: As ``parts.materials_of`` returns it.
        known: The materials' figures.
        years: How long the parts must last, and where.
    """
    rows = part_rows(lives, made_of)
    found = [pl.DataFrame()]
    for horizon, climate in years.outlooks if rows.height else ():
        chances = node_chances(exposure_of(rows), known, years.climates[climate], horizon)
        aged = joined_parts(rows, chances, known)
        found.append(aged.with_columns(horizon_years=pl.lit(float(horizon)), climate=pl.lit(climate)))
    return pl.concat(found[1:] or found) if len(found) < 3 else pl.concat(found[1:]).sort("life", maintain_order=True)


def of_candidates(led: pl.DataFrame, aged: pl.DataFrame) -> pl.DataFrame:
    """Return the prognosis of every listing and candidate of ``led``, as the contract's table has it.

    Args:
        led: listing_id, place, life.
        aged: One row per life, outlook and part, in that order.
    """
    of_life = aged["life"].rle().struct.unnest().select(life="value", rows=pl.col("len").cast(pl.Int64))
    first = of_life.with_columns(first=pl.col("rows").cum_sum() - pl.col("rows"))
    # A release without any part has no rows.
    found = led.join(first, on="life", how="inner", maintain_order="left")
    count = found["rows"].to_numpy()
    # Row numbers in ``aged``: each life's first, its second and so on, life after life.
    within = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    at = pl.Series(np.repeat(found["first"].to_numpy(), count) + within)
    pair = pl.Series(np.repeat(np.arange(len(count)), count))
    taken = (found.select(pl.col("listing_id", "place").gather(pair)), aged.select(pl.all().gather(at)))
    return pl.concat(taken, how="horizontal").select(COLUMNS)
