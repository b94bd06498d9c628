"""Weights of agreement: what the names and the facts of a text say for each release it could be.

A score is a sum of log2 likelihood ratios (bits). Names are weighed once per distinct set of names, then
joined to every text that has that set; facts (years, colours, editions, construction) once per text.

Source: Fellegi and Sunter, J. Am. Stat. Assoc. 64:1183 (1969); weights per word as in Winkler's
frequency-based matching (1989).
"""

import numpy as np
import polars as pl

from triage.catalogue.matching import InName, MatchWeights
from triage.match.table import FIRST_YEAR, LAST_YEAR, Index, as_masks

NAME_BITS = ("model", "maker", "number", "qualifier", "compared")
FACT_BITS = ("style_number", "year", "colour", "edition", "construction", "category", "audience")


def signatures(named: pl.DataFrame) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Return item -> sig for sets of names, and sig, kind, token, slips, against of each distinct set."""
    key = pl.concat_str("kind", "token", "slips", "against", separator="|")
    # Keys are few and texts many: sort and compare numbers, not words.
    keyed = named.select("item", key=key)
    keys = keyed.select("key").unique().sort("key").with_row_index("number")
    sets = keyed.join(keys, on="key").select("item", "number").unique().sort("item", "number")
    lists = sets.group_by("item", maintain_order=True).agg(pl.col("number").cast(pl.String))
    texts = lists.select("item", text=pl.col("number").list.join(","))
    distinct = texts.select("text").unique().sort("text").with_row_index("sig")
    numbers = distinct.select("sig", number=pl.col("text").str.split(",")).explode("number").cast({"number": pl.UInt32})
    members = numbers.join(keys, on="number", how="left", maintain_order="left")
    fields = members.select("sig", part=pl.col("key").str.split("|"))
    split = fields.select(
        "sig",
        kind=pl.col("part").list.get(0),
        token=pl.col("part").list.get(1),
        slips=pl.col("part").list.get(2).cast(pl.Int64),
        against=pl.col("part").list.get(3) == "true",
    )
    return texts.join(distinct, on="text").select("item", "sig"), split


def name_scores(tokens: pl.DataFrame, extra: pl.DataFrame, index: Index, match: MatchWeights) -> pl.DataFrame:
    """Return the bits of the names for the releases in question.

    Those are the releases that share a model word with a set of names; where no model is named at all, every
    release of a maker that is; and ``extra``.

    Args:
        tokens: sig, kind, token, slips, against.
        extra: sig, row pairs to weigh in any case (a style number found them).
        index: The table's index.
        match: Weights.

    Returns:
        sig, row and the bits: model, maker, number, qualifier, compared. ``model`` is NULL for a release that only
        a style number can have found; ``unnamed``: no model is named.
    """
    w = match.weights
    model, kept = tokens.filter(pl.col("kind") == "model"), tokens.filter(~pl.col("against"))
    pairs = _shared_words(model.filter(~pl.col("against")), index, match)
    for more in (_compared(model, index), _of_maker(tokens, index, match), extra):
        pairs = pl.concat([pairs, more.join(pairs, on=["sig", "row"], how="anti")], how="diagonal")
    unnamed = pl.col("unnamed").fill_null(False) | pl.col("model").is_null()
    pairs = pairs.with_columns(unnamed=unnamed).sort("sig", "row")
    against = _compared(model, index).select("sig", "row", compared=pl.lit(w.compared.word))
    pairs = pairs.join(against, on=["sig", "row"], how="left", maintain_order="left")
    number = _masked("number", kept, pairs, index, w.number_in_name, w.number_in_name.extra)
    number = number + _count_other(kept, pairs) * w.number_in_name.extra
    qualifier = _masked("qualifier", kept, pairs, index, w.qualifier, w.qualifier.extra)
    qualifier = qualifier + _masked("descriptor", kept, pairs, index, w.qualifier, w.qualifier.descriptor_extra)
    qualifier = qualifier + _masked("edition_word", kept, pairs, index, w.qualifier, 0.0)
    return pairs.select(
        "sig",
        "row",
        "model",
        "unnamed",
        maker=pl.Series(_maker(kept, pairs, index, match)),
        number=pl.Series(number),
        qualifier=pl.Series(qualifier),
        compared=pl.col("compared").fill_null(0.0),
    )


def _compared(model: pl.DataFrame, index: Index) -> pl.DataFrame:
    """Return sig, row, model (0 bits) for releases that are only named for comparison."""
    found = model.filter("against").join(index.postings, left_on="token", right_on="word")
    return found.select("sig", "row").unique().with_columns(model=pl.lit(0.0))


def _of_maker(tokens: pl.DataFrame, index: Index, match: MatchWeights) -> pl.DataFrame:
    """Return sig, row, model for all releases of a maker, where the maker is all that is named."""
    modelled = tokens.filter(pl.col("kind").is_in(["model", "unlisted"])).select("sig").unique()
    makers = tokens.filter((pl.col("kind") == "maker") & ~pl.col("against")).join(modelled, on="sig", how="anti")
    few = pl.len().over("maker") <= match.weights.decide.candidates_most
    releases = index.releases.filter(few).select("row", "maker")
    found = makers.join(releases, left_on="token", right_on="maker").select("sig", "row").unique()
    return found.with_columns(model=pl.lit(match.weights.name.unnamed), unnamed=pl.lit(True))


def planned_pairs(tokens: pl.DataFrame, index: Index) -> int:
    """Return how many pairs of names and release the words will make, before any is made.

    Args:
        tokens: sig, kind, token, against.
        index: The table's index.
    """
    model = tokens.filter((pl.col("kind") == "model") & ~pl.col("against")).select("sig", "token").unique()
    length = index.postings.group_by("word").len("rows")
    return int(model.join(length, left_on="token", right_on="word")["rows"].sum())


def _shared_words(model: pl.DataFrame, index: Index, match: MatchWeights) -> pl.DataFrame:
    """Return sig, row, model: the bits of the model words a text shares, lacks and has beside the release's."""
    name = match.weights.name
    bits = index.names.filter(pl.col("kind") == "model").select("token", "bits").unique("token").sort("token")
    # In one order always: the last digit of a sum hangs on it.
    best = model.group_by("sig", "token").agg(pl.col("slips").min()).sort("sig", "token")
    weighed = best.join(bits, on="token", maintain_order="left")
    weighed = weighed.with_columns(agree=pl.col("bits") + pl.col("slips") * name.typo_per_letter)
    reached = weighed.join(index.postings, left_on="token", right_on="word", maintain_order="left_right")
    pairs = reached.group_by("sig", "row").agg(shared=pl.len().cast(pl.Int64), agree=pl.col("agree").sum())
    # A hard cap that breaks no tie: releases that tie across it are all left out.
    rank = pl.col("agree").rank("max", descending=True).over("sig")
    pairs = pairs.filter(rank <= match.weights.decide.candidates_most)
    pairs = pairs.join(best.group_by("sig").agg(said=pl.len().cast(pl.Int64)), on="sig")
    has = pl.Series(index.word_count[pairs["row"].to_numpy()])
    missing, surplus = has - pl.col("shared"), pl.col("said") - pl.col("shared")
    return pairs.select("sig", "row", model=pl.col("agree") + missing * name.word_missing + surplus * name.word_extra)


