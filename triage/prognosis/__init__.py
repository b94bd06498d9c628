"""Stage 5, material ageing: match, observation -> prognosis."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import partial

import polars as pl
from polars import selectors as cs

from triage.blocks import in_order
from triage.catalogue.buyers import Outlook
from triage.catalogue.climates import Climate, Climates
from triage.catalogue.materials import Material, UnknownMix
from triage.handed import Lives
from triage.prognosis.chances import Materials, node_chances, storage_nodes
from triage.prognosis.clocks import RELEASES, Unsaid, distinct_lives, read_clocks, signs_of_age
from triage.prognosis.parts import exposure_of, joined_parts, materials_of, part_rows
from triage.store import Connection, append, frame

__all__ = ["Known", "Years", "aged_parts", "know", "prognoses", "run", "signs_of_age"]

# Candidates among which a life is looked for once: many find more that agree, and all their lives fill the memory.
CLOCKS_AT_ONCE = 3_000_000
# Lives worked on at a time: the arrays of all nodes and years at once are larger than what is kept of them.
BLOCK_LIVES = 10_000
# A life that nobody leads any more; lives get numbers behind all that are left.
UNLED = "DELETE FROM life_part WHERE life NOT IN (SELECT life FROM life_led)"
LAST = "SELECT coalesce(max(life), 0) FROM life_part"
# Columns in which each distinct name stands once: read from the store they are text.
NAMES = cs.enum() | cs.categorical()


@dataclass(frozen=True)
class Known:
    """What the ageing of some listings hangs on.

    Attributes:
        made_of: As ``parts.materials_of`` returns it.
        said: As ``handed.read_said`` returns it; None where it is to be read.
    """

    made_of: pl.DataFrame
    unsaid: Unsaid
    said: pl.DataFrame | None = None


def know(store: Connection, materials: dict[str, Material], unknown: UnknownMix, climates: Climates) -> Known:
    """Return what of the listings in ``todo`` hangs on nothing that is said of them; arguments as of ``run``."""
    figures = Materials(tuple(sorted(materials)), materials, unknown)
    unsaid = Unsaid.of(store, climates)
    theirs = pl.col("construction_id").is_in(unsaid.candidates["construction_id"].unique().implode())
    return Known(materials_of(frame(store, RELEASES).filter(theirs), figures), unsaid)


def run(
    store: Connection,
    materials: dict[str, Material],
    unknown: UnknownMix,
    climates: Climates,
    outlooks: Sequence[Outlook],
    as_of: date,
    known: Known | None = None,
) -> Lives | None:
    """Write the prognosis of the listings in ``todo``, once for each outlook a buyer has.

    Args:
        outlooks: Years of ordinary wear still wanted, and the climate in which they go by.
        known: What ``know`` returned of the same listings, which are few; nothing that is in it is read again.

    Returns:
        What was written, of few listings.
    """
    few, known = known is not None, known or know(store, materials, unknown, climates)
    figures = Materials(tuple(sorted(materials)), materials, unknown)
    years = Years(tuple(sorted(set(outlooks))), climates.climates)
    clocks = read_clocks(store, climates, as_of, known.unsaid, known.said)
    store.execute("DELETE FROM life_led WHERE listing_id IN (SELECT listing_id FROM todo)")
    store.execute(UNLED)
    if not few:
        store.execute("DELETE FROM storage_node")
        append(store, "storage_node", storage_nodes())
    last = int(store.execute(LAST).fetchall()[0][0])
    written: dict[str, list[pl.DataFrame]] = {"life_led": [], "life_part": []}
    for table, rows in prognoses(clocks, known.made_of, figures, years, last):
        append(store, table, rows)
        if few:
            written[table].append(rows.with_columns(NAMES.cast(pl.String)))
    return Lives(*map(pl.concat, written.values())) if all(written.values()) else None


@dataclass(frozen=True)
class Years:
    """The years a prognosis is for.

    Attributes:
        outlooks: Years of wear still wanted, and the climate in which they go by; distinct, in order.
        climates: Climates by key.
    """

    outlooks: tuple[Outlook, ...]
    climates: Mapping[str, Climate]


def prognoses(
    clocks: pl.DataFrame, made_of: pl.DataFrame, known: Materials, years: Years, last: int = 0
) -> Iterator[tuple[str, pl.DataFrame]]:
    """Yield the rows of ``life_led`` and ``life_part``, each with its table's name, in the order of ``clocks``.

    A table that stands in the order of its listings lets the stages behind read some of them without all others.

    Args:
        clocks: As ``clocks.read_clocks`` returns them.
        made_of: As ``parts.materials_of`` returns it.
        known: The materials' figures.
        years: How long the parts must last, and where.
        last: The highest number a life has so far.
    """
    for some in clocks.iter_slices(CLOCKS_AT_ONCE):
        lives, led = distinct_lives(some, last + 1)
        last += lives.height
        yield "life_led", led
        age = partial(aged_parts, made_of=made_of, known=known, years=years)
        for aged in in_order(age, lives.iter_slices(BLOCK_LIVES)):
            yield "life_part", aged


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
