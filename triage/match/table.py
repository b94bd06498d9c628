"""The construction table, laid out for matching: words to numbers, releases to bit masks and year curves."""

from dataclasses import dataclass

import numpy as np
import polars as pl

from triage.catalogue.constructions import Constructions
from triage.catalogue.matching import MatchWeights
from triage.match.text import bare_code, lookalike, phrases, plain, spaced, tokens

MASKS = ("maker", "qualifier", "edition_word", "number", "shade", "family")
FIRST_YEAR, LAST_YEAR = 1950, 2040
ROMAN = {"ii": "2", "iii": "3", "iv": "4"}
PROBE_MOST = 200  # a word of more releases than this finds too many of them to be worth looking up


@dataclass(frozen=True)
class Index:
    """What matching looks things up in.

    Attributes:
        releases: The table, with ``row`` (0 to n-1, by model_id).
        names: word -> ``kind`` (model, maker, qualifier, edition_word, number), ``token`` and ``bits``.
        postings: token -> row, for model words.
        word_count: Model words of each row.
        masks: By kind, rows x 64-bit words: which of the kind's tokens a row has.
        bit: By kind, word -> bit; several words may share one (aliases of a maker).
        joins: Phrases of several words (as ``spaced``) that are read as one.
        kana: Katakana names, for cutting them out of unspaced text.
        codes: key -> row, ``strength`` (exact, partial, stem).
        prefixes: Letters that style numbers of this table start with.
        made, bought: rows x years, running share of stated years up to and including a year.
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
    made: np.ndarray
    bought: np.ndarray


def build_index(constructions: Constructions, match: MatchWeights) -> Index:
    """Return the index of a construction table."""
    releases = constructions.table.sort("model_id").with_row_index("row")
    words = _name_words(releases, match)
    named = _classed(words, match)
    makers = _maker_words(releases)
    shades = _shade_words(releases)
    families = _family_words(match)
    model = named.filter(pl.col("kind") == "model")
    synonyms = _synonyms(releases, named)
    own = pl.concat([_vocabulary(named, match), _maker_vocabulary(makers)], how="diagonal")
    own = own.unique("word", keep="first", maintain_order=True)
    names = pl.concat([own, _translated(synonyms, own), _lexicon_qualifiers(match)], how="diagonal")
    names = names.unique("word", keep="first", maintain_order=True)
    names = pl.concat([names.filter(~pl.col("word").is_in(list(match.words.same))), _translated(_same(match), names)])
    row_words = {
        "maker": makers.select("row", token="maker"),
        "shade": shades.select("row", token="word"),
        "family": shades.join(families, on="word").select("row", token="family"),
        **{
            kind: named.filter(pl.col("kind") == kind).select("row", token="word")
            for kind in ("qualifier", "edition_word", "number")
        },
    }
    vocabulary = {
        kind: names.filter(pl.col("kind") == kind).select("word", "token")
        for kind in ("maker", "qualifier", "edition_word", "number")
    }
    vocabulary["shade"] = shades.select("word", token="word").unique()
    vocabulary["family"] = families.select("word", token="family")
    bit, masks = {}, {}
    for kind in MASKS:
        order = vocabulary[kind].select("token").unique().sort("token").with_row_index("bit")
        bit[kind] = vocabulary[kind].join(order, on="token").select("word", "token", "bit")
        masks[kind] = as_masks(row_words[kind].join(order, on="token"), "row", releases.height, order.height)
    made, bought = _year_curves(releases, match)
    return Index(
        releases=releases,
        names=names,
        postings=model.select("word", "row").unique().sort("word", "row"),
        word_count=model.unique(["row", "word"]).group_by("row").len().sort("row")["len"].to_numpy()
        if model["row"].n_unique() == releases.height
        else _counts(model, releases.height),
        masks=masks,
        bit=bit,
        joins=_joins(releases, named),
        kana=sorted(w for w in names["word"].to_list() if len(w) > 2 and "\u30a0" <= w[0] <= "\u30ff"),
        codes=_codes(releases),
        prefixes=_prefixes(releases),
        made=made,
        bought=bought,
    )


def as_masks(pairs: pl.DataFrame, key: str, height: int, bits: int) -> np.ndarray:
    """Return ``height`` x words of 64 bits with the bit of every (key, bit) pair set."""
    masks = np.zeros((height, max(1, -(-bits // 64))), np.uint64)
    bit = pairs["bit"].to_numpy().astype(np.uint64)
    np.bitwise_or.at(
        masks, (pairs[key].to_numpy(), (bit // np.uint64(64)).astype(np.int64)), np.uint64(1) << (bit % np.uint64(64))
    )
    return masks


def _counts(model: pl.DataFrame, height: int) -> np.ndarray:
    counts = np.zeros(height, np.int64)
    found = model.unique(["row", "word"]).group_by("row").len()
    counts[found["row"].to_numpy()] = found["len"].to_numpy()
    return counts


def _name_words(releases: pl.DataFrame, match: MatchWeights) -> pl.DataFrame:
    """Return row, place in the name and word for every word of every model name."""
    del match
    return (
        releases.select("row", word=tokens(plain(pl.col("model"))))
        .explode("word")
        .with_columns(pl.col("word").replace(ROMAN), place=pl.int_range(pl.len()).over("row"))
        .drop_nulls("word")
    )


def _classed(words: pl.DataFrame, match: MatchWeights) -> pl.DataFrame:
    """Return the words of the names with their kind: model, number, qualifier or edition_word.

    A qualifier is a word of the list, of one or two letters, or of very many names, as long as every
    name that has it has another word to go by.
    """
    lexicon = pl.Series(match.words.qualifiers)
    editions = pl.Series(sorted({*match.words.edition.original, *match.words.edition.reissue}))
    frequent = pl.len().over("word") > PROBE_MOST
    digits = pl.col("word").str.contains(r"^\d+$")
    could = pl.col("word").is_in(lexicon.implode()) | (pl.col("word").str.len_chars() <= 2) | frequent
    marked = words.with_columns(digits=digits, could=could & ~digits)
    marked = marked.with_columns(
        sure=(~pl.col("digits") & ~pl.col("could")).any().over("row"), lettered=(~pl.col("digits")).any().over("row")
    )
    marked = marked.with_columns(
        could=(~pl.col("could") | pl.col("sure")).all().over("word") & pl.col("could"),
        number=(~pl.col("digits") | pl.col("lettered")).all().over("word") & pl.col("digits"),
    )
    kind = (
        pl.when("number").then(pl.lit("number"))
        .when(pl.col("could") & pl.col("word").is_in(editions.implode())).then(pl.lit("edition_word"))
        .when(pl.col("could")).then(pl.lit("qualifier"))
        .otherwise(pl.lit("model"))
    )  # fmt: skip
    return marked.with_columns(kind=kind).select("row", "place", "word", "kind")


def _vocabulary(named: pl.DataFrame, match: MatchWeights) -> pl.DataFrame:
    """Return word, token, kind and, for model words, the bits of an agreement by how rare the word is."""
    name = match.weights.name
    share = name.word_agrees_share * name.reference_releases / pl.col("row").n_unique()
    bits = pl.min_horizontal(share.log(2), pl.lit(name.word_bits_most))
    found = named.group_by("word", "kind").agg(bits=bits).sort("word")
    return found.select("word", "kind", token="word", bits=pl.when(pl.col("kind") == "model").then("bits"))


def _maker_words(releases: pl.DataFrame) -> pl.DataFrame:
    """Return row, maker and word for every name of every maker; a name of several words is read as one."""
    names = releases.select("row", maker="maker", name=pl.concat_list("maker", "maker_aliases")).explode("name")
    return names.with_columns(word=tokens(plain(pl.col("name"))).list.join("")).filter(pl.col("word") != "")


def _maker_vocabulary(makers: pl.DataFrame) -> pl.DataFrame:
    return makers.select("word", token="maker", kind=pl.lit("maker")).unique().sort("word", "token")


def _lexicon_qualifiers(match: MatchWeights) -> pl.DataFrame:
    words = match.words
    editions = {*words.edition.original, *words.edition.reissue}
    listed = sorted({w for w in words.qualifiers if w not in words.never_qualifiers and w not in ROMAN})
    kinds = ["edition_word" if w in editions else "qualifier" for w in listed]
    return pl.DataFrame({"word": listed, "token": listed, "kind": kinds})


def _synonyms(releases: pl.DataFrame, named: pl.DataFrame) -> pl.DataFrame:
    """Return alias word -> model word for aliases of as many words as the name: word by word."""
    aliases = releases.select("row", alias="aliases").explode("alias").drop_nulls().with_row_index("alias_no")
    pieces = aliases.with_columns(word=tokens(plain(pl.col("alias")))).explode("word")
    pieces = pieces.with_columns(pl.col("word").replace(ROMAN), place=pl.int_range(pl.len()).over("alias_no"))
    lengths = named.group_by("row").len("words")
    same = pieces.with_columns(words=pl.len().over("alias_no").cast(pl.UInt32)).join(lengths, on=["row", "words"])
    both = same.join(named, on=["row", "place"], suffix="_name").filter(pl.col("word") != pl.col("word_name"))
    return both.select("word", target="word_name").unique().sort("word", "target")


def _same(match: MatchWeights) -> pl.DataFrame:
    pairs = sorted(match.words.same.items())
    return pl.DataFrame(pairs, schema={"word": pl.String, "target": pl.String}, orient="row")


def _translated(synonyms: pl.DataFrame, names: pl.DataFrame) -> pl.DataFrame:
    found = synonyms.join(names, left_on="target", right_on="word").select(names.columns)
    return found


def _joins(releases: pl.DataFrame, named: pl.DataFrame) -> dict[str, str]:
    """Return phrases of several words and what to read for each: one word for makers and colours, else the model's name."""
    makers = releases.select(name=pl.concat_list("maker", "maker_aliases")).explode("name")
    nicknames = releases.select(name="nicknames").explode("name")
    glued = pl.concat([makers, nicknames]).drop_nulls().unique().with_columns(words=tokens(plain(pl.col("name"))))
    glued = glued.filter(pl.col("words").list.len() > 1).select(
        phrase=spaced(pl.col("words")), read=pl.lit(" ") + pl.col("words").list.join("") + pl.lit(" ")
    )
    lengths = named.group_by("row").len("length")
    aliases = releases.select("row", "model", alias="aliases").explode("alias").drop_nulls().join(lengths, on="row")
    aliases = aliases.with_columns(words=tokens(plain(pl.col("alias"))), target=spaced(tokens(plain(pl.col("model")))))
    aliases = aliases.filter(pl.col("words").list.len() != pl.col("length")).select(
        phrase=spaced(pl.col("words")), read="target"
    )
    one = aliases.filter(pl.col("read").n_unique().over("phrase") == 1)
    both = pl.concat([glued, one]).unique("phrase", keep="first", maintain_order=True).sort("phrase")
    return dict(both.iter_rows())


