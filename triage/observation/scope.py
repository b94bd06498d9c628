"""What the small words around a condition do to it: deny, doubt, suppose, point to other shoes.

After NegEx (J. Biomed. Inform. 34:301, 2001) and ConText (42:839, 2009): a trigger reaches a window of
words, forwards or backwards, up to a terminator; phrases that only look like triggers are skipped first.
On top of it, a denial reaches over a list ("no cracks, peeling or separation").
"""

import polars as pl

from triage.observation.lexicon import Lexicon

NO_WINDOW = 6
NOT_WINDOW = 5
AFTER_WINDOW = 3
VERB_WINDOW = 2
PAST_WINDOW = 6
WIDE_BYTES = 80  # no window reaches farther; keeps the pairs few
KANA_BYTES = 27
OR_BYTES = 18  # an article and a preposition: "in cantina o nella soffitta"
TURNING = ("no", "not", "after", "after_verb", "hedge", "if", "if_after", "other", "hearsay", "past")
COUNTED = ("comma", "and", "or", "but", "this", "affirm", "degree", "condition", "no", "not", "after")


def read_words(found: pl.DataFrame, lexicon: Lexicon) -> pl.DataFrame:
    """Return the hits with what they mean in the language of their sentence, in order.

    Returns:
        sid, language, start, end, kind, key, noun, state, and one running count per kind of ``COUNTED``
        (whole frame; only differences inside a sentence are used).
    """
    meanings = lexicon.meanings.filter(~pl.col("kind").is_in(["common", "yes", "reply_no"])).drop("pattern")
    words = found.join(meanings, on=["pid", "language"], maintain_order="left").drop("pid")
    words = _unmuddled(words)
    again = pl.all_horizontal([pl.col(name) == pl.col(name).shift(1) for name in ("sid", "start", "end", "kind")])
    first = ~again.fill_null(False)
    return words.with_columns(
        ((pl.col("kind") == kind) & first).cum_sum().cast(pl.Int32).alias(f"n_{kind}") for kind in COUNTED
    )


def _unmuddled(words: pl.DataFrame) -> pl.DataFrame:
    """Drop what half covers a phrase that says nothing, and a condition that half covers one before it."""
    sid = pl.col("sid").cast(pl.Int64) * 2**32
    silent, told = pl.col("kind") == "pseudo", pl.col("kind") == "condition"
    before = pl.when(silent).then(sid + pl.col("end")).cum_max().shift(1).forward_fill().fill_null(-1)
    behind = pl.when(silent).then(sid + pl.col("start")).reverse().cum_min().shift(1).forward_fill().reverse()
    covered = (before > sid + pl.col("start")) | (behind < sid + pl.col("end")).fill_null(False)
    words = words.filter(~(covered & pl.col("kind").is_in(["condition", "thing"])))
    first = pl.when(told).then(sid + pl.col("start"))
    last = pl.when(told).then(sid + pl.col("end")).cum_max().forward_fill()
    same = (first == first.shift(1)).fill_null(False)
    earlier = pl.when(same).then(None).otherwise(last.shift(1)).forward_fill().fill_null(-1)
    return words.filter(~(told & (earlier > sid + pl.col("start"))))


def between(kind: str, first: str, second: str) -> pl.Expr:
    """Return how many words of a kind stand between two words of a pair, by their column suffixes."""
    own = (pl.col(f"kind{second}") == kind).cast(pl.Int64)
    return pl.col(f"n_{kind}{second}") - own - pl.col(f"n_{kind}{first}")


