"""The evidence of what arrived: every inspected part with its material, its years, what was said, what was found.

Which pairs were bought depends on what was said of them, on their age, place and price. All of that stands on the
right of the bar in ``P(found | said)``, so this choice biases nothing: given the same words and years, a pair that
was left is as likely to be sound as the one that was taken. What does not cancel out is what the buyer went by and
nobody wrote down: a photo that looked wrong, a seller known from before. Such hunches belong into ``triage answer
--by buyer``; left out, parts look fitter than those of the pairs one would not have bought. The same holds for parts
that nobody inspects because they are plainly sound or plainly gone.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl

from triage import due
from triage.catalogue import Catalogue
from triage.catalogue.materials import PARTS
from triage.catalogue.signs import Sign
from triage.handed import read_said
from triage.learning.likelihood import FIT, NOT_LOOKED_AT, UNFIT, WHOLE, Inspected, Lives, Said
from triage.prognosis.ageing import normal_nodes
from triage.prognosis.chances import STORAGE_NODES, Materials, Past, past_of
from triage.prognosis.clocks import LIFE, PAIRS, RELEASES, clocks_of, stated
from triage.prognosis.parts import exposure_of, materials_of, part_rows
from triage.store import Connection, frame, registered
from triage.verdict.beliefs import (
    Candidates,
    Heard,
    part_weights,
    read_candidates,
    read_heard,
    weigh_signs,
)
from triage.verdict.states import Flags

CONFIRMED = """
SELECT listing_id, last(construction_id ORDER BY confirmed_on, rowid) AS model_id
FROM confirmation
GROUP BY listing_id
ORDER BY listing_id
"""
# The latest row of a pair's part counts. Age counts up to the inspection; what the seller said counts from the day on
# which the listing was last seen, as on the night of the call.
INSPECTED = """
SELECT
  i.listing_id,
  i.part,
  i.state = 'unfit' AS unfit,
  year(i.inspected_on) + (dayofyear(i.inspected_on) - 1) / 365.25 AS looked_at,
  year(l.last_seen) + (dayofyear(l.last_seen) - 1) / 365.25 AS last_seen
