"""Listings against the construction table, from texts to places and reasons."""

from collections.abc import Iterator
from dataclasses import dataclass

import polars as pl

from triage.blocks import in_order
from triage.catalogue.constructions import Constructions
from triage.catalogue.matching import MatchWeights
from triage.match.decide import placed, with_probability, with_rest
from triage.match.evidence import EVIDENCE, explain
from triage.match.facts import audience_bits, category_bits, construction_bits, edition_bits
from triage.match.generic import choose_generic, generic_words
from triage.match.reading import Reading, read
from triage.match.score import FACT_BITS, NAME_BITS, colour_bits, name_scores, signatures, style_number_bits, year_bits
from triage.match.table import Index, build_index
from triage.order import ordered

BATCH = 50_000  # listings held in memory at a time; any batches give the same rows


@dataclass(frozen=True)
class Linked:
    """Rows of ``match`` and ``match_evidence``."""

    match: pl.DataFrame
    evidence: pl.DataFrame


def link(listings: pl.DataFrame, constructions: Constructions, match: MatchWeights) -> Linked:
    """Return which releases each listing may be, and why.

    Args:
        listings: listing_id, title, body, size_text, stated_year_lo, stated_year_hi, stated_year_kind.
        constructions: Releases and generic constructions.
        match: Weights and words.
    """
    parts = list(link_batches(listings, constructions, match))
    return Linked(pl.concat(part.match for part in parts), pl.concat(part.evidence for part in parts))


def link_batches(
    listings: pl.DataFrame, constructions: Constructions, match: MatchWeights, reasons: bool = True
) -> Iterator[Linked]:
    """Return the same batch by batch, for more listings than fit in memory with their reasons.

    Args:
        listings: As for ``link``.
        constructions: Releases and generic constructions.
        match: Weights and words.
        reasons: Whether the evidence is wanted too.
    """
    index = build_index(constructions, match)
    rows = ordered(listings, "listing_id")

    def linked(part: pl.DataFrame) -> Linked:
        part = part.with_row_index("item")
        reading = read(part, index, match)
        pairs = with_probability(weigh(reading, index, match), match)
        kept = placed(pairs, index.releases, match)
        items = choose_generic(
            _stand_ins(reading, kept, index), generic_words(constructions.generic), constructions.generic
        )
        ids = part.select("item", "listing_id")
        places = with_rest(kept, items).join(ids, on="item", maintain_order="left")
        explained = explain(kept, reading, index) if reasons else pl.DataFrame(schema=EVIDENCE)
        return Linked(places.drop("item"), explained.join(ids, on="item", maintain_order="left").drop("item"))

    return in_order(linked, rows.iter_slices(BATCH) if rows.height else [rows])


def _stand_ins(reading: Reading, kept: pl.DataFrame, index: Index) -> pl.DataFrame:
    """Return item, text, year_lo, year_hi and the category of the likeliest release."""
    best = (
        kept.filter(pl.col("rank") == 0).select("item", "row").join(index.releases.select("row", "category"), on="row")
    )
    years = reading.years.select("item", year_lo="first_lo", year_hi="first_hi")
    return reading.texts.join(best.select("item", "category"), on="item", how="left").join(years, on="item", how="left")


def weigh(reading: Reading, index: Index, match: MatchWeights) -> pl.DataFrame:
    """Return item, row and the bits of every kind of evidence for the releases in question."""
    sig_of, tokens = signatures(reading.names)
    nameless = reading.found.join(sig_of, on="item", how="anti").select("item").unique()
    empty = sig_of["sig"].n_unique()  # the set of no names, for texts with a style number alone
    sig_of = pl.concat([sig_of, nameless.with_columns(sig=pl.lit(empty, pl.UInt32))])
    numbered = reading.found.select("item", "row", number_strength="strength")
    extra = numbered.join(sig_of, on="item").select("sig", "row").unique()
    names = name_scores(tokens, extra, index, match)
    pairs = sig_of.join(names, on="sig").join(numbered, on=["item", "row"], how="left").sort("item", "row")
    # Names are shared by every text with the same ones; what a number adds is this text's alone.
    by_number = pl.col("number_strength").is_not_null()
    pairs = pairs.filter(pl.col("model").is_not_null() | by_number)
    one_word = pl.lit(match.weights.name.word_missing)
    pairs = pairs.with_columns(model=pl.when(by_number & pl.col("unnamed")).then(one_word).otherwise("model"))
    pairs = pairs.with_columns(
        style_number=style_number_bits(pairs, reading.stray, match),
        year=pl.Series(year_bits(pairs, reading.years, index, match)),
        colour=pl.Series(colour_bits(pairs, reading.colours, index, match)),
        edition=pl.Series(edition_bits(pairs, reading.facts, index, match)),
        construction=pl.Series(construction_bits(pairs, reading.facts, index, match)),
        audience=pl.Series(audience_bits(pairs, reading.facts, index, match)),
        category=pl.Series(category_bits(pairs, reading.facts, index, match)),
    )
    scale = match.weights.scale.model_dump()
    return pairs.with_columns(pl.col(kind) * scale[kind] for kind in (*NAME_BITS, *FACT_BITS))
