"""One observation per listing, speaker and sign carries the weight; every other mention stays visible."""

import polars as pl

from triage.observation.lexicon import EXPLAINED, Lexicon

FIELDS = ("title", "body", "answer")
PLACES = 2**20  # characters; farther on in a text, all places rank the same
LENGTHS, NAMES = 2**12, 2**8


def weighed(read: pl.DataFrame, lexicon: Lexicon) -> pl.DataFrame:
    """Return mentions with ``counts``: TRUE for the one that speaks for its sign.

    A disclosure beats praise wherever it stands; then what is sure beats what is hedged, what names its
    part beats what does not, and the later beats the earlier. A seller's standing sentence never counts.

    Args:
        read: Mentions with listing_id, said_by, field, habit, and answered_on where they are of answers: what
            was said on one day is weighed by itself.
    """
    read = _unexplained(read)
    voice = [name for name in ("listing_id", "said_by", "sign", "answered_on") if name in read.columns]
    order = pl.col("field").replace_strict(list(FIELDS), list(range(len(FIELDS))), return_dtype=pl.Int64)
    # A title names what it is about; what the text then says of it is the later, more specific word.
    heading = (pl.col("field") == "title") & ~pl.col("named")
    disclosed = ((pl.col("polarity") == "risk") & (pl.col("state") == "affirmed")) | (
        (pl.col("polarity") == "good") & (pl.col("state") == "denied")
    )
    ranked = read.join(lexicon.polarity.drop("dated"), on="sign", maintain_order="left")
    # One number ranks a mention: the more telling a trait, the higher its bit. Of two at one place the longer one
    # is the more exact; then what a listing says ranks alike whichever others are read with it.
    traits = [~pl.col("habit"), disclosed & ~heading, ~pl.col("hedged"), pl.col("named")]
    score = pl.lit(0, pl.Int64)
    for trait in traits:
        score = score * 2 + trait.cast(pl.Int64)
    score = (score * len(FIELDS) + order) * PLACES + pl.col("start").clip(0, PLACES - 1)
    score = score * LENGTHS + pl.col("quote").str.len_chars().cast(pl.Int64).clip(0, LENGTHS - 1)
    for name in ("state", "language"):
        score = score * NAMES + pl.col(name).to_physical().cast(pl.Int64).fill_null(0)
    ranked = ranked.with_columns(score=score, row=pl.int_range(pl.len()))
    # A column of its own: a window inside a window is worked out group by group.
    ranked = ranked.with_columns(best=pl.col("score") == pl.col("score").max().over(voice))
    # What ranks alike in all of that reads alike, so the first will do.
    best = pl.col("row") == pl.when("best").then("row").min().over(voice)
    told = pl.col("sign", "state", "language").cast(pl.String)
    return ranked.with_columns(told, counts=best & ~pl.col("habit")).drop("score", "row", "best", "polarity")


def _unexplained(read: pl.DataFrame) -> pl.DataFrame:
    """Drop the bare word where the listing says elsewhere that it means another thing: "OG" by "OG colourway"."""
    told = read.filter(pl.col("state") == EXPLAINED)
    read = read.filter(pl.col("state") != EXPLAINED).with_row_index("mid")
    pairs = read.join(told.select("listing_id", "sign", told="quote"), on=["listing_id", "sign"])
    bare = pairs.filter(
        pl.col("told").str.to_lowercase().str.contains(pl.col("quote").str.to_lowercase(), literal=True)
    )
    return read.join(bare.select("mid").unique(), on="mid", how="anti", maintain_order="left").drop("mid")


def answered(replies: pl.DataFrame) -> pl.DataFrame:
    """Return the observations that answers to a question are by themselves; of several the last one counts."""
    last = pl.int_range(pl.len()).over("listing_id", "sign", "said_by") == (
        pl.len().over("listing_id", "sign", "said_by") - 1
    )
    return replies.drop_nulls("sign").with_columns(
        hedged=pl.lit(False),
        quote="text",
        start=pl.lit(None, pl.Int64),
        field=pl.lit("answer"),
        language=pl.lit(None, pl.String),
        counts=last,
        value=pl.lit(None, pl.String),
    )


def latest(rows: pl.DataFrame) -> pl.DataFrame:
    """Return observations of which only the latest of each speaker and sign count.

    The later day beats the earlier; on one day what was recorded for the question beats the words it came in.

    Args:
        rows: Observations with answered_on, NULL for those of the listing itself.
    """
    voice = ["listing_id", "said_by", "sign"]
    answers = rows.filter(pl.col("answered_on").is_not_null())
    # Of most listings nobody asked anything.
    if answers.is_empty():
        return rows
    late = pl.col("answered_on") == pl.col("answered_on").max().over(voice)
    direct = pl.col("start").is_null()
    asked = (direct & pl.col("counts")).any().over([*voice, "answered_on"])
    answers = answers.with_columns(counts=pl.col("counts") & late & (direct | ~asked))
    return pl.concat([rows.filter(pl.col("answered_on").is_null()), answers])