FROM inspection i
LEFT JOIN listing l ON l.listing_id = i.listing_id
QUALIFY row_number() OVER (PARTITION BY i.listing_id, i.part ORDER BY i.inspected_on DESC, i.rowid DESC) = 1
ORDER BY i.listing_id, i.part
"""
MATCHED = """
SELECT listing_id, place, construction_id, level
FROM match
WHERE listing_id IN (SELECT listing_id FROM todo)
ORDER BY listing_id, place
"""
MADE = "SELECT model_id AS construction_id, made_from, made_to, life_factor FROM construction ORDER BY model_id"
NAMED = ("style_number", "release", "model")


@dataclass(frozen=True)
class Arrived:
    """What arrived and was inspected.

    Attributes:
        inspected: As arrays, pairs in the order of ``listing_ids``.
        parts: One row per inspected part, candidate and material: listing_id, part, material, ``chance`` that this is
            what it is made of, ``effective_years`` at each storage node, ``proof_years`` of wear in effective years
            and ``trust`` in it, unfit.
        said: One row per sign that counts: listing_id, part, sign, said_by, ``side`` (if_true or if_false), factor,
            decibans, ``weight`` (its place among the fitted weights).
        weights: The fitted weights: sign, said_by, side.
        left_out: Pairs that fit nothing, listing_id and why.
    """

    listing_ids: tuple[str, ...]
    inspected: Inspected
    parts: pl.DataFrame
    said: pl.DataFrame
    weights: pl.DataFrame
    left_out: pl.DataFrame


def read_arrived(store: Connection, catalogue: Catalogue, signs: Mapping[str, Sign]) -> Arrived:
    """Return every inspected pair of the store, as its stages 3 to 6 last saw it.

    Args:
        signs: With the weights that decide which of a group of signs and rules counts.
    """
    known = Materials(tuple(sorted(catalogue.materials)), dict(catalogue.materials), catalogue.unknown)
    found = frame(store, INSPECTED)
    pairs = found.group_by("listing_id", maintain_order=True).agg(
        pl.col("looked_at").max(), now=pl.min_horizontal("last_seen", "looked_at").min()
    )
    due.set_todo(store, pairs["listing_id"].to_list())
    with registered(store, "chunk", pairs.select("listing_id")):
        heard = read_heard(store, signs, catalogue.ageing_signs, read_candidates(store))
        weighed = weigh_signs(read_said(store, "chunk").filter("counts"), signs, catalogue.ageing_signs)
    candidates = _candidates(store, heard.candidates)
    told = frame(store, PAIRS).join(pairs.select("listing_id", "now"), on="listing_id")
    clocks = clocks_of(candidates, told, stated(read_said(store), catalogue.climates), catalogue.climates)
    lives = candidates.select("listing_id", "place").with_row_index("life")
    lives = lives.join(clocks, on=["listing_id", "place"], maintain_order="left")
    rows = part_rows(lives.select("life", "listing_id", *LIFE), materials_of(frame(store, RELEASES), known))
    kept = _kept(candidates.with_row_index("life"), rows, found)
    return _arrived(kept, rows, found, heard, weighed, known)


def _candidates(store: Connection, among: Candidates) -> pl.DataFrame:
    """Return the candidate releases of every pair; of one whose release was confirmed, that one alone.

    Columns: listing_id, place (0 where the night had not thought of it), slot, row, weight, construction_id, level and
    those of ``MADE``.
    """
    at = among.slots["row"].to_numpy(), among.slots["slot"].to_numpy()
    all_of_them = among.slots.with_columns(weight=pl.Series(among.weight[at])).join(
        frame(store, MATCHED), on=["listing_id", "place"], maintain_order="left"
    )
    confirmed = frame(store, CONFIRMED).join(all_of_them.select("listing_id", "row").unique(), on="listing_id")
    sure = confirmed.filter(pl.col("model_id").is_not_null()).join(
        all_of_them.select("listing_id", "place", "slot", construction_id="construction_id"),
        left_on=["listing_id", "model_id"], right_on=["listing_id", "construction_id"], how="left",
    )  # fmt: skip
    sure = sure.select(
        "listing_id", pl.col("place").fill_null(0), "slot", "row", pl.lit(1.0).alias("weight"),
        pl.col("model_id").alias("construction_id"), pl.lit("release").alias("level"),
    )  # fmt: skip
    # Known to be in no table: what is left are the generic constructions.
    in_none = confirmed.filter(pl.col("model_id").is_null())["listing_id"]
    open_ones = all_of_them.filter(
        ~pl.col("listing_id").is_in(sure["listing_id"].implode())
        & ~(pl.col("listing_id").is_in(in_none.implode()) & pl.col("level").is_in(NAMED))
    )
    every = pl.concat([open_ones.select(sure.columns), sure], how="vertical_relaxed").sort("row", "slot")
    return every.join(frame(store, MADE), on="construction_id", how="left", maintain_order="left")


def _kept(candidates: pl.DataFrame, rows: pl.DataFrame, found: pl.DataFrame) -> pl.DataFrame:
    """Return the candidates that have every part that was inspected, weights summing to 1, pairs numbered anew."""
    part = found.select("listing_id", part=_number_of_part())
    has = rows.select("life", "part").unique()
    asked = candidates.select("life", "listing_id").join(part, on="listing_id")
    lacks = asked.join(has, on=["life", "part"], how="anti")["life"]
    kept = candidates.filter(~pl.col("life").is_in(lacks.implode()) & (pl.col("weight") > 0))
    return kept.with_columns(
        weight=pl.col("weight") / pl.col("weight").sum().over("listing_id"),
        pair=pl.col("listing_id").rle_id().cast(pl.Int64),
    ).with_row_index("candidate")


def _number_of_part() -> pl.Expr:
    return pl.col("part").replace_strict({name: i for i, name in enumerate(PARTS)}, return_dtype=pl.UInt8)


def _arrived(
    kept: pl.DataFrame, rows: pl.DataFrame, found: pl.DataFrame, heard: Heard, weighed: pl.DataFrame, known: Materials
) -> Arrived:  # fmt: skip
    ids = kept["listing_id"].unique(maintain_order=True).to_list()
    said, weights = _said(weighed, kept)
    looked = found.select("listing_id", "looked_at", "unfit", part=_number_of_part())
    pieces = (
        rows.join(kept.select("life", "candidate", "pair", "weight"), on="life", maintain_order="left")
        .join(looked, on=["listing_id", "part"], how="left", maintain_order="left")
        .join(looked.group_by("listing_id").agg(last=pl.col("looked_at").max()), on="listing_id", maintain_order="left")
        .with_columns(now=pl.coalesce("looked_at", "last"))
    )
    rule_db = _rule_db(kept, heard, weighed)
    pieces = _that_matter(pieces, said, rule_db)
    lives, bears = lives_of(pieces, known, kept.height)
    states = looked.join(kept.select("listing_id", "pair").unique(), on="listing_id")
    inspected = Inspected(
        found=found_of(states, len(ids)), pair=kept["pair"].to_numpy(), weight=kept["weight"].to_numpy(),
        rule_db=rule_db, bears=bears, lives=lives, said=said_of(said),
    )  # fmt: skip
    left_out = found.select("listing_id").unique(maintain_order=True).filter(~pl.col("listing_id").is_in(ids))
    why = pl.lit("its listing is gone, or no release it may be has every part that was inspected")
    return Arrived(
        tuple(ids), inspected, _parts(pieces, lives.past, known), said, weights, left_out.with_columns(why=why)
    )


def _rule_db(kept: pl.DataFrame, heard: Heard, weighed: pl.DataFrame) -> np.ndarray:
    """Return the decibans of rules by candidate and part, the whole last; none for a release nobody had thought of."""
    whole = part_weights(weighed).filter(pl.col("part") == "whole").select("listing_id", "decibans")
    signs = kept.join(whole, on="listing_id", how="left", maintain_order="left")["decibans"].fill_null(0.0).to_numpy()
    seen = kept["slot"].is_not_null().to_numpy()
    at = kept["row"].to_numpy(), kept["slot"].fill_null(0).to_numpy()
    rule_db = np.column_stack([heard.rule_db[at], heard.whole_db[at] - signs])
    rule_db[~seen] = 0.0
    return np.asarray(rule_db)


def _said(weighed: pl.DataFrame, kept: pl.DataFrame) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Return the signs that count with the number of the weight each carries, and the weights by number."""
    pair = kept.select("listing_id", "pair").unique(maintain_order=True)
    number = {name: i for i, name in enumerate((*PARTS, "whole"))}
    rows = (
        weighed.join(pair, on="listing_id", maintain_order="left")
        .filter(pl.col("part").is_in(list(number)))
        .with_columns(
            side=pl.when(pl.col("state") == "affirmed").then(pl.lit("if_true")).otherwise(pl.lit("if_false")),
            factor=pl.when("hedged").then(0.5).otherwise(1.0),
            place=pl.col("part").replace_strict(number, return_dtype=pl.Int64),
        )
    )
    key = ["sign", "said_by", "side"]
    weights = rows.select(key).unique().sort(key).with_row_index("weight")
    return rows.join(weights, on=key, maintain_order="left"), weights