def conditions(words: pl.DataFrame, spelt: pl.DataFrame) -> pl.DataFrame:
    """Return every condition with what the words around it do to it.

    Args:
        words: From ``read_words``.
        spelt: sid, spelt, asked.

    Returns:
        The condition's row, with denied (and cue_start, cue_end of the word that denies it), hedged, dropped,
        asked.
    """
    said = words.filter(pl.col("kind") == "condition").with_row_index("cid")
    linked = _chains(words, said)
    words = words.filter(pl.col("kind").is_in(TURNING))
    direct = _denied(words, linked, spelt)
    denied = _in_chain(direct["cid"], linked)
    return (
        linked.drop("chain")
        .join(direct, on="cid", how="left", maintain_order="left")
        .join(spelt.select("sid", "asked"), on="sid", how="left")
        .with_columns(
            denied=pl.col("cid").is_in(denied.implode()),
            hedged=pl.col("cid").is_in(_hedged(words, said).implode()),
            dropped=pl.col("cid").is_in(_dropped(words, said, spelt).implode())
            | (pl.col("cid").is_in(_over(words, said, spelt).implode()) & ~pl.col("cid").is_in(denied.implode())),
        )
    )


def _pairs(words: pl.DataFrame, said: pl.DataFrame, kinds: list[str], *, ahead: bool) -> pl.DataFrame:
    """Return cue and condition of one sentence: the cue first when ``ahead``, else the condition first."""
    cues = words.filter(pl.col("kind").is_in(kinds)).with_row_index("cue")
    pairs = cues.join(said, on="sid", suffix="_c")
    if ahead:
        return pairs.filter(pl.col("start_c") >= pl.col("end")).with_columns(
            gap=pl.col("start_c") - pl.col("end"), from_=pl.col("end")
        )
    # Japanese verb ends overlap: 硬くなって and ていません share a syllable.
    later = (pl.col("start") > pl.col("start_c")) & (pl.col("end") > pl.col("end_c"))
    return pairs.filter(later).with_columns(
        gap=pl.max_horizontal(pl.col("start") - pl.col("end_c"), pl.lit(0)), from_=pl.col("end_c")
    )


def _clear(pairs: pl.DataFrame, kinds: tuple[str, ...], *, ahead: bool) -> pl.DataFrame:
    """Keep the pairs with nothing of these kinds between."""
    first, second = ("", "_c") if ahead else ("_c", "")
    return pairs.filter(pl.all_horizontal([between(kind, first, second) == 0 for kind in kinds]))


def _words_between(pairs: pl.DataFrame, spelt: pl.DataFrame) -> pl.DataFrame:
    """Add ``steps``, the words between cue and condition, plus one: 1 when they stand side by side."""
    text = pl.col("spelt").cast(pl.Binary).bin.slice(pl.col("from_"), pl.col("gap")).cast(pl.String, strict=False)
    near = pairs.filter(pl.col("gap") <= WIDE_BYTES).join(spelt.select("sid", "spelt"), on="sid")
    return near.with_columns(steps=text.str.count_matches(r"[\pL\pN]+").fill_null(99) + 1).drop("spelt")


def _denied(words: pl.DataFrame, said: pl.DataFrame, spelt: pl.DataFrame) -> pl.DataFrame:
    """Return the conditions a word denies directly, and where that word stands: cid, cue_start, cue_end."""
    stops = ("comma", "but", "and", "affirm", "condition")
    japanese = pl.col("language") == "ja"
    ahead = _words_between(_clear(_pairs(words, said, ["no", "not"], ahead=True), stops, ahead=True), spelt)
    window = pl.when(pl.col("kind") == "no").then(NO_WINDOW).otherwise(NOT_WINDOW)
    forward = ahead.filter(pl.col("steps") <= window)
    back = _clear(_pairs(words, said, ["after"], ahead=False), ("but", "affirm", "condition"), ahead=False)
    back = _words_between(back, spelt)
    near = (
        pl.when(japanese)
        .then((pl.col("gap") <= KANA_BYTES) & (between("comma", "_c", "") == 0))
        .otherwise((pl.col("steps") <= AFTER_WINDOW) & (between("comma", "_c", "") + between("and", "_c", "") == 0))
    )
    verb = _clear(_pairs(words, said, ["after_verb"], ahead=False), stops, ahead=False)
    verb = _words_between(verb, spelt).filter((pl.col("steps") <= VERB_WINDOW + 1) & ~pl.col("noun_c"))
    beside = forward.filter(pl.col("steps") <= 2).select("sid", "start")
    verb = verb.join(beside, on=["sid", "start"], how="anti")
    found = pl.concat(
        [frame.select("cid", cue_start="start", cue_end="end") for frame in (forward, back.filter(near), verb)]
    )
    return found.sort(pl.all()).unique("cid", keep="last", maintain_order=True)