def _shade_words(releases: pl.DataFrame) -> pl.DataFrame:
    """Return row and word for the colourway's words and the nicknames (each nickname as one word)."""
    colours = releases.select("row", word=tokens(plain(pl.col("colourway")))).explode("word")
    nicknames = releases.select("row", word="nicknames").explode("word").drop_nulls()
    single = nicknames.with_columns(tokens(plain(pl.col("word"))).list.join(""))
    return (
        pl.concat([colours, single])
        .drop_nulls()
        .filter(pl.col("word").str.len_chars() > 1)
        .unique()
        .sort("row", "word")
    )


def _family_words(match: MatchWeights) -> pl.DataFrame:
    pairs = [(word, family) for family, listed in match.words.colour.items() for word in listed]
    frame = pl.DataFrame(pairs, schema=["word", "family"], orient="row")
    return frame.with_columns(word=tokens(plain(pl.col("word"))).list.join("")).unique().sort("word", "family")


def _codes(releases: pl.DataFrame) -> pl.DataFrame:
    """Return the keys a style number is found by, each with the row it stands for and how much of it it is.

    Zeros may be dropped at the head of a group, the maker's letters or the last group may be left out, and
    letters may stand for digits. A key that several releases share identifies none and is left out.
    """
    given = releases.select("row", code="style_numbers").explode("code").drop_nulls()
    low = given.with_columns(plain(pl.col("code")))
    bare = bare_code(pl.col("code"))
    short = bare_code(pl.col("code").str.replace_all(r"(^|[^0-9])0+([1-9])", "$1$2"))
    shorter = bare_code(pl.col("code").str.replace_all(r"(^|[^0-9])0+([0-9])", "$1$2"))
    letterless = bare.str.replace(r"^[a-z]+", "")
    short_letterless = short.str.replace(r"^[a-z]+", "")
    stem = bare_code(pl.col("code").str.replace(r"[^a-z0-9][a-z0-9]+$", "")).str.replace(r"(\d)[a-z]+$", "$1")
    keys = pl.concat([
        low.select("row", key=bare, strength=pl.lit("exact"), rank=0),
        low.select("row", key=short, strength=pl.lit("exact"), rank=1),
        low.select("row", key=shorter, strength=pl.lit("exact"), rank=1),
        low.select("row", key=lookalike(bare), strength=pl.lit("partial"), rank=2),
        low.select("row", key=lookalike(short), strength=pl.lit("partial"), rank=3),
        low.filter(letterless.str.len_chars() >= 5).select("row", key=letterless, strength=pl.lit("partial"), rank=4),
        low.filter(short_letterless.str.len_chars() >= 5).select("row", key=short_letterless, strength=pl.lit("partial"), rank=5),
        low.filter(stem.str.count_matches(r"\d") >= 4).select("row", key=stem, strength=pl.lit("stem"), rank=6),
    ])  # fmt: skip
    first = keys.sort("rank", "row").unique(["row", "key"], keep="first", maintain_order=True)
    best = pl.col("rank").min().over("key")
    alone = first.filter(pl.col("rank") == best).filter(pl.col("row").n_unique().over("key") == 1)
    return alone.select("key", "row", "strength").sort("key")


