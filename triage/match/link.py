"""Listings against the construction table, from texts to places and reasons."""

from dataclasses import dataclass

import polars as pl

from triage.catalogue.constructions import Constructions
from triage.catalogue.matching import MatchWeights
from triage.match.decide import placed, with_probability, with_rest
from triage.match.evidence import explain
from triage.match.facts import category_bits, construction_bits, edition_bits, fact_phrases, facts_in
from triage.match.generic import choose_generic, generic_words
from triage.match.names import named, split_words, style_numbers
from triage.match.score import colour_bits, name_scores, signatures, style_number_bits, year_bits
from triage.match.table import Index, build_index
from triage.match.text import plain, size_pattern, years


@dataclass(frozen=True)
class Linked:
    """Rows of ``match`` and ``match_evidence``."""

    match: pl.DataFrame
    evidence: pl.DataFrame


@dataclass(frozen=True)
class Reading:
    """What the texts say, by item: names, style numbers (found, stray), years, words and facts."""

    names: pl.DataFrame
    found: pl.DataFrame
    stray: pl.DataFrame
    years: pl.DataFrame
    words: pl.DataFrame
    facts: pl.DataFrame
    texts: pl.DataFrame


def link(listings: pl.DataFrame, constructions: Constructions, match: MatchWeights) -> Linked:
    """Return which releases each listing may be, and why.

    Args:
        listings: listing_id, title, body, size_text, stated_year_lo, stated_year_hi, stated_year_kind.
        constructions: Releases and generic constructions.
        match: Weights and words.
    """
    index = build_index(constructions, match)
    ordered = listings.sort("listing_id").with_row_index("item")
    reading = read(ordered, index, match)
    pairs = weigh(reading, index, match)
    kept = placed(with_probability(pairs, match), index.releases, match)
    best = (
        kept.filter(pl.col("rank") == 0).select("item", "row").join(index.releases.select("row", "category"), on="row")
    )
    texts = reading.texts.join(best.select("item", "category"), on="item", how="left").join(
        reading.years.select("item", year_lo="first_lo", year_hi="first_hi"), on="item", how="left"
    )
    items = choose_generic(texts, generic_words(constructions.generic), constructions.generic)
    ids = ordered.select("item", "listing_id")
    places = with_rest(kept, items).join(ids, on="item").drop("item").sort("listing_id", "place")
    return Linked(places, explain(kept, reading, index, match).join(ids, on="item").drop("item"))


def read(listings: pl.DataFrame, index: Index, match: MatchWeights) -> Reading:
    """Return what the texts of listings say; the body names the model only when the title does not."""
    both = pl.concat_str(plain(pl.col("title")), plain(pl.col("body")), separator=" . ")
    texts = listings.select("item", title=plain(pl.col("title")), both=both, size_text="size_text")
    found, stray = style_numbers(texts.select("item", text="both"), index)
    marked = pl.col("title").str.contains(size_pattern(match.words)) | (pl.col("size_text").fill_null("") != "")
    sizes = texts.select("item", "size_text", sized=marked)
    words = split_words(texts.select("item", text="title"), index, match)
    names = named(words, sizes, index, match)
    told = names.filter((pl.col("kind") == "model") & ~pl.col("against"))["item"]
    mute = texts.filter(~pl.col("item").is_in(told.implode()))
    all_words = split_words(texts.select("item", text="both"), index, match)
    more = named(all_words.join(mute.select("item"), on="item", how="semi"), sizes, index, match)
    names = pl.concat([names.join(mute.select("item"), on="item", how="anti"), more]).sort("item", "place")
    lines = all_words.group_by("item", maintain_order=True).agg(text=pl.col("word").str.join("  "))
    lines = texts.select("item").join(lines, on="item", how="left", maintain_order="left")
    lines = lines.select("item", text=pl.lit(" ") + pl.col("text").fill_null("") + pl.lit(" "))
    return Reading(
        names=names,
        found=found,
        stray=stray,
        years=_years(listings, texts, match),
        words=all_words,
        facts=facts_in(lines, fact_phrases(match)),
        texts=lines,
    )


def _years(listings: pl.DataFrame, texts: pl.DataFrame, match: MatchWeights) -> pl.DataFrame:
    """Return the stated years: of the title, else those the listing stage found, else of the body."""
    title = texts.select("item", year=years(pl.col("title"), match.words)).unnest("year")
    body = texts.select("item", year=years(pl.col("both"), match.words)).unnest("year")
    lo, hi = pl.col("stated_year_lo"), pl.col("stated_year_hi")
    bought = (pl.col("stated_year_kind") == "purchase").fill_null(False)
    stated = listings.select("item", first_lo=lo, first_hi=hi, last_lo=lo, last_hi=hi, purchase=bought)
    frames = [one.filter(pl.col("first_lo").is_not_null()).cast({"first_lo": pl.Int32, "first_hi": pl.Int32,
              "last_lo": pl.Int32, "last_hi": pl.Int32}) for one in (title, stated, body)]  # fmt: skip
    best = pl.concat(frames).unique("item", keep="first", maintain_order=True)
    return texts.select("item").join(best, on="item", how="left", maintain_order="left")


def weigh(reading: Reading, index: Index, match: MatchWeights) -> pl.DataFrame:
    """Return item, row and the bits of every kind of evidence for the releases in question."""
    sig_of, tokens = signatures(reading.names)
    blank = reading.found.join(sig_of, on="item", how="anti").select("item").unique()
    if blank.height:  # a style number and no name at all: a set of names of its own, empty
        sig_of = pl.concat([sig_of, blank.with_columns(sig=pl.lit(_next(tokens), pl.UInt32))])
    extra = reading.found.join(sig_of, on="item").select("sig", "row").unique().sort("sig", "row")
    names = name_scores(tokens, extra, index, match)
    numbered = reading.found.select("item", "row", number_strength="strength")
    pairs = sig_of.join(names, on="sig").join(numbered, on=["item", "row"], how="left")
    pairs = pairs.filter((pl.col("shared") > 0) | pl.col("number_strength").is_not_null() | (pl.col("compared") < 0))
    pairs = pairs.sort("item", "row")
    return pairs.with_columns(
        style_number=style_number_bits(pairs, reading.found, reading.stray, match),
        year=pl.Series(year_bits(pairs, reading.years, index, match)),
        colour=pl.Series(colour_bits(pairs, reading.words, index, match)),
        edition=pl.Series(edition_bits(pairs, reading.facts, index, match)),
        construction=pl.Series(construction_bits(pairs, reading.facts, index, match)),
        category=pl.Series(category_bits(pairs, reading.facts, index, match)),
    )


def _next(tokens: pl.DataFrame) -> int:
    last = tokens["sig"].max()
    return 0 if last is None else int(last) + 1  # type: ignore[call-overload]
