"""The facts: one wide row per listing and candidate release, NULL where nothing is known."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl

from triage.catalogue.signs import Sign
from triage.handed import Lives, holding, read_said
from triage.once import once
from triage.order import ordered
from triage.store import Connection, frame

PARTS = ("midsole", "outsole", "cushion", "bond", "trim", "coating", "upper", "lining")
SOLES = frozenset(PARTS[:4])
# Silence on the soles tells something only where a text says much of the rest. Our judgement, after the trade's
# rule to weigh silence only in a listing that is otherwise detailed.
FEWEST_OTHER_SIGNS = 2
# Fewer pairs of one release on offer tell no price.
FEWEST_OFFERED = 3
LETTERS, LETTERS_JA = 200, 80  # a Japanese text says as much in less than half the characters

# What is told of each part, by the end of the fact's name; of an unknown material only its age and its chance.
OF_PART = {"": "material", "_mode": "mode", "_age_years": "age_years", "_p": "p_unfit"}
LED = "SELECT listing_id, place, life FROM life_led WHERE listing_id IN (SELECT listing_id FROM {of})"
# Chances are those of the first outlook: rules look at none of them. By their places, as ``rows_of`` has it.
LIVES = """
SELECT life, part, material, mode, made_lo, made_hi, age_years, p_unfit
FROM life_part
WHERE rowid IN (
  SELECT rowid
  FROM life_part
  WHERE (horizon_years, climate) = (SELECT min((horizon_years, climate)) FROM life_part)
    AND life IN (SELECT life FROM life_led WHERE listing_id IN (SELECT listing_id FROM {of}))
)
"""

CANDIDATES = """
SELECT
  listing_id,
  place,
  construction_id,
  level AS match_level,
  probability AS match_probability,
  accepted AS match_accepted
FROM candidate
WHERE listing_id IN (SELECT listing_id FROM {of})
"""
MADE = """
SELECT model_id AS construction_id, maker, model, edition, category, life_factor, style_year
FROM construction
"""
# Rows of ``listing`` by their place: a join would read every title and text before it leaves most out.
LISTED = """
WITH here AS MATERIALIZED (SELECT rowid AS row FROM listing WHERE listing_id IN (SELECT listing_id FROM {of}))
SELECT
  listing_id,
  condition,
  CASE WHEN condition <> 'unknown' THEN condition = 'deadstock' END AS deadstock,
  stated_year_lo,
  stated_year_hi,
  stated_year_kind,
  price_minor,
  price_base_minor,
  shipping_base_minor,
  price_kind,
  photo_count,
  seller_kind,
  ships_from,
  language,
  length(title) AS title_length,
  length(body) AS text_length,
  text_cut,
  condition_conflict,
  size_system,
  foot_mm_lo,
  foot_mm_hi,
  (last_seen - first_seen) // 7 * 7 AS days_listed,
  status = 'open' AS on_offer
FROM listing
WHERE rowid IN (SELECT row FROM here)
"""

# Pairs of one release that are on offer at once: what they ask, and how many there are.
ASKED = """
SELECT
  m.listing_id,
  m.construction_id,
  l.price_base_minor
FROM match m
JOIN listing l USING (listing_id)
WHERE m.place = 1 AND m.level IN ('style_number', 'release', 'model') AND l.status = 'open'
"""
# The only facts that hang on all pairs on offer.
OFFERED_OF = """
SELECT
  construction_id,
  median(price_base_minor) AS median_minor,
  count(*) AS same_release_open
