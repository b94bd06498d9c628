"""Names in a text: which makers, models, qualifiers and numbers it names, and whether it means them."""

import polars as pl

from triage.catalogue.matching import MatchWeights
from triage.match.repair import likenesses, repairs, unglued
from triage.match.table import Index
from triage.match.text import clauses, spaced
from triage.match.vocabulary import ROMAN

# Lone numbers that can be a size: the usual ones of adults at any time, the others when no size is marked.
USUAL_SIZES = (36, 48)
SIZES = ((4, 50), (215, 320))
QUALIFIER_REPAIR_FROM = 7  # letters; shorter ones are too near to everyday words
QUALIFIERS = ("qualifier", "descriptor", "edition_word")
PART_OF_NAME = ("model", "number", *QUALIFIERS)
READING = ["item", "place", "word", "kind", "token", "slips"]


def split_words(texts: pl.DataFrame, index: Index) -> pl.DataFrame:
    """Return the words of texts in order: item, place (rising, with gaps), word.

    Args:
        texts: item (rising), text (plain, without sizes and style numbers).
        index: Gives the phrases that are read as one word and the katakana names.
    """
    if index.kana:
        cut = pl.col("text").str.replace_many(index.kana, [f" {name} " for name in index.kana])
        texts = texts.with_columns(text=cut)
    lists = texts.select("item", word=clauses(pl.col("text")))
    if index.joins:
        # Few texts have so much as the first word of a phrase.
        first = sorted({phrase.split()[0] for phrase in index.joins})
        some = texts.select(pl.col("text").str.contains_any(first)).to_series()
        read = spaced(pl.col("word")).str.replace_many(list(index.joins), list(index.joins.values()))
        joined = lists.filter(some).with_columns(word=read.str.extract_all(r"\S+"))
        lists = pl.concat([lists.filter(~some), joined]).sort("item")
    rows = lists.explode("word").filter(pl.col("word").is_not_null())
    rows = rows.with_columns(pl.col("word").replace(ROMAN), place=pl.int_range(pl.len()) * 2)
    distinct = rows["word"].unique().sort()
    unknown = distinct.filter(~distinct.is_in(index.names["word"].implode()))
    return _with_unglued(rows, unglued(unknown, index.names))


def _with_unglued(rows: pl.DataFrame, cuts: pl.DataFrame) -> pl.DataFrame:
    if cuts.is_empty():
        return rows
    found = rows.join(cuts, on="word")
    pieces = [
        found.select("item", word=piece, place=pl.col("place") + step) for step, piece in enumerate(("first", "second"))
    ]
    whole = rows.join(cuts, on="word", how="anti")
    return pl.concat([whole, *(piece.select(whole.columns) for piece in pieces)]).sort("place")


def named(words: pl.DataFrame, sizes: pl.DataFrame, index: Index, match: MatchWeights) -> pl.DataFrame:
    """Return the names in texts.

    Args:
        words: item, place, word, by item and place.
        sizes: item, number (digits of a size stated beside the text, NULL where none is), sized (the text
            marks a size); a number that is the size is no part of a name.
        index: The vocabulary.
        match: Words that turn a name into a comparison.

    Returns:
        item, place, word (as written), kind, token, slips, against (it is only named for comparison).
    """
    known = recognised(words, index)
    known_words = set(index.names["word"])
    fillers = [word for word in match.words.compare.filler if word not in known_words]
    kept = known.filter(pl.col("kind").is_not_null() | ~pl.col("word").is_in(fillers))
    kept = _in_names(kept, match)
    unlisted = _unlisted(kept, index)
    kept = _against(kept, match)
    names = _numbers(kept, sizes).select(*READING, "against")
    return pl.concat([names, unlisted]).sort("item", "place")


def _unlisted(kept: pl.DataFrame, index: Index) -> pl.DataFrame:
    """Return the words after a maker that no list knows: a model's name, most likely, that the table lacks."""
    word = pl.col("word").str.contains(r"^\p{Latin}{4,}$|^[\p{Katakana}ー]{3,}$")
    strange = word & pl.col("kind").is_null() & (pl.col("before") == "maker") & ~pl.col("word").is_in(index.common)
    found = kept.filter(strange)
    return found.select(
        "item", "place", "word", kind=pl.lit("unlisted"), token=pl.lit("unlisted"), slips="slips", against=pl.lit(False)
    ).cast({"slips": pl.Int64})