def _sig_masks(kind: str, tokens: pl.DataFrame, height: int, index: Index) -> np.ndarray:
    bits = index.bit[kind].select("token", "bit").unique()
    pairs = tokens.filter(pl.col("kind") == kind).join(bits, on="token")
    return as_masks(pairs, "sig", height, index.masks[kind].shape[1])


def _masked(
    kind: str, tokens: pl.DataFrame, pairs: pl.DataFrame, index: Index, bits: InName, extra: float
) -> np.ndarray:
    """Return the bits of one kind of word: agreements, words the text lacks, words the release lacks."""
    said, has = _both_masks(kind, tokens, pairs, index)
    both = np.bitwise_count(said & has).sum(1)
    unnamed = pairs["unnamed"].to_numpy()  # who names no model leaves the rest of its name out as well
    total: np.ndarray = (
        both * bits.agrees
        + (np.bitwise_count(has).sum(1) - both) * np.where(unnamed, 0.0, bits.missing)
        + (np.bitwise_count(said).sum(1) - both) * extra
    )
    return total


def _both_masks(kind: str, tokens: pl.DataFrame, pairs: pl.DataFrame, index: Index) -> tuple[np.ndarray, np.ndarray]:
    sig = pairs["sig"].to_numpy()
    height = 1 + max(sig.max(initial=0), tokens["sig"].to_numpy().max(initial=0))
    return _sig_masks(kind, tokens, height, index)[sig], index.masks[kind][pairs["row"].to_numpy()]


def _maker(tokens: pl.DataFrame, pairs: pl.DataFrame, index: Index, match: MatchWeights) -> np.ndarray:
    said, has = _both_masks("maker", tokens, pairs, index)
    bits = match.weights.maker
    agrees = (said & has).any(1)
    named = said.any(1)
    return np.where(agrees, bits.agrees, np.where(named, bits.other, bits.missing))


