"""Stage 5, material ageing: match, observation -> prognosis."""

from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from datetime import date

import polars as pl

from triage.catalogue.buyers import Outlook
from triage.catalogue.climates import Climate, Climates
from triage.catalogue.materials import Material, UnknownMix
from triage.prognosis.clocks import RELEASES, decimal_year, distinct_lives, read_clocks
from triage.prognosis.parts import Materials, exposure_of, joined_parts, materials_of, node_chances, part_rows
from triage.store import Connection, append, frame

COLUMNS = (
    "listing_id", "place", "part", "horizon_years", "climate", "material", "mode", "load_bearing", "made_lo", "made_hi",
    "age_years", "effective_years", "p_unfit_lo", "p_unfit", "p_unfit_hi", "p_unfit_lo_node", "p_unfit_node",
    "p_unfit_hi_node", "node_weight", "basis",
)  # fmt: skip

# Lives worked on at a time: the chances at the nodes are what fills the memory.
BLOCK_LIVES = 10_000
CORES = 2


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
    lives, led = distinct_lives(read_clocks(store, climates, as_of))
    made_of = materials_of(frame(store, RELEASES), known)
    years = Years(decimal_year(as_of), tuple(sorted(set(outlooks))), climates.climates)
    store.execute("DELETE FROM prognosis WHERE listing_id IN (SELECT listing_id FROM todo)")
    for aged in aged_blocks(lives, made_of, known, years):
        if not aged.is_empty():
            append(store, "prognosis", of_candidates(led, aged))


@dataclass(frozen=True)
class Years:
    """The years a prognosis is for.

    Attributes:
        now: Decimal year every age refers to.
        outlooks: Years of wear still wanted, and the climate in which they go by; distinct, in order.
        climates: Climates by key.
    """

    now: float
    outlooks: tuple[Outlook, ...]
    climates: Mapping[str, Climate]


def aged_blocks(lives: pl.DataFrame, made_of: pl.DataFrame, known: Materials, years: Years) -> Iterator[pl.DataFrame]:
    """Yield what ``aged_parts`` returns, for some thousand lives at a time, in their order.

    NumPy and Polars work outside the interpreter's lock, so two blocks are worked on while a third is
    written; whichever is done first, they come back in their order.
    """
    waiting: deque[Future[pl.DataFrame]] = deque()
    with ThreadPoolExecutor(CORES) as cores:
        for block in lives.iter_slices(BLOCK_LIVES):
            waiting.append(cores.submit(aged_parts, block, made_of, known, years))
            if len(waiting) > CORES:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()


def aged_parts(lives: pl.DataFrame, made_of: pl.DataFrame, known: Materials, years: Years) -> pl.DataFrame:
    """Return how every part of some lives has aged, one row per life, part and outlook.

    Args:
        lives: As ``clocks.distinct_lives`` returns them.
        made_of: As ``parts.materials_of`` returns it.
        known: The materials' figures.
        years: Now and how long the parts must last.
    """
    rows = part_rows(lives, made_of)
    found = [pl.DataFrame()]
    for horizon, climate in years.outlooks if rows.height else ():
        chances = node_chances(exposure_of(rows), known, years.climates[climate], years.now, horizon)
        aged = joined_parts(rows, chances, known)
        found.append(aged.with_columns(horizon_years=pl.lit(float(horizon)), climate=pl.lit(climate)))
    return pl.concat(found[1:] or found)


def of_candidates(led: pl.DataFrame, aged: pl.DataFrame) -> pl.DataFrame:
    """Return the prognosis of every listing and candidate of ``led``, as the contract's table has it.

    Args:
        led: listing_id, place, life.
        aged: One row per life, part and outlook.
    """
    rows = led.join(aged, on="life").select(COLUMNS)
    return rows.sort("listing_id", "horizon_years", "climate", "place", "part")
