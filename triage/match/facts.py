"""Facts of a text beside the names: edition words, how the shoe is made, what sort of shoe it is."""

import numpy as np
import polars as pl

from triage.catalogue.constructions import EDITIONS, PARTS
from triage.catalogue.matching import MatchWeights
from triage.match.table import Index
from triage.match.text import phrases


def fact_phrases(match: MatchWeights) -> pl.DataFrame:
    """Return phrase (as ``spaced``), kind (edition, construction, category, audience) and value of every fact."""
    words = match.words
    groups = {
        "edition": {"original": words.edition.original, "reissue": words.edition.reissue},
        "construction": {str(n): list(entry.words) for n, entry in enumerate(words.construction)},
        "category": dict(words.category),
        "audience": dict(words.audience),
    }
    frames = [phrases(listed).with_columns(kind=pl.lit(kind)) for kind, listed in groups.items()]
    return pl.concat(frames).select("phrase", "kind", "value")


def facts_in(texts: pl.DataFrame, listed: pl.DataFrame) -> pl.DataFrame:
    """Return item, kind, value, word for the phrases in ``spaced`` texts; the longest phrase at a place counts."""
    patterns = listed["phrase"].unique().sort().to_list()
    hits = texts.select("item", phrase=pl.col("text").str.extract_many(patterns, leftmost=True))
    found = hits.explode("phrase").drop_nulls().unique().join(listed, on="phrase")
    return (
        found.select("item", "kind", "value", word=pl.col("phrase").str.strip_chars())
        .sort("item", "kind", "value", "word")
        # Of several words for one fact the same one is always shown.
        .unique(["item", "kind", "value"], keep="first", maintain_order=True)
    )


def edition_bits(pairs: pl.DataFrame, facts: pl.DataFrame, index: Index, match: MatchWeights) -> np.ndarray:
    """Return the bits of "original" and "reissue" words for pairs of item and row.

    A word that stands in the release's own name ("OG" of a reissue called OG) says nothing about it.
    """
    bits = match.weights.edition.model_dump()
    total = np.zeros(pairs.height)
    edition = index.releases["edition"].fill_null("").to_numpy()[pairs["row"].to_numpy()]
    for word in ("original", "reissue"):
        said = _said(pairs, facts, "edition", word)
        own = _own_edition_word(index, word, match)[pairs["row"].to_numpy()]
        weight = np.select(
            [edition == name for name in EDITIONS], [bits[f"{word}_word_{name}"] for name in EDITIONS], 0.0
        )
        total += np.where(said & ~own, weight, 0.0)
    return total


def _said(pairs: pl.DataFrame, facts: pl.DataFrame, kind: str, value: str) -> np.ndarray:
    items = facts.filter((pl.col("kind") == kind) & (pl.col("value") == value))["item"]
    return pairs["item"].is_in(items.implode()).to_numpy()


def _own_edition_word(index: Index, word: str, match: MatchWeights) -> np.ndarray:
    listed = pl.Series(getattr(match.words.edition, word), dtype=pl.String)
    bits = index.bit["edition_word"].filter(pl.col("word").is_in(listed.implode()))["bit"].to_list()
    masks = index.masks["edition_word"]
    own = np.zeros(len(masks), bool)
    for bit in sorted(set(bits)):
        own |= (masks[:, bit // 64] >> np.uint64(bit % 64)) & np.uint64(1) == 1
    return own


def construction_bits(pairs: pl.DataFrame, facts: pl.DataFrame, index: Index, match: MatchWeights) -> np.ndarray:
    """Return the bits of words about how the shoe is made; an unknown part says nothing."""
    bits = match.weights.construction
    total = np.zeros(pairs.height)
    for number, entry in enumerate(match.words.construction):
        said = _said(pairs, facts, "construction", str(number))
        part = entry.part if entry.part in PARTS else "midsole"
        cell = index.releases[part].fill_null("?")
        fits = (
            (cell.str.split(";").list.eval(pl.element().is_in(entry.materials)).list.any()).fill_null(False).to_numpy()
        )
        agrees = np.where(fits == entry.present, bits.agrees, bits.conflicts)
        value = np.where((cell == "?").to_numpy(), 0.0, agrees)[pairs["row"].to_numpy()]
        total += np.where(said, value, 0.0)
    return np.clip(total, bits.conflicts, bits.agrees)


def category_bits(pairs: pl.DataFrame, facts: pl.DataFrame, index: Index, match: MatchWeights) -> np.ndarray:
    """Return the bits of words for a sort of shoe: one that fits is enough, else it conflicts."""
    bits = match.weights.category
    fits, said = np.zeros(pairs.height, bool), np.zeros(pairs.height, bool)
    known = index.releases["category"].is_not_null().to_numpy()[pairs["row"].to_numpy()]
    for group in match.words.category:
        here = _said(pairs, facts, "category", group)
        inside = index.releases["category"].fill_null("").is_in(group.split("|")).to_numpy()[pairs["row"].to_numpy()]
        said |= here
        fits |= here & inside
    return np.where(said & known, np.where(fits, bits.agrees, bits.conflicts), 0.0)


def audience_bits(pairs: pl.DataFrame, facts: pl.DataFrame, index: Index, match: MatchWeights) -> np.ndarray:
    """Return the bits of words for children, but for a release whose own name has one."""
    listed = match.words.audience["kids"]
    own = index.releases["model"].str.to_lowercase().str.split(" ").list.eval(pl.element().is_in(listed)).list.any()
    named = own.to_numpy()[pairs["row"].to_numpy()]
    return np.where(_said(pairs, facts, "audience", "kids") & ~named, match.weights.audience.kids, 0.0)