def _count_other(tokens: pl.DataFrame, pairs: pl.DataFrame) -> np.ndarray:
    other = tokens.filter((pl.col("kind") == "number") & (pl.col("token") == "other")).group_by("sig").len()
    counts = pairs.select("sig").join(other, on="sig", how="left", maintain_order="left")
    return counts["len"].fill_null(0).to_numpy().astype(np.float64)


def style_number_bits(pairs: pl.DataFrame, stray: pl.DataFrame, match: MatchWeights) -> pl.Series:
    """Return the bits of style numbers for pairs of item and row.

    Args:
        pairs: item, row, number_strength (how much of the release's number the text quotes; NULL: nothing).
        stray: item of texts that quote a number of the table's shape that stands in no row.
        match: Weights.
    """
    bits = match.weights.style_number
    given = {"exact": bits.exact, "partial": bits.partial, "stem": bits.stem}
    quoted = pl.col("number_strength").is_in(["exact", "partial"]).any().over("item")
    odd = pl.col("item").is_in(stray["item"].unique().implode())
    return pairs.select(
        pl.when(pl.col("number_strength").is_not_null())
        .then(pl.col("number_strength").replace_strict(given, default=0.0, return_dtype=pl.Float64))
        .when(quoted).then(bits.other)
        .when(odd).then(bits.unknown)
        .otherwise(0.0)
        .alias("style_number")
    ).to_series()  # fmt: skip


def year_bits(pairs: pl.DataFrame, years: pl.DataFrame, index: Index, match: MatchWeights) -> np.ndarray:
    """Return the bits of the years a text states, for pairs of item and row.

    Args:
        pairs: item, row.
        years: item, first_lo, first_hi, last_lo, last_hi, purchase; NULL years say nothing.
        index: Running shares of stated years.
        match: Gives the chance of a year named at random.
    """
    stated = pairs.select("item", "row").join(years, on="item", how="left", maintain_order="left")
    row = stated["row"].to_numpy()
    purchase = stated["purchase"].fill_null(False).to_numpy()
    odds = np.zeros(len(row))
    for lo, hi in (("first_lo", "first_hi"), ("last_lo", "last_hi")):
        low = stated[lo].fill_null(FIRST_YEAR).clip(FIRST_YEAR, LAST_YEAR).to_numpy() - FIRST_YEAR
        high = stated[hi].fill_null(FIRST_YEAR).clip(FIRST_YEAR, LAST_YEAR).to_numpy() - FIRST_YEAR
        share = [
            curve[row, high] - np.where(low > 0, curve[row, np.maximum(low - 1, 0)], 0)
            for curve in (index.made, index.bought)
        ]
        random = (high - low + 1) / match.weights.year.background_years
        odds += np.where(purchase, share[1], share[0]) / random / 2
    silent = stated["first_lo"].is_null().to_numpy()
    return np.where(silent, 0.0, np.log2(np.maximum(odds, 1e-6)))


def colour_bits(pairs: pl.DataFrame, words: pl.DataFrame, index: Index, match: MatchWeights) -> np.ndarray:
    """Return the bits of colour words (item, word) for pairs of item and row: own shades, then families."""
    bits = match.weights.colour
    total = np.zeros(pairs.height)
    settled = np.zeros(pairs.height, bool)
    for kind, agrees, other in (
        ("shade", bits.shade_agrees, bits.shade_other), ("family", bits.family_agrees, bits.family_other),
    ):  # fmt: skip
        said, has = _item_masks(kind, words, pairs, index)
        both = np.bitwise_count(said & has).sum(1)
        surplus = (np.bitwise_count(said).sum(1) > 0) & (both == 0) & has.any(1)
        value = np.where(both > 0, agrees + (both - 1) * agrees / 2, np.where(surplus, other, 0.0))
        total = np.where(settled, total, np.where(both > 0, value, np.minimum(total, value)))
        settled |= both > 0
    return total


def _item_masks(kind: str, words: pl.DataFrame, pairs: pl.DataFrame, index: Index) -> tuple[np.ndarray, np.ndarray]:
    items = pairs.select("item").unique().sort("item").with_row_index("at")
    at = pairs.select("item").join(items, on="item", how="left", maintain_order="left")["at"].to_numpy()
    bits = index.bit[kind].select("word", "bit").unique()
    said = words.join(items, on="item").join(bits, on="word").select("at", "bit").unique()
    return as_masks(said, "at", items.height, index.masks[kind].shape[1])[at], index.masks[kind][
        pairs["row"].to_numpy()
    ]