FROM ({asked})
GROUP BY construction_id
"""
OFFERED = OFFERED_OF.format(asked=ASKED)

RELISTS = """
SELECT listing_id, count(*) AS relists
FROM twin
WHERE kind = 'relist' AND listing_id IN (SELECT listing_id FROM {of})
GROUP BY listing_id
"""
DROPS = """
SELECT l.listing_id, greatest(0, 1 - l.price_minor / max(s.price_minor)) AS price_drop
FROM listing l
LEFT JOIN sighting s ON s.listing_id = l.listing_id AND s.currency = l.currency AND s.price_minor > 0
WHERE l.listing_id IN (SELECT listing_id FROM {of})
GROUP BY l.listing_id, l.price_minor
"""


@dataclass(frozen=True)
class Known:
    """What the facts of few listings hang on; None is what is to be read.

    Attributes:
        unaged: Facts that hang on nothing said and on no part's age, one row per listing and candidate.
        lives: As ``LED`` and ``LIVES`` return them.
        unsaid: Both together.
        said: As ``read_said`` returns it.
    """

    unaged: pl.DataFrame | None = None
    lives: Lives | None = None
    unsaid: pl.DataFrame | None = None
    said: pl.DataFrame | None = None

    def otherwise_aged(self, lives: Lives | None) -> "Known":
        """Return what is known when the parts have aged otherwise, as ``prognosis.run`` returns it."""
        return Known(self.unaged, None if lives is None else lives.of_first_outlook(), said=self.said)

    def otherwise_priced(self) -> "Known":
        """Return what is still known when something else is asked for the pairs."""
        return Known(None, self.lives, said=self.said)


NOTHING = Known()


def read_known(store: Connection, wanted: Collection[str] | None, offered: str) -> Known:
    """Return what of the listings in ``todo`` hangs on nothing said; arguments as ``read_facts`` has them."""
    unaged, lives = _unaged(store, "todo", offered).collect(), _lives(store, "todo")
    return Known(unaged, lives, _aged(unaged.lazy(), lives, wanted).collect())


def read_facts(
    store: Connection,
    signs: Mapping[str, Sign],
    wanted: Collection[str] | None = None,
    of: str = "todo",
    offered: str = OFFERED,
    known: Known = NOTHING,
) -> pl.DataFrame:
    """Return the facts of some listings: one row per listing and candidate, in that order.

    Args:
        signs: Signs by id; each becomes a BOOLEAN column, NULL where nobody spoke of it.
        wanted: Facts that are used; of signs and parts no others are worked out. All when left out.
        of: Table of the listings.
        offered: Query of what the open pairs of each release ask, as ``OFFERED`` has it.
        known: What ``read_known`` returned of the same listings; nothing that is in it is read again.
    """
    heard = _of_signs(read_said(store, of) if known.said is None else known.said, signs, wanted).lazy()
    few = pl.when(pl.col("language") == "ja").then(LETTERS_JA).otherwise(LETTERS)
    detailed = (pl.col("of_the_rest") >= FEWEST_OTHER_SIGNS) & (pl.col("text_length") >= few) & ~pl.col("text_cut")
    if known.unsaid is None:
        unaged = _unaged(store, of, offered) if known.unaged is None else known.unaged.lazy()
        unsaid = _aged(unaged, known.lives or _lives(store, of), wanted)
    else:
        unsaid = known.unsaid.lazy()
    return (
        unsaid.join(heard, on="listing_id", how="left", maintain_order="left")
        .with_columns(soles_told=pl.when(pl.col("of_soles") > 0).then(True).when(detailed).then(False))
        .drop("of_soles", "of_the_rest")
        .collect()
    )


def _unaged(store: Connection, of: str, offered: str) -> pl.LazyFrame:
    # Small questions put together here: DuckDB takes longer to plan one large one than to answer all of these.
    queries = (LISTED, MADE, RELISTS, DROPS, offered)
    pairs = ordered(frame(store, CANDIDATES.format(of=of)), "listing_id", "place").lazy()
    listed, made, relists, drops, asked = (frame(store, query.format(of=of)).lazy() for query in queries)
    priced = (pl.col("same_release_open") >= FEWEST_OFFERED) & (pl.col("median_minor") > 0)
    # What is said of a listing is read once, not for every release it may be.
    listed = listed.join(relists, on="listing_id", how="left").join(drops, on="listing_id", how="left")
    made = made.join(asked, on="construction_id", how="left")
    return (
        pairs.join(made, on="construction_id", how="left", maintain_order="left")
        .join(listed, on="listing_id", maintain_order="left")
        .with_columns(pl.when("on_offer").then(pl.col("median_minor", "same_release_open")))
        .with_columns(
            price_ratio=pl.when(priced).then(pl.col("price_base_minor") / pl.col("median_minor")),
            relists=pl.col("relists").fill_null(0),
        )
        .drop("on_offer", "median_minor")
    )


def _lives(store: Connection, of: str) -> Lives:
    return Lives(*(frame(store, query.format(of=of)) for query in (LED, LIVES)))


def _aged(unaged: pl.LazyFrame, lives: Lives, wanted: Collection[str] | None) -> pl.LazyFrame:
    parts = _of_lives(lives.parts, wanted)
    # Joined by number alone: lives are fewer than the candidates that led them, and wide.
    led = lives.led.join(parts.select("life").with_row_index("at"), on="life").drop("life")
    age = pl.col("oldest_years")
    return (
        unaged.join(led.lazy(), on=["listing_id", "place"], how="left", maintain_order="left")
        .with_columns(pl.lit(column).gather("at").alias(column.name) for column in parts.drop("life"))
        .with_columns(
            made_year=(pl.col("made_from") + pl.col("made_to")) / 2,
            age_years=age,
            storage_years=pl.when("deadstock").then(age),
        )
        .drop("oldest_years", "at")
    )


def _of_lives(lives: pl.DataFrame, wanted: Collection[str] | None) -> pl.DataFrame:
    """Return the facts of parts, one row a life: life, oldest_years, made_from, made_to and those of each part."""
    ages = lives.group_by("life").agg(
        oldest_years=pl.col("age_years").max(), made_from=pl.col("made_lo").min(), made_to=pl.col("made_hi").max()
    )
    told = lives.with_columns(pl.when(pl.col("material") != "?").then(pl.col("material", "mode")))
    wide = told.pivot(on="part", on_columns=PARTS, index="life", values=[*OF_PART.values()])
    names = {f"{part}{end}": f"{value}_{part}" for part in PARTS for end, value in OF_PART.items()}
    used = {name: column for name, column in names.items() if _used(name, wanted)}
    return ages.join(wide.select("life", **used), on="life")


def _of_signs(said: pl.DataFrame, signs: Mapping[str, Sign], wanted: Collection[str] | None) -> pl.DataFrame:
    """Return what was said, one row a listing: listing_id, of_soles, of_the_rest and a column a sign.

    Args:
        said: As ``read_said`` returns it.
    """
    listing, sign = pl.col("listing_id"), pl.col("sign")
    soles, rest = _of_what(signs)
    told = holding(said.filter("counts")).select(listing, sign, told=pl.col("state") == "affirmed")
    rows = told.group_by("listing_id", maintain_order=True).agg(
        of_soles=sign.is_in(soles).sum(), of_the_rest=sign.is_in(rest).sum()
    )
    names = [name for name in signs if _used(name, wanted)]
    # A cell for each listing and sign, filled at once: to look for each sign of its own takes as long for every one.
    number = {name: at for at, name in enumerate(names)}
    found = told.select(
        sign.replace_strict(number, default=None, return_dtype=pl.Int64), "told", row=listing.rle_id()
    ).drop_nulls("sign")
    cells = np.full((len(names), rows.height), -1, dtype=np.int8)
    cells[found["sign"].to_numpy(), found["row"].to_numpy()] = found["told"].to_numpy()
    spoken = [name for at, name in enumerate(names) if found.height and (cells[at] >= 0).any()]
    columns = pl.DataFrame({name: cells[number[name]] for name in spoken})
    # Columns of signs nobody spoke of are made at once: one by one they would take longer than all else of one pair.
    return rows.join(_no_sign(signs, wanted), how="cross", maintain_order="left").with_columns(
        columns.select(pl.when(pl.col(name) >= 0).then(pl.col(name) == 1).alias(name) for name in spoken).get_columns()
    )


@once
def _no_sign(signs: Mapping[str, Sign], wanted: Collection[str] | None) -> pl.DataFrame:
    return pl.DataFrame([pl.Series(name, [None], pl.Boolean) for name in signs if _used(name, wanted)])


@once
def _of_what(signs: Mapping[str, Sign]) -> tuple[list[str], list[str]]:
    """Return the signs that speak of the soles, and those that speak of the rest of a pair."""
    return (
        [one.id for one in signs.values() if speaks_of_soles(one)],
        [one.id for one in signs.values() if speaks_of_the_rest(one)],
    )


def _used(name: str, wanted: Collection[str] | None) -> bool:
    return wanted is None or name in wanted


def speaks_of_soles(sign: Sign) -> bool:
    """Return whether a sign tells of the state of the soles: foam, rubber, gas unit or what holds them."""
    return sign.part in SOLES or any("sole" in reading.thing for reading in sign.reads)


def speaks_of_the_rest(sign: Sign) -> bool:
    """Return whether a sign tells of the pair, but not of its soles."""
    return (sign.part in PARTS or sign.part == "whole") and not speaks_of_soles(sign)