def _prefixes(releases: pl.DataFrame) -> list[str]:
    codes = releases.select(code="style_numbers").explode("code").drop_nulls()
    letters = codes.select(bare_code(plain(pl.col("code"))).str.extract(r"^([a-z]{1,4})\d")).to_series()
    return sorted(letters.drop_nulls().unique().to_list())


def _year_curves(releases: pl.DataFrame, match: MatchWeights) -> tuple[np.ndarray, np.ndarray]:
    """Return, for years of make and years of purchase, the running share of years stated for each release."""
    weight = match.weights.year
    years = np.arange(FIRST_YEAR, LAST_YEAR + 1)
    made_from = np.floor(releases["made_from"].fill_null(float(FIRST_YEAR)).to_numpy())[:, None]
    made_to = np.ceil(releases["made_to"].fill_null(float(LAST_YEAR)).to_numpy() - 1)[:, None]
    style = releases["style_year"].fill_null(-1).to_numpy()[:, None]
    later = (releases["edition"].fill_null("original") != "original").to_numpy()[:, None]
    stray = np.full((releases.height, years.size), weight.stray / weight.background_years)
    curves = []
    for grace, styled in ((1, weight.style_year_of_reissue), (weight.purchase_grace, 0.0)):
        inside = (years >= made_from) & (years <= made_to + grace)
        by_style = (years == style) & later & (style > 0)
        share = np.where(by_style.any(1, keepdims=True), weight.in_production * (1 - styled), weight.in_production)
        flat = share * inside / np.maximum(inside.sum(1, keepdims=True), 1)
        curves.append(np.cumsum(flat + weight.in_production * styled * by_style + stray, axis=1))
    return curves[0], curves[1]


def listed_phrases(groups: dict[str, list[str]]) -> pl.DataFrame:
    """Return phrase -> value for lists of words by value, phrases as they stand in ``spaced`` text."""
    pairs = [(value, word) for value, listed in groups.items() for word in listed]
    frame = pl.DataFrame(pairs, schema=["value", "word"], orient="row")
    return (
        frame.with_columns(phrase=pl.Series(phrases(frame["word"].to_list()), dtype=pl.String)).unique().sort("phrase")
    )
