"""Names in a text: which makers, models, qualifiers and numbers it names, and whether it means them."""

import polars as pl
from rapidfuzz.distance import OSA
from rapidfuzz.process import cdist

from triage.catalogue.matching import MatchWeights
from triage.match.table import ROMAN, Index
from triage.match.text import NUMBER, bare_code, lookalike, size_pattern, spaced, tokens

NAME_KINDS = ("model", "maker", "number", "qualifier", "edition_word")
REPAIR_FROM = 5  # letters a word needs before a slip in it can be told from another word
SLIPS = ((9, 2), (REPAIR_FROM, 1))  # letters a word has at least, slips put right


def split_words(listings: pl.DataFrame, index: Index, match: MatchWeights) -> pl.DataFrame:
    """Return the words of texts in order.

    Args:
        listings: item, text (plain).
        index: Gives the phrases that are read as one word and the katakana names.
        match: Gives the marks of sizes, which are taken out.

    Returns:
        item, place (0 from the first word), word.
    """
    text = pl.col("text").str.replace_all(size_pattern(match.words), " ")
    if index.kana:
        text = text.str.replace_many(index.kana, [f" {name} " for name in index.kana])
    words = spaced(tokens(_without_codes(text, index)))
    if index.joins:
        words = words.str.replace_many(list(index.joins), list(index.joins.values()))
    cut = listings.select("item", word=words.str.strip_chars().str.split("  "))
    rows = (
        cut.explode("word").filter(pl.col("word") != "").with_columns(pl.col("word").str.strip_chars().replace(ROMAN))
    )
    return rows.with_columns(place=pl.int_range(pl.len()).over("item"))


def _without_codes(text: pl.Expr, index: Index) -> pl.Expr:
    """Take out what is shaped like a style number, so that its digits are read as nothing else."""
    shapes = [r"\b\d{2,6}[./]\d{2,4}\b", r"\b\d{2,6}-\d{3,4}\b"]
    if index.prefixes:
        letters = "|".join(index.prefixes)
        shapes.insert(0, rf"\b(?:{letters})[ ./-]?[0-9o][0-9oilsb]{{0,5}}(?:[ ./-][0-9oilsb]{{2,4}}){{0,2}}[a-z]?\b")
    return text.str.replace_all("|".join(shapes), " ")


def repairs(unknown: pl.Series, known: pl.DataFrame) -> pl.DataFrame:
    """Return a reading for every unknown word that is a slip away from exactly one known word.

    Args:
        unknown: Distinct words.
        known: word, token of words worth finding; those under five letters are never targets.

    Returns:
        word, target (a known word), slips (letters put right; swapped neighbours count one).

    Source:
        Damerau, Commun. ACM 7:171 (1964); optimal string alignment distance.
    """
    targets = known.filter(pl.col("word").str.len_chars() >= REPAIR_FROM).sort("word")
    frames = [pl.DataFrame(schema={"word": pl.String, "target": pl.String, "slips": pl.Int64})]
    words = unknown.filter(unknown.str.len_chars() >= REPAIR_FROM).sort().to_list()
    names, token = targets["word"].to_list(), targets["token"]
    for start in range(0, len(words) if names else 0, 1024):
        batch = words[start : start + 1024]
        distance = cdist(batch, names, scorer=OSA.distance, score_cutoff=2, dtype="uint8", workers=2)
        at, to = (distance <= 2).nonzero()
        found = pl.DataFrame(
            {"word": [batch[i] for i in at], "target": [names[i] for i in to]},
            schema={"word": pl.String, "target": pl.String},
        )
        found = found.with_columns(slips=pl.Series(distance[at, to], dtype=pl.Int64), token=token.gather(to))
        frames.append(_unique_repairs(found))
    return pl.concat(frames)


def _unique_repairs(found: pl.DataFrame) -> pl.DataFrame:
    length = pl.col("word").str.len_chars()
    allowed = pl.when(length >= SLIPS[0][0]).then(SLIPS[0][1]).otherwise(SLIPS[1][1])
    near = found.filter(pl.col("slips") <= allowed).filter(pl.col("slips") == pl.col("slips").min().over("word"))
    alone = near.filter(pl.col("token").n_unique().over("word") == 1)
    return (
        alone.sort("word", "target").unique("word", keep="first", maintain_order=True).select("word", "target", "slips")
    )


