"""Texts cut into sentences, each distinct sentence once, and the words of the lexicon found in it."""

import polars as pl

from triage.observation.fold import PLAIN, bare, clusters, plain
from triage.observation.lexicon import Lexicon

ENDS = r"[!?;|\n\r•●■★☆！？；]+|\.+(?:\s|$)|[。…]+"
KANA = r"[\p{Hiragana}\p{Katakana}]"
HAN = r"\p{Han}"
HINT = 2.5  # words that speak for the language the listing is said to be in
BREAKS = {",": "comma", ":": "colon", "(": "comma", ")": "comma", "、": "comma", " - ": "comma", "/": "or"}


def sentences(texts: pl.DataFrame) -> pl.DataFrame:
    """Return the sentences of texts (tid, text, hint): tid, no, text, at (characters), hint, asked."""
    held = pl.col("text").str.replace_all(r"\.(\s+\d)", ",${1}").str.replace_all(r"(\s\d)\.(\s)", "${1},${2}")
    return (
        texts.select("tid", "hint", text=held.str.split(ENDS, literal=False, inclusive=True))
        .explode("text", empty_as_null=False)
        .with_columns(size=pl.col("text").str.len_chars())
        .with_columns(
            no=pl.int_range(pl.len()).over("tid"),
            at=pl.col("size").cum_sum().over("tid") - pl.col("size"),
        )
        .filter(pl.col("text").str.contains(r"[\pL\pN]"))
        .drop("size")
    )


def distinct(found: pl.DataFrame) -> pl.DataFrame:
    """Return each distinct sentence and hint once, with its number and plain spelling.

    Returns:
        sid, text, hint, spelt (blank at both ends), odd (folded cluster by cluster).
    """
    once = found.select("text", "hint").unique(maintain_order=True).with_row_index("sid")
    once = once.with_columns(odd=~pl.col("text").str.contains(PLAIN))
    plainly = once.filter(~pl.col("odd")).with_columns(spelt=plain(pl.col("text")))
    oddly = once.filter("odd").join(_spelt_oddly(once.filter("odd")), on="sid", how="left")
    both = pl.concat([plainly, oddly]).sort("sid")
    return both.with_columns(spelt=pl.concat_str(pl.lit(" "), pl.col("spelt").fill_null(""), pl.lit(" ")))


def _spelt_oddly(odd: pl.DataFrame) -> pl.DataFrame:
    pieces = clusters(odd.select("sid", "text"))
    return pieces.group_by("sid", maintain_order=True).agg(spelt=pl.col("piece").str.join(""))


def hits(once: pl.DataFrame, lexicon: Lexicon) -> pl.DataFrame:
    """Return where the patterns stand in distinct sentences: sid, pattern, start, end (bytes, no blanks).

    The longest wins: what lies inside a longer hit is left out.
    """
    wanted = lexicon.patterns["pattern"].to_list()
    words = bare(pl.col("spelt"))
    found = _find(once.select("sid", text=words), wanted)
    breaks = _find(once.select("sid", text="spelt"), list(BREAKS))
    placed = pl.concat(
        [
            found.join(lexicon.patterns, on="pattern", how="left"),
            breaks.with_columns(
                holds=pl.lit(False), thing=pl.lit(False), lead=pl.lit(0, pl.UInt32), trail=pl.lit(0, pl.UInt32)
            ),
        ]
    )
    placed = placed.select(
        "sid",
        "pattern",
        "holds",
        "thing",
        start=(pl.col("at") + pl.col("lead")).cast(pl.Int64),
        end=(pl.col("at") + pl.col("pattern").str.len_bytes() - pl.col("trail")).cast(pl.Int64),
    )
    return _longest(placed)


def _find(texts: pl.DataFrame, wanted: list[str]) -> pl.DataFrame:
    return (
        texts.select(
            "sid",
            at=pl.col("text").str.find_many(wanted, overlapping=True),
            pattern=pl.col("text").str.extract_many(wanted, overlapping=True),
        )
        .filter(pl.col("at").list.len() > 0)
        .explode("at", "pattern", empty_as_null=False)
    )


def _longest(placed: pl.DataFrame) -> pl.DataFrame:
    """Drop hits inside a longer one, but keep a thing inside the condition that is said of it.

    One running maximum serves all sentences, as sid leads the key.
    """
    spans = placed.group_by("sid", "start", "end").agg(pl.col("holds").all(), pl.col("thing").all())
    spans = spans.sort("sid", "start", "end", descending=[False, False, True])
    key = pl.col("sid").cast(pl.Int64) * 2**32 + pl.col("end")
    outside = pl.when(~pl.col("holds")).then(key).cum_max().shift(1).forward_fill().fill_null(-1)
    free = pl.when(pl.col("thing")).then(key > outside).otherwise(key > key.cum_max().shift(1).fill_null(-1))
    kept = spans.filter(free)
    found = placed.select("sid", "pattern", "start", "end")
    return found.join(kept, on=["sid", "start", "end"], how="semi").sort("sid", "start", "end", "pattern")


def spoken(once: pl.DataFrame, found: pl.DataFrame, lexicon: Lexicon) -> pl.DataFrame:
    """Return the language of each sentence: kana decide, then its words, with a lead for the hint."""
    by_words = (
        found.join(lexicon.meanings.select("pattern", "language").unique(), on="pattern")
        .group_by("sid", "language")
        .agg(score=pl.len().cast(pl.Float64))
    )
    by_hint = once.select("sid", language="hint", score=pl.lit(HINT)).drop_nulls("language")
    best = (
        pl.concat([by_words, by_hint])
        .group_by("sid", "language")
        .agg(pl.col("score").sum())
        .sort("sid", "score", "language", descending=[False, True, False])
        .unique("sid", keep="first", maintain_order=True)
    )
    japanese = pl.col("text").str.contains(KANA) | (
        pl.col("text").str.contains(HAN) & pl.col("hint").is_in(["ja"]).fill_null(False)
    )
    return once.join(best.select("sid", "language"), on="sid", how="left").select(
        "sid", language=pl.when(japanese).then(pl.lit("ja")).otherwise(pl.col("language").fill_null("en"))
    )
