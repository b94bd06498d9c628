"""The construction that stands in when no release fits: by the words of the text, its years and its category."""

import numpy as np
import polars as pl

from triage.match.text import phrases

BACKGROUND_YEARS = 55.0
UNNAMED = 0.5  # bits a category or era must beat before a construction is named at all


def generic_words(generic: pl.DataFrame) -> pl.DataFrame:
    """Return phrase -> model_id for the words that choose a generic construction, with the bits of each.

    A word that fits few constructions says more: log2(constructions / those it fits).
    """
    listed = phrases(dict(zip(generic["model_id"].to_list(), generic["words"].to_list(), strict=True)))
    number = max(generic.height, 1)
    fits = pl.col("value").n_unique().over("phrase")
    return listed.with_columns(bits=(number / fits).log(2)).select("phrase", model_id="value", bits="bits")


def choose_generic(texts: pl.DataFrame, words: pl.DataFrame, generic: pl.DataFrame) -> pl.DataFrame:
    """Return item and ``generic``: the id of the construction that fits a text best, NULL where nothing points to one.

    Args:
        texts: item, text (``spaced``), year_lo, year_hi (NULL: none stated), category (of the likeliest
            release, NULL where there is none).
        words: As ``generic_words`` returns them.
        generic: The generic constructions.
    """
    if generic.is_empty():
        return texts.select("item", generic=pl.lit(None, pl.String))
    patterns = words["phrase"].unique().sort().to_list()
    hits = pl.col("text").str.extract_many(patterns, leftmost=True).list.unique().list.sort()
    keyed = texts.select("item", "year_lo", "year_hi", "category", said=hits.list.join("|"))
    fields = ["said", "year_lo", "year_hi", "category"]
    cases = keyed.select(fields).unique().sort(fields).with_row_index("case")
    best = _best(cases, words, generic)
    chosen = cases.join(best, on="case", how="left")
    return keyed.join(chosen, on=fields, how="left", nulls_equal=True).select("item", generic="model_id")


def _best(cases: pl.DataFrame, words: pl.DataFrame, generic: pl.DataFrame) -> pl.DataFrame:
    said = cases.select("case", phrase=pl.col("said").str.split("|")).explode("phrase")
    spoken = said.join(words, on="phrase", maintain_order="left").group_by("case", "model_id").agg(pl.col("bits").sum())
    gassed = pl.col("cushion").fill_null("?").is_in(["", "?"]).not_()
    known = generic.select("model_id", "made_from", "made_to", own_category="category", special=gassed)
    grid = cases.select("case", "year_lo", "year_hi", "category").join(known, how="cross")
    grid = grid.join(spoken, on=["case", "model_id"], how="left").with_columns(pl.col("bits").fill_null(0.0))
    same = (pl.col("category") == pl.col("own_category")).fill_null(False)
    overlap = pl.min_horizontal(pl.col("made_to") + 1, pl.col("year_hi") + 1) - pl.max_horizontal(
        "made_from", "year_lo"
    )
    share = overlap.clip(0.0) / (pl.col("made_to") + 1 - pl.col("made_from"))
    stated = pl.col("year_hi") + 1 - pl.col("year_lo")
    year = pl.max_horizontal(share, pl.lit(0.001)) * BACKGROUND_YEARS / stated
    grid = grid.with_columns(pointed=(pl.col("bits") > 0) | same, year=year.log(2).fill_null(0.0))
    scored = grid.filter("pointed").with_columns(score=pl.col("bits") + pl.col("year") + same.cast(pl.Float64) * 4)
    vague = pl.col("model_id").str.ends_with("-undated") & pl.col("year_lo").is_not_null()
    scored = scored.with_columns(score=pl.col("score") - vague.cast(pl.Float64) * np.float64(UNNAMED))
    width = pl.col("made_to") - pl.col("made_from")
    ordered = scored.with_columns(width=width).sort(
        ["case", "score", "special", "width", "model_id"], descending=[False, True, False, True, False]
    )
    return ordered.unique("case", keep="first", maintain_order=True).select("case", "model_id")
