"""The construction table laid out for matching: words to numbers, releases to bit masks and year curves."""

from dataclasses import dataclass

import numpy as np
import polars as pl

from triage.catalogue.constructions import Constructions
from triage.catalogue.matching import MatchWeights
from triage.match.codes import code_keys, code_prefixes
from triage.match.vocabulary import (
    common_words,
    family_words,
    joined_phrases,
    maker_words,
    name_vocabulary,
    name_words,
    shade_words,
)
from triage.once import once

NAME_MASKS = ("maker", "qualifier", "descriptor", "edition_word", "number")
COLOUR_MASKS = ("shade", "family")
FIRST_YEAR, LAST_YEAR = 1950, 2040
WORD_BITS = 64


@dataclass(frozen=True)
class Index:
    """What matching looks things up in.

    Attributes:
        releases: The table, with ``row`` (0 to n-1, by model_id).
        names: word -> kind (model, maker, qualifier, descriptor, edition_word, number), token, bits.
        postings: word -> row, for model words.
        word_count: Model words of each row.
        masks: By kind, rows x 64-bit words: which of the kind's tokens a row has.
        bit: By kind, word, token -> bit; words that mean the same share one.
        joins: Phrases of several words (as ``spaced``) and what to read for them.
        kana: Katakana names, for cutting them out of unspaced text.
        codes: key -> row, strength (exact, partial, stem).
        prefixes: Letters that style numbers of this table start with.
        common: Words of every list, and those that choose a generic construction: no names of models.
        made: Rows x years, running share of stated years up to and including a year.
        bought: The same for years of purchase.
    """

    releases: pl.DataFrame
    names: pl.DataFrame
    postings: pl.DataFrame
    word_count: np.ndarray
    masks: dict[str, np.ndarray]
    bit: dict[str, pl.DataFrame]
    joins: dict[str, str]
    kana: list[str]
    codes: pl.DataFrame
    prefixes: list[str]
    common: list[str]
    made: np.ndarray
    bought: np.ndarray


@once
def build_index(constructions: Constructions, match: MatchWeights) -> Index:
    """Return the index of a construction table."""
    releases = constructions.table.sort("model_id").with_row_index("row")
    words = name_words(releases, match)
    makers = maker_words(releases)
    names = name_vocabulary(releases, words, makers, match)
    model = words.filter(pl.col("kind") == "model").select("word", "row").unique().sort("word", "row")
    bit, masks = _masks(releases, words, makers, names, match)
    kana = names.filter(pl.col("word").str.contains(r"^[\p{Katakana}ー]{3,}$"))["word"]
    return Index(
        releases=releases,
        names=names,
        postings=model,
        word_count=np.bincount(model["row"].to_numpy(), minlength=releases.height),
        masks=masks,
        bit=bit,
        joins=joined_phrases(releases, words, match),
        kana=sorted(kana.to_list()),
        codes=code_keys(releases),
        prefixes=code_prefixes(releases),
        common=common_words(constructions.generic, match),
        made=_year_curve(releases, match, 1, match.weights.year.style_year_of_reissue),
        bought=_year_curve(releases, match, match.weights.year.purchase_grace, 0.0),
    )


def _masks(
    releases: pl.DataFrame, words: pl.DataFrame, makers: pl.DataFrame, names: pl.DataFrame, match: MatchWeights
) -> tuple[dict[str, pl.DataFrame], dict[str, np.ndarray]]:
    shades, families = shade_words(releases), family_words(match)
    row_tokens = {kind: words.filter(pl.col("kind") == kind).select("row", token="word") for kind in NAME_MASKS}
    row_tokens["maker"] = makers.select("row", token="maker")
    row_tokens["shade"] = shades.select("row", token="word")
    row_tokens["family"] = shades.join(families, on="word").select("row", token="family")
    vocabulary = {kind: names.filter(pl.col("kind") == kind).select("word", "token") for kind in NAME_MASKS}
    vocabulary["shade"] = shades.select("word", token="word").unique()
    vocabulary["family"] = families.select("word", token="family")
    bit, masks = {}, {}
    for kind in (*NAME_MASKS, *COLOUR_MASKS):
        order = vocabulary[kind].select("token").unique().sort("token").with_row_index("bit")
        bit[kind] = vocabulary[kind].join(order, on="token").select("word", "token", "bit").sort("word", "bit")
        masks[kind] = as_masks(
            row_tokens[kind].join(order, on="token"), "row", releases.height, mask_words(order.height)
        )
    return bit, masks


def mask_words(bits: int) -> int:
    """Return how many 64-bit words hold so many bits, one at least."""
    return max(1, -(-bits // WORD_BITS))


def as_masks(pairs: pl.DataFrame, key: str, height: int, width: int) -> np.ndarray:
    """Return ``height`` x ``width`` 64-bit words with the ``bit`` of every (key, bit) pair set."""
    masks = np.zeros((height, width), np.uint64)
    bit = pairs["bit"].to_numpy().astype(np.uint64)
    word = (bit // np.uint64(WORD_BITS)).astype(np.int64)
    np.bitwise_or.at(masks, (pairs[key].to_numpy(), word), np.uint64(1) << (bit % np.uint64(WORD_BITS)))
    return masks


def _year_curve(releases: pl.DataFrame, match: MatchWeights, grace: int, styled: float) -> np.ndarray:
    """Return for each release the running share of stated years up to each year.

    Args:
        releases: made_from, made_to, style_year, edition.
        match: Shares.
        grace: Years after the end of manufacture that still fit.
        styled: Share of a later edition's sellers who name the year of the style.
    """
    weight = match.weights.year
    years = np.arange(FIRST_YEAR, LAST_YEAR + 1)
    made_from = np.floor(releases["made_from"].fill_null(float(FIRST_YEAR)).to_numpy())[:, None]
    made_to = np.ceil(releases["made_to"].fill_null(float(LAST_YEAR)).to_numpy() - 1)[:, None]
    inside = (years >= made_from) & (years <= made_to + grace)
    style = releases["style_year"].fill_null(-1).to_numpy()[:, None]
    later = (releases["edition"].fill_null("original") != "original").to_numpy()[:, None]
    # The year of the style counts for what is made later than it, most of all for a later edition.
    outside = ~(inside & (years == style)).any(1, keepdims=True)
    by_style = (years == style) & outside
    styled_share = np.where(later, styled, styled / 2) * by_style.any(1, keepdims=True)
    made = inside / np.maximum(inside.sum(1, keepdims=True), 1)
    mixed = (1 - styled_share) * made + styled_share * by_style
    shares = weight.in_production * mixed + weight.stray / weight.background_years
    curve: np.ndarray = np.cumsum(shares, axis=1)
    return curve