def recognised(words: pl.DataFrame, index: Index) -> pl.DataFrame:
    """Return words with kind, token and slips; ``kind`` is NULL for words that name nothing, even put right."""
    names = index.names.select("word", "kind", "token")
    distinct = words.select("word").unique().sort("word").join(names, on="word", how="left", maintain_order="left")
    letters = pl.col("word").str.contains(r"^[\p{Latin}\p{Katakana}ー]+$")
    unknown = distinct.filter(pl.col("kind").is_null() & letters)["word"]
    long = pl.col("kind").is_in(QUALIFIERS) & (pl.col("word").str.len_chars() >= QUALIFIER_REPAIR_FROM)
    aims = names.filter(pl.col("kind").is_in(["model", "maker"]) | long)
    read = repairs(unknown, aims)
    left = unknown.filter(~unknown.is_in(read["word"].implode()) & ~unknown.is_in(index.common))
    read = pl.concat([read, likenesses(left, names.filter(pl.col("kind") == "model"))])
    read = read.join(names, left_on="target", right_on="word")
    readings = pl.concat([names.with_columns(slips=pl.lit(0, pl.Int64)), read.select("word", "kind", "token", "slips")])
    found = words.join(readings, on="word", how="left", maintain_order="left")
    return found.select("item", "place", "word", "kind", "token", pl.col("slips").fill_null(0))


def _beside(column: str, step: int) -> pl.Expr:
    """Return the value ``step`` words earlier (negative: later) in the same text; words lie in one frame."""
    return pl.when(pl.col("item").shift(step) == pl.col("item")).then(pl.col(column).shift(step))


def _in_names(kept: pl.DataFrame, match: MatchWeights) -> pl.DataFrame:
    """Take the kind from qualifiers and numbers that do not stand in a name.

    A number must follow a word of a name at once; a qualifier may stand up to three words after it, or one
    before; of one or two letters, it too must follow at once.
    """
    kept = kept.with_row_index("at").with_columns(before=_beside("kind", 1), word_after=_beside("word", -1))
    strong = pl.col("kind").is_in(["model", "maker"])
    at = pl.col("at").cast(pl.Int64)
    since = (at - pl.when(strong).then(at).forward_fill()).fill_null(99)
    same = (pl.col("item") == pl.when(strong).then("item").forward_fill()).fill_null(False)
    short = pl.col("word").str.len_chars() <= 2
    follows = same & (since <= pl.when(short).then(1).otherwise(3))
    leads = ~short & (_beside("kind", -1) == "model").fill_null(False)
    chained = pl.col("before").is_in(PART_OF_NAME).fill_null(False)
    describing = [f"{first} {then}" for first, listed in match.words.describes.items() for then in listed]
    other = pl.concat_str("word", "word_after", separator=" ").is_in(describing).fill_null(False)
    qualifier = pl.col("kind").is_in(QUALIFIERS) & (follows | leads | chained) & ~other
    number = (pl.col("kind") == "number") & chained
    keep = (strong | qualifier | number).fill_null(False)
    return kept.with_columns(kind=pl.when(keep).then("kind"), token=pl.when(keep).then("token"))


def _against(kept: pl.DataFrame, match: MatchWeights) -> pl.DataFrame:
    """Mark every run of name words that stands beside a word of comparison; a maker starts a new run."""
    compare = match.words.compare
    kept = kept.with_columns(before=_beside("kind", 1), after=_beside("kind", -1))
    name = pl.col("kind").is_not_null()
    starts = name & (pl.col("before").is_null() | ((pl.col("kind") == "maker") & (pl.col("before") != "maker")))
    ends = name & pl.col("after").is_null()
    said_before = starts & _beside("word", 1).is_in(compare.before)
    number_follows = _beside("word", -2).is_in(compare.not_style_before).fill_null(False)
    said_after = ends & _beside("word", -1).is_in(compare.after) & ~number_follows
    kept = kept.with_columns(run=starts.cum_sum(), hit=(said_before | said_after).fill_null(False))
    runs = kept.filter("hit").select("run").unique()
    marked = kept.filter(name | _loose()).join(
        runs.with_columns(against=True), on="run", how="left", maintain_order="left"
    )
    return marked.with_columns(against=pl.col("against").fill_null(False) & name)


def _loose() -> pl.Expr:
    return pl.col("before").is_in(PART_OF_NAME) & pl.col("word").str.contains(r"^\d+$")


def _numbers(kept: pl.DataFrame, sizes: pl.DataFrame) -> pl.DataFrame:
    """Keep a number after a model's name when it can't be a size or a year; one the table lacks is ``other``."""
    number = pl.col("word").cast(pl.Int64, strict=False)
    joined = kept.join(sizes.select("item", "number", "sized"), on="item", how="left", maintain_order="left")
    is_size = (pl.col("word") == pl.col("number")).fill_null(False)
    short_year = number.is_between(60, 99) & (pl.col("word").str.len_chars() == 2)
    like_size = pl.any_horizontal(number.is_between(*span) for span in SIZES) & ~pl.col("sized")
    like_size |= number.is_between(*USUAL_SIZES)
    other = ~is_size & ~number.is_between(1950, 2040) & ~short_year & ~like_size & (number < 5000)
    loose = pl.col("kind").is_null()
    keep = pl.when(loose).then(other).otherwise(~((pl.col("kind") == "number") & is_size & (number > 3)))
    return joined.filter(keep.fill_null(True)).with_columns(
        kind=pl.when(loose).then(pl.lit("number")).otherwise("kind"),
        token=pl.when(loose).then(pl.lit("other")).otherwise("token"),
    )
