"""How alike two listings are, and what that says about their being one pair.

Each likeness and each difference is a natural log odds of ``rules/words/twin.toml``; they add up.
"""

import math

import polars as pl
from rapidfuzz import fuzz, process

from triage.catalogue.words import TwinWeights

SAME_TEXT, LIKE_TEXT, OTHER_TEXT = 0.95, 0.8, 0.5  # likeness of two descriptions
TYPO = 75.0  # likeness of the differing words of two titles, 0 to 100
FEW_WORDS = 2  # a title of fewer words, numbers aside ("shoes 43"), tells nothing


def titles_compared(both: pl.DataFrame) -> pl.DataFrame:
    """Add how titles and prices of the two compare."""
    here = pl.col("tokens").list.set_difference("tokens_other").list.join(" ")
    there = pl.col("tokens_other").list.set_difference("tokens").list.join(" ")
    earlier = pl.when(pl.col("first_seen") <= pl.col("first_seen_other"))
    ratio = earlier.then(pl.col("price_base_minor_other") / pl.col("price_base_minor")).otherwise(
        pl.col("price_base_minor") / pl.col("price_base_minor_other")
    )
    words = [
        pl.col(side).list.eval(pl.element().str.contains(r"\p{L}")).list.sum() for side in ("tokens", "tokens_other")
    ]
    both = both.with_columns(
        here=here, there=there, ratio=ratio, thin=pl.min_horizontal(words) < FEW_WORDS
    ).with_columns(swapped=(pl.col("here") != "") & (pl.col("there") != ""))
    typo = _ratio(both["here"], both["there"], both["swapped"]) >= TYPO
    return both.with_columns(typo=typo).drop("tokens", "tokens_other", "here", "there")


def photos_compared(both: pl.DataFrame) -> pl.DataFrame:
    """Add how many file names of photos the two share that are a photo's own, and whether they share any."""
    own = pl.col("own").list.set_intersection("own_other").list.len().fill_null(0)
    shared = pl.col("file").list.set_intersection("file_other").list.len() > 0
    return both.with_columns(own_files=own, shared_file=shared.fill_null(False)).drop(
        "own", "own_other", "file", "file_other"
    )


def texts_compared(both: pl.DataFrame) -> pl.DataFrame:
    """Add how descriptions compare, as far as the shorter one goes, and the numbers in them."""
    length = pl.min_horizontal(pl.col("text").str.len_chars(), pl.col("text_other").str.len_chars())
    both = both.with_columns(
        length=length,
        start=pl.col("text").str.slice(0, length),
        start_other=pl.col("text_other").str.slice(0, length),
        numbers=pl.col("text").str.extract_all("[0-9]+").list.unique(),
        numbers_other=pl.col("text_other").str.extract_all("[0-9]+").list.unique(),
    )
    lost = pl.col("numbers").list.set_difference("numbers_other").list.len()
    gained = pl.col("numbers_other").list.set_difference("numbers").list.len()
    same = pl.col("start") == pl.col("start_other")
    unsure = both.select((~same & (pl.col("length") > 0)).fill_null(False)).to_series()
    like = _ratio(both["start"], both["start_other"], unsure) / 100
    return both.with_columns(
        text_like=pl.when(pl.col("length") > 0).then(pl.when(same).then(1.0).otherwise(like)),
        other_number=((lost > 0) & (gained > 0)).fill_null(False),
        template=pl.col("template") & pl.col("template_other"),
    ).drop("start", "start_other", "numbers", "numbers_other", "text", "text_other", "template_other", "length")


def _ratio(one: pl.Series, other: pl.Series, where: pl.Series) -> pl.Series:
    """Return the likeness of two texts, 0 to 100, where it is asked for; else 0."""
    places = where.arg_true()
    scores = pl.zeros(len(one), dtype=pl.Float64, eager=True)
    if places.is_empty():
        return scores
    found = process.cpdist(one.gather(places).to_list(), other.gather(places).to_list(), scorer=fuzz.ratio, workers=2)
    return scores.scatter(places, pl.Series(found, dtype=pl.Float64))


def _title_odds(weights: TwinWeights) -> pl.Expr:
    return (
        pl.when("thin").then(0.0)
        .when(~pl.col("swapped")).then(weights.same_title)
        .when("typo").then(weights.title_typo).otherwise(weights.other_word)
    )  # fmt: skip


def _seller_odds(weights: TwinWeights) -> pl.Expr:
    return pl.when("same_seller").then(weights.same_seller).otherwise(0.0)


def _photo_odds(weights: TwinWeights) -> pl.Expr:
    """Other names say nothing: many marketplaces rename what they are given."""
    own = pl.col("own_files") > 0
    return pl.when(own).then(weights.own_image).when("shared_file").then(weights.common_image).otherwise(0.0)


def best_odds(weights: TwinWeights) -> pl.Expr:
    """Return the most that the texts could still make of a couple."""
    said = _title_odds(weights) + _seller_odds(weights) + _photo_odds(weights)
    return weights.base + said + weights.same_text + weights.price_near


def odds(weights: TwinWeights) -> pl.Expr:
    """Return the natural log odds that a couple is one pair."""
    text = (
        pl.when("template").then(0.0)
        .when(pl.col("text_like") >= SAME_TEXT).then(weights.same_text)
        .when(pl.col("text_like") >= LIKE_TEXT).then(weights.like_text)
        .when(pl.col("text_like") < OTHER_TEXT).then(weights.other_text).otherwise(0.0)
    )  # fmt: skip
    number = (
        pl.when(pl.col("other_number") & (pl.col("text_like") >= OTHER_TEXT)).then(weights.other_number).otherwise(0.0)
    )
    from_stock = pl.col("stocked") | pl.col("stocked_other") | pl.col("template")
    stock = pl.when(from_stock).then(weights.stock).otherwise(0.0)
    photo = pl.when(from_stock).then(0.0).otherwise(_photo_odds(weights))  # one photo shows all pairs of a stock
    price = (
        pl.when(pl.col("ratio").is_null()).then(0.0)
        .when(pl.col("ratio").is_between(0.5, 1.1)).then(weights.price_near).otherwise(weights.price_far)
    )  # fmt: skip
    return weights.base + _title_odds(weights) + _seller_odds(weights) + photo + text + number + price + stock


def log_odds(probability: float) -> float:
    """Return the natural log odds of a probability above 0 and below 1."""
    return math.log(probability / (1 - probability))