def _that_matter(pieces: pl.DataFrame, said: pl.DataFrame, rule_db: np.ndarray) -> pl.DataFrame:
    """Return the pieces of parts that were inspected or spoken of; where the pair as a whole was, of all its parts."""
    of_part = said.select("pair", part=pl.col("place").cast(pl.UInt8)).unique().with_columns(spoken=pl.lit(True))
    whole = said.filter(pl.col("place") == WHOLE)["pair"].unique()
    ruled = pl.Series(np.flatnonzero(rule_db[:, WHOLE]))
    return pieces.join(of_part, on=["pair", "part"], how="left", maintain_order="left").filter(
        pl.col("unfit").is_not_null()
        | pl.col("spoken").fill_null(False)
        | pl.col("pair").is_in(whole.implode())
        | pl.col("candidate").is_in(ruled.implode())
    )


def lives_of(pieces: pl.DataFrame, known: Materials, candidates: int) -> tuple[Lives, Flags]:
    """Return what parts are made of as arrays, and which bear load, [B, 8].

    Args:
        pieces: As ``parts.part_rows`` returns them, with ``candidate`` (rising); each is as old as when it
            was looked at.
        candidates: How many there are.
    """
    past, _, _ = past_of(exposure_of(pieces), known)
    candidate, part = pieces["candidate"].to_numpy().astype(np.int64), pieces["part"].to_numpy().astype(np.int64)
    guessed = pieces["keys"].cast(pl.String).eq("?").to_numpy()
    # Alternatives for an unknown material stand each alone; all materials of a known part must hold.
    new = (np.diff(candidate * WHOLE + part, prepend=-1) != 0) | guessed
    alternative = np.cumsum(new) - 1
    first = np.flatnonzero(new)
    share = np.where(guessed, pieces["share"].to_numpy(), 1.0)[first]
    heavy = np.array([known.materials[key].load_bearing for key in known.keys])[past.material]
    bears = np.zeros((candidates, WHOLE), dtype=np.bool_)
    np.logical_or.at(bears, (candidate, part), heavy)
    return Lives(past, alternative, candidate[first], part[first], share), bears


def found_of(states: pl.DataFrame, pairs: int) -> np.ndarray:
    """Return what was found of every part, [N, 8], from ``pair``, ``part`` (its number) and ``unfit``."""
    found = np.full((pairs, WHOLE), NOT_LOOKED_AT, dtype=np.int8)
    found[states["pair"].to_numpy(), states["part"].to_numpy()] = np.where(states["unfit"].to_numpy(), UNFIT, FIT)
    return found


def said_of(said: pl.DataFrame) -> Said:
    """Return signs as arrays, from ``pair``, ``place``, ``weight``, ``factor`` and ``said_by``."""
    pair, place, weight = (said[name].to_numpy().astype(np.int64) for name in ("pair", "place", "weight"))
    return Said(pair, place, weight, said["factor"].to_numpy(), said["said_by"].eq("listing").to_numpy())


def _parts(pieces: pl.DataFrame, past: Past, known: Materials) -> pl.DataFrame:
    """Return the table of inspected parts, in words."""
    nodes, _ = normal_nodes(STORAGE_NODES)
    years = past.aged.mean(axis=0)[:, None] * np.exp(past.storage_sd[:, None] * nodes)
    names = pl.Series(known.keys)
    return pieces.select(
        "listing_id",
        pl.col("part").cast(pl.Int64).replace_strict(dict(enumerate(PARTS)), return_dtype=pl.String),
        pl.Series("material", names.gather(pl.Series(past.material))),
        chance=pl.col("weight") * pl.col("share"),
        effective_years=pl.Series(years),
        proof_years=pl.Series(past.proven.mean(axis=0)),
        trust=pl.col("trust"),
        unfit=pl.col("unfit"),
    ).filter(pl.col("unfit").is_not_null())