def named(words: pl.DataFrame, sizes: pl.DataFrame, index: Index, match: MatchWeights) -> pl.DataFrame:
    """Return the names in texts.

    Args:
        words: item, place, word, as ``split_words`` returns them.
        sizes: item, size_text, sized (the text marks a size); a number that is the size is no part of a name.
        index: The vocabulary.
        match: Words that turn a name into a comparison.

    Returns:
        item, place, word (as written), kind, token, slips, against (it is only named for comparison).
    """
    known = _recognised(words, index)
    compare = match.words.compare
    filler = pl.Series([w for w in compare.filler if w not in index.names["word"]])
    kept = known.filter(~pl.col("word").is_in(filler.implode()) | pl.col("kind").is_not_null())
    kept = kept.with_columns(
        before=pl.col("kind").shift(1).over("item"),
        word_before=pl.col("word").shift(1).over("item"),
        word_after=pl.col("word").shift(-1).over("item"),
    )
    kept = _in_names(kept, match)
    kept = _runs(kept, match)
    return _numbers(kept, sizes).select("item", "place", "word", "kind", "token", "slips", "against")


def _recognised(words: pl.DataFrame, index: Index) -> pl.DataFrame:
    """Join the vocabulary, putting slips right; ``kind`` stays NULL for words that name nothing."""
    names = index.names.select("word", "kind", "token")
    known = words.join(names, on="word", how="left", maintain_order="left")
    letters = pl.col("word").str.contains(r"^[\p{Latin}\p{Katakana}ー]+$")
    unknown = known.filter(pl.col("kind").is_null() & letters)["word"].unique()
    aims = names.filter(pl.col("kind").is_in(["model", "maker"]))
    read = (
        repairs(unknown, aims).join(names, left_on="target", right_on="word").select("word", "kind", "token", "slips")
    )
    known = known.join(read, on="word", how="left", suffix="_read", maintain_order="left")
    return known.select(
        "item", "place", "word", pl.coalesce("kind", "kind_read"), pl.coalesce("token", "token_read"),
        slips=pl.col("slips").fill_null(0),
    )  # fmt: skip


def _in_names(kept: pl.DataFrame, match: MatchWeights) -> pl.DataFrame:
    """Drop the kind of qualifiers and numbers that do not stand in a name."""
    words = match.words
    beside = pl.Series(words.not_before)
    name = pl.col("kind").is_in(["model", "maker"])
    last = pl.when(name).then("place").forward_fill().over("item")
    following = pl.when(pl.col("kind") == "model").then("place").backward_fill().over("item")
    short = pl.col("word").str.len_chars() <= 2
    model_near = (pl.col("place") - last <= pl.when(short).then(1).otherwise(3)) | (
        (following - pl.col("place") == 1) & ~short
    )
    chained = pl.col("before").is_in(["model", "number", "qualifier", "edition_word"])
    placed = (model_near | chained).fill_null(False) & ~pl.col("word_after").is_in(beside.implode()).fill_null(False)
    strict = pl.col("kind").is_in(["qualifier", "edition_word", "number"])
    strict_chained = pl.when(pl.col("kind") == "number").then(chained & placed).otherwise(placed)
    keep = ~strict | strict_chained.fill_null(False)
    return kept.with_columns(kind=pl.when(keep).then("kind"), token=pl.when(keep).then("token"))


def _runs(kept: pl.DataFrame, match: MatchWeights) -> pl.DataFrame:
    """Mark every run of name words that stands beside a word of comparison."""
    compare = match.words.compare
    before, after = pl.Series(compare.before), pl.Series(compare.after)
    rather = pl.Series(compare.not_style_before)
    kept = kept.with_columns(before=pl.col("kind").shift(1).over("item"))
    starts = pl.col("kind").is_not_null() & (
        pl.col("before").is_null() | ((pl.col("kind") == "maker") & (pl.col("before") != "maker"))
    )
    kept = kept.with_columns(starts=starts).with_columns(run=pl.col("starts").cum_sum())
    ends = pl.col("kind").is_not_null() & pl.col("kind").shift(-1).over("item").is_null()
    after_after = pl.col("word").shift(-2).over("item")
    said_before = pl.col("starts") & pl.col("word_before").is_in(before.implode())
    said_after = (
        ends & pl.col("word_after").is_in(after.implode()) & ~after_after.is_in(rather.implode()).fill_null(False)
    )
    hit = (said_before | said_after).fill_null(False)
    return kept.filter(pl.col("kind").is_not_null() | _loose_number()).with_columns(
        against=hit.any().over("item", "run") & pl.col("kind").is_not_null()
    )


