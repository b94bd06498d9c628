"""Unknown words read as known ones: slips of the pen, spellings by ear, two words run together.

Every distinct word is looked at once, and only a reading that is the only one counts.
"""

import polars as pl
from rapidfuzz.distance import OSA
from rapidfuzz.process import cdist

REPAIR_FROM = 5  # letters a word needs before a slip in it can be told from another word
TWO_SLIPS_FROM = 9  # letters a word needs before two slips can
GLUED_FROM = 6
BATCH = 1024
LIKENESS = 0.5  # share of three-letter pieces two words must have in common to be taken for one
LIKENESS_SLIPS = 3  # what such a reading counts as
FREQUENT_PIECE = 200  # a piece of more known words than this ("ing") says nothing
SOUNDS = {"ph": "f", "th": "t", "ck": "k", "c": "k", "q": "k", "w": "v", "z": "s", "y": "i", "x": "ks"}
DOUBLES = {letter * 2: letter for letter in "abdefgijklmnoprstuv"}
READINGS = {"word": pl.String, "target": pl.String, "slips": pl.Int64}


def repairs(unknown: pl.Series, known: pl.DataFrame) -> pl.DataFrame:
    """Return the reading of every unknown word that is a slip or two away from exactly one known word.

    Args:
        unknown: Distinct words.
        known: word, token of words worth finding; those under five letters are never targets.

    Returns:
        word, target (a known word), slips (letters put right; neighbours swapped and a spelling by ear count one).

    Source:
        Damerau, Commun. ACM 7:171 (1964); optimal string alignment distance.
    """
    targets = known.filter(pl.col("word").str.len_chars() >= REPAIR_FROM).sort("word")
    words = unknown.filter(unknown.str.len_chars() >= REPAIR_FROM).sort()
    if targets.is_empty() or words.is_empty():
        return pl.DataFrame(schema=READINGS)
    heard = _by_ear(words, targets)
    near = pl.concat(_near(words[start : start + BATCH].to_list(), targets) for start in range(0, len(words), BATCH))
    near = near.filter(~pl.col("word").is_in(heard["word"].implode()))
    return pl.concat([heard, near]).sort("word")


def likenesses(unknown: pl.Series, known: pl.DataFrame) -> pl.DataFrame:
    """Return the reading of unknown words too far off for ``repairs``: shortened, or with an end of their own.

    Words are compared by their pieces of three letters (Jaccard), through an index of the pieces; only the
    likest known word counts, and only when no other comes as near.

    Args:
        unknown: Distinct words that nothing else could read.
        known: word, token of words worth finding.

    Returns:
        word, target, slips.
    """
    long = unknown.filter(unknown.str.len_chars() >= REPAIR_FROM)
    pieces, targets = _pieces(long.to_frame("word")), _pieces(known.select("word").unique())
    targets = targets.filter(pl.len().over("piece") <= FREQUENT_PIECE)
    both = (
        pieces.join(targets, on="piece", suffix="_known")
        .group_by("word", "word_known")
        .agg(shared=pl.len(), pieces=pl.col("pieces").first(), known=pl.col("pieces_known").first())
    )
    like = both.with_columns(likeness=pl.col("shared") / (pl.col("pieces") + pl.col("known") - pl.col("shared")))
    near = like.filter(pl.col("likeness") >= LIKENESS).join(known, left_on="word_known", right_on="word")
    best = near.filter(pl.col("likeness") == pl.col("likeness").max().over("word"))
    alone = best.filter(pl.col("token").n_unique().over("word") == 1).sort("word", "word_known")
    alone = alone.unique("word", keep="first", maintain_order=True)
    return alone.select("word", target="word_known", slips=pl.lit(LIKENESS_SLIPS, pl.Int64))


def _pieces(words: pl.DataFrame) -> pl.DataFrame:
    """Return word, piece, pieces (their number) for the pieces of three letters, ends marked."""
    padded = pl.concat_str(pl.lit(" "), "word", pl.lit(" "))
    at = pl.int_ranges(0, padded.str.len_chars().cast(pl.Int64) - 2)
    cut = words.with_columns(padded=padded, at=at).explode("at")
    pieces = cut.select("word", piece=pl.col("padded").str.slice(pl.col("at"), 3)).unique()
    return pieces.with_columns(pieces=pl.len().over("word"))


def _by_ear(words: pl.Series, targets: pl.DataFrame) -> pl.DataFrame:
    sounds = targets.select("token", target="word", sound=_sound(pl.col("word")))
    alone = sounds.filter(pl.col("token").n_unique().over("sound") == 1).unique(
        "sound", keep="first", maintain_order=True
    )
    read = words.to_frame("word").with_columns(sound=_sound(pl.col("word"))).join(alone, on="sound")
    return read.select("word", "target", slips=pl.lit(1, pl.Int64))


def _sound(word: pl.Expr) -> pl.Expr:
    return word.str.replace_many(SOUNDS).str.replace_many(DOUBLES)


def _near(words: list[str], targets: pl.DataFrame) -> pl.DataFrame:
    names = targets["word"].to_list()
    distance = cdist(words, names, scorer=OSA.distance, score_cutoff=2, dtype="uint8", workers=2)
    at, to = (distance <= 2).nonzero()
    found = pl.DataFrame({
        "word": pl.Series([words[i] for i in at], dtype=pl.String),
        "target": pl.Series([names[i] for i in to], dtype=pl.String),
        "slips": pl.Series(distance[at, to], dtype=pl.Int64),
        "token": targets["token"].gather(to),
    })  # fmt: skip
    allowed = pl.when(pl.col("word").str.len_chars() >= TWO_SLIPS_FROM).then(2).otherwise(1)
    near = found.filter(pl.col("slips") <= allowed).filter(pl.col("slips") == pl.col("slips").min().over("word"))
    alone = near.filter(pl.col("token").n_unique().over("word") == 1)
    return alone.sort("word", "target").unique("word", keep="first", maintain_order=True).select(list(READINGS))


def unglued(unknown: pl.Series, known: pl.DataFrame) -> pl.DataFrame:
    """Return word, first, second for unknown words that are two known words run together, in one way only.

    Args:
        unknown: Distinct words.
        known: word, kind; one of the two must be a model's or a maker's.
    """
    words = unknown.filter(unknown.str.len_chars() >= GLUED_FROM).to_frame("word")
    cuts = words.with_columns(at=pl.int_ranges(2, pl.col("word").str.len_chars() - 1)).explode("at")
    split = cuts.select(
        "word",
        first=pl.col("word").str.slice(0, pl.col("at")),
        second=pl.col("word").str.slice(pl.col("at")),
    )
    pieces = known.select("word", "kind").filter(pl.col("word").str.len_chars() >= 2)
    both = split.join(pieces, left_on="first", right_on="word").join(
        pieces, left_on="second", right_on="word", suffix="_second"
    )
    strong = ["model", "maker"]
    named = both.filter(pl.col("kind").is_in(strong) | pl.col("kind_second").is_in(strong))
    return named.filter(pl.len().over("word") == 1).select("word", "first", "second").sort("word")