def _chains(words: pl.DataFrame, said: pl.DataFrame) -> pl.DataFrame:
    """Number the lists of conditions: what denies one of a list denies all of it."""
    joiner = pl.col("kind").is_in(["comma", "and", "or"])
    gap = pl.col("start") - pl.col("end").shift(1)
    beside = (gap <= 2) | ((pl.col("kind").shift(1) == "or") & (gap <= OR_BYTES))
    joined = words.select(
        joined=(joiner.shift(1) & beside).fill_null(False), condition=pl.col("kind") == "condition"
    ).filter("condition")["joined"]
    anew = pl.any_horizontal([pl.col(name) != pl.col(name).shift(1) for name in ("sid", "start", "end")])
    numbered = said.with_columns(joined=joined, span=anew.fill_null(True).cum_sum() - 1)
    spans = numbered.group_by("span", maintain_order=True).agg(
        pl.col("joined", "noun").any(), pl.exclude("cid", "joined", "noun").first()
    )
    spans = spans.with_columns(pl.all().shift(1).name.suffix("_p"))
    nouns, by_or = pl.col("noun") & pl.col("noun_p"), between("or", "_p", "") > 0
    quiet = [between(kind, "_p", "") == 0 for kind in ("but", "affirm", "degree", "no", "not", "after")]
    link = (
        (pl.col("sid") == pl.col("sid_p"))
        & pl.col("joined")
        & pl.all_horizontal(quiet)
        & (nouns | (by_or & ((pl.col("language") != "ja") | (pl.col("key") == pl.col("key_p")))))
    ).fill_null(False)
    chain = spans.select((~link).cum_sum()).to_series()
    return said.with_columns(chain=chain.gather(numbered["span"]))


def _in_chain(denied: pl.Series, linked: pl.DataFrame) -> pl.Series:
    chains = linked.filter(pl.col("cid").is_in(denied.implode()))["chain"].unique()
    return linked.filter(pl.col("chain").is_in(chains.implode()))["cid"]


def _hedged(words: pl.DataFrame, said: pl.DataFrame) -> pl.Series:
    found = []
    for ahead in (True, False):
        first, second = ("", "_c") if ahead else ("_c", "")
        pairs = _clear(_pairs(words, said, ["hedge"], ahead=ahead), ("but",), ahead=ahead)
        found.append(pairs.filter(between("comma", first, second) <= 1)["cid"])
    return pl.concat(found).unique()


def _dropped(words: pl.DataFrame, said: pl.DataFrame, spelt: pl.DataFrame) -> pl.Series:
    """Return the conditions that say nothing of the pair on offer as it is now."""
    stops = ("but", "this", "comma")
    supposed = _clear(_pairs(words, said, ["if"], ahead=True), stops, ahead=True)
    after = _clear(_pairs(words, said, ["if_after"], ahead=False), stops, ahead=False)
    others = [_clear(_pairs(words, said, ["other"], ahead=way), stops, ahead=way) for way in (True, False)]
    hearsay = _clear(_pairs(words, said, ["hearsay"], ahead=True), ("but", "this"), ahead=True)
    return pl.concat([frame["cid"] for frame in (supposed, after, hearsay, *others)]).unique()


def _over(words: pl.DataFrame, said: pl.DataFrame, spelt: pl.DataFrame) -> pl.Series:
    """Return the conditions that were once and are said to be over."""
    past = _clear(_pairs(words, said, ["past"], ahead=True), ("but", "this", "comma", "and"), ahead=True)
    return _words_between(past, spelt).filter(pl.col("steps") <= PAST_WINDOW)["cid"].unique()