def _loose_number() -> pl.Expr:
    return pl.col("word").str.contains(r"^\d+$") & pl.col("before").is_in(
        ["model", "qualifier", "edition_word", "number"]
    )


def _numbers(kept: pl.DataFrame, sizes: pl.DataFrame) -> pl.DataFrame:
    """Keep a number beside a model's name when it can't be a size or a year; an unknown one is ``other``."""
    number = pl.col("word").cast(pl.Int64, strict=False)
    sized = kept.join(sizes, on="item", how="left", maintain_order="left").with_columns(number=number)
    is_size = (
        pl.col("size_text").fill_null("").str.contains(pl.concat_str(pl.lit(r"(^|\D)"), "word", pl.lit(r"(\D|$)")))
    )
    year = pl.col("number").is_between(1950, 2040) | (
        pl.col("number").is_between(70, 99) & (pl.col("word").str.len_chars() == 2)
    )
    like_size = pl.col("number").is_between(4, 50) | pl.col("number").is_between(215, 320)
    loose = pl.col("kind").is_null()
    other = loose & ~year & ~is_size & ~(like_size & ~pl.col("sized")) & (pl.col("number") < 5000)
    keep = (~loose & ~((pl.col("kind") == "number") & is_size & (pl.col("number") > 3))) | other
    return sized.filter(keep).with_columns(
        kind=pl.when(loose).then(pl.lit("number")).otherwise("kind"),
        token=pl.when(loose).then(pl.lit("other")).otherwise("token"),
    )


def style_numbers(listings: pl.DataFrame, index: Index) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Return the style numbers that texts quote.

    Args:
        listings: item, text (plain).
        index: Keys and the letters numbers start with.

    Returns:
        item, row, strength, word for the numbers of the table, the strongest a release; and item, word for
        those shaped like the table's that stand in no row.
    """
    spans = listings.select("item", span=pl.col("text").str.extract_all(NUMBER)).explode("span")
    spans = spans.with_columns(pl.col("span").str.strip_chars(" ./-"))
    spans = spans.filter(pl.col("span").str.count_matches(r"\d") >= 3)
    first = pl.col("span").str.replace(r"[ ./-][0-9oilsb]+[a-z]{0,2}$", "")
    rest = pl.col("span").str.replace(r"^[a-z]*[ ./-]?[0-9oilsb]*[ ./-]", "")
    ways = pl.concat([
        spans.select("item", "span", key=bare_code(pl.col("span"))),
        spans.select("item", "span", key=bare_code(first)),
        spans.select("item", "span", key=bare_code(rest)),
        spans.select("item", "span", key=lookalike(bare_code(pl.col("span")))),
        spans.select("item", "span", key=lookalike(bare_code(first))),
    ]).unique()  # fmt: skip
    order = pl.col("strength").replace_strict({"exact": 0, "partial": 1, "stem": 2}, return_dtype=pl.Int8)
    hits = ways.join(index.codes, on="key").with_columns(order=order).sort("item", "row", "order", "span")
    found = hits.unique(["item", "row"], keep="first", maintain_order=True).select(
        "item", "row", "strength", word="span"
    )
    letters = bare_code(pl.col("span")).str.extract(r"^([a-z]+)\d")
    shaped = spans.filter(letters.is_in(pl.Series(index.prefixes, dtype=pl.String).implode()))
    shaped = shaped.filter(pl.col("span").str.count_matches(r"\d") >= 4)
    stray = shaped.join(
        found.select("item", word="word"), left_on=["item", "span"], right_on=["item", "word"], how="anti"
    )
    stray = stray.join(found, on="item", how="anti")
    return found, stray.select("item", word="span").unique().sort("item", "word")
