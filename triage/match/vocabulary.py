"""The words of the construction table's names, each with what it is: maker, model word, qualifier or number."""

import polars as pl

from triage.catalogue.matching import MatchWeights
from triage.match.text import phrases, plain, spaced, tokens

ROMAN = {"ii": "2", "iii": "3", "iv": "4"}


def name_words(releases: pl.DataFrame, match: MatchWeights) -> pl.DataFrame:
    """Return row, place, word and kind of every word of every model name.

    A qualifier is a word of the list, of one or two letters, or of very many names, as long as every name
    that has it has another word to go by. A word of digits is a number beside a word of letters.

    Args:
        releases: row, model.
        match: Gives the list of qualifiers, descriptors and edition words.
    """
    words = releases.select("row", word=tokens(plain(pl.col("model")))).explode("word").drop_nulls()
    words = words.with_columns(pl.col("word").replace(ROMAN), place=pl.int_range(pl.len()).over("row"))
    lexicon = [*match.words.qualifiers, *match.words.descriptors]
    digits = pl.col("word").str.contains(r"^\d+$")
    few = (pl.col("word").str.len_chars() <= 2) | (pl.len().over("word") > match.weights.decide.candidates_most)
    marked = words.with_columns(digits=digits, could=(pl.col("word").is_in(lexicon) | few) & ~digits)
    marked = marked.with_columns(
        sure=(~pl.col("digits") & ~pl.col("could")).any().over("row"), lettered=(~pl.col("digits")).any().over("row")
    )
    marked = marked.with_columns(
        could=(~pl.col("could") | pl.col("sure")).all().over("word") & pl.col("could"),
        number=(~pl.col("digits") | pl.col("lettered")).all().over("word") & pl.col("digits"),
    )
    kind = pl.when("number").then(pl.lit("number")).when("could").then(_qualifier(match)).otherwise(pl.lit("model"))
    return marked.with_columns(kind=kind).select("row", "place", "word", "kind")


def _qualifier(match: MatchWeights) -> pl.Expr:
    """Return which sort of qualifier a word is; an edition word is one that also names an edition."""
    words = match.words
    editions = [*words.edition.original, *words.edition.reissue]
    return (
        pl.when(pl.col("word").is_in(editions)).then(pl.lit("edition_word"))
        .when(pl.col("word").is_in(words.descriptors)).then(pl.lit("descriptor"))
        .otherwise(pl.lit("qualifier"))
    )  # fmt: skip


def maker_words(releases: pl.DataFrame) -> pl.DataFrame:
    """Return row, maker, word for every name of every maker; a name of several words is read as one.

    An alias that every release of a maker carries, two models at least, is a name of the maker.
    """
    shared = releases.select("row", "maker", "model", alias="aliases").explode("alias").drop_nulls()
    models = releases.group_by("maker").agg(models=pl.col("model").n_unique(), rows=pl.len())
    shared = shared.group_by("maker", "alias").agg(carried=pl.col("row").n_unique()).join(models, on="maker")
    shared = shared.filter((pl.col("carried") == pl.col("rows")) & (pl.col("models") > 1)).select("maker", name="alias")
    own = releases.select("maker", name=pl.concat_list("maker", "maker_aliases")).explode("name")
    names = pl.concat([own, shared]).unique().with_columns(word=tokens(plain(pl.col("name"))).list.join(""))
    named = names.filter(pl.col("word") != "").select("maker", "word").unique()
    return releases.select("row", "maker").join(named, on="maker").sort("row", "word")


def shade_words(releases: pl.DataFrame) -> pl.DataFrame:
    """Return row, word for the colourway's words and the nicknames, each nickname as one word."""
    colours = releases.select("row", word=tokens(plain(pl.col("colourway")))).explode("word")
    nicknames = releases.select("row", word="nicknames").explode("word").drop_nulls()
    single = nicknames.with_columns(tokens(plain(pl.col("word"))).list.join(""))
    both = pl.concat([colours, single]).drop_nulls().filter(pl.col("word").str.len_chars() > 1)
    return both.unique().sort("row", "word")


def family_words(match: MatchWeights) -> pl.DataFrame:
    """Return word, family for the general words for colours."""
    listed = phrases(match.words.colour)
    words = listed.select(word=pl.col("phrase").str.replace_all(" ", ""), family="value")
    return words.unique().sort("word", "family")


def name_vocabulary(
    releases: pl.DataFrame, words: pl.DataFrame, makers: pl.DataFrame, match: MatchWeights
) -> pl.DataFrame:
    """Return word, kind, token, bits for every word that can be part of a name, other spellings included.

    Args:
        releases: row, aliases.
        words: As ``name_words`` returns them.
        makers: As ``maker_words`` returns them.
        match: Weights and the list of qualifiers.

    Returns:
        One row a word. ``token`` is what it stands for; ``bits`` what an agreement says, for model words.
    """
    name = match.weights.name
    share = name.word_agrees_share * name.reference_releases / pl.col("row").n_unique()
    bits = pl.min_horizontal(share.log(2), pl.lit(name.word_bits_most))
    own = words.group_by("word", "kind").agg(bits=bits).sort("word")
    own = own.select("word", "kind", token="word", bits=pl.when(pl.col("kind") == "model").then("bits"))
    made = makers.select("word", kind=pl.lit("maker"), token="maker", bits=pl.lit(None, pl.Float64)).unique()
    named = pl.concat([own, made.sort("word", "token")]).unique("word", keep="first", maintain_order=True)
    listed = sorted({*match.words.qualifiers, *match.words.descriptors} - ROMAN.keys())
    lexicon = pl.DataFrame({"word": listed}).with_columns(
        kind=_qualifier(match), token="word", bits=pl.lit(None, pl.Float64)
    )
    named = pl.concat([named, _respelt(_spellings(releases, words), named), lexicon])
    named = named.unique("word", keep="first", maintain_order=True)
    short = pl.DataFrame(sorted(match.words.same.items()), schema=["word", "target"], orient="row")
    named = pl.concat([named.filter(~pl.col("word").is_in(list(match.words.same))), _respelt(short, named)])
    return named.sort("word")


def _respelt(spellings: pl.DataFrame, named: pl.DataFrame) -> pl.DataFrame:
    return spellings.join(named, left_on="target", right_on="word").select(named.columns)


def _spellings(releases: pl.DataFrame, words: pl.DataFrame) -> pl.DataFrame:
    """Return word, target for aliases of as many words as the name has: they are read word by word."""
    aliases = releases.select("row", alias="aliases").explode("alias").drop_nulls().with_row_index("alias_no")
    pieces = aliases.with_columns(word=tokens(plain(pl.col("alias")))).explode("word")
    pieces = pieces.with_columns(pl.col("word").replace(ROMAN), place=pl.int_range(pl.len()).over("alias_no"))
    pieces = pieces.with_columns(length=pl.len().over("alias_no"))
    lengths = words.group_by("row").agg(length=pl.len())
    both = pieces.join(lengths, on=["row", "length"]).join(words, on=["row", "place"], suffix="_name")
    both = both.filter(pl.col("word") != pl.col("word_name"))
    return both.select("word", target="word_name").unique().sort("word", "target")


def joined_phrases(releases: pl.DataFrame, words: pl.DataFrame, match: MatchWeights) -> dict[str, str]:
    """Return what to read for phrases of several words: makers and nicknames as one word, aliases as the name.

    Args:
        releases: row, maker, model, aliases, maker_aliases, nicknames.
        words: As ``name_words`` returns them.
        match: Gives words of comparison that are read as one.
    """
    makers = releases.select(name=pl.concat_list("maker", "maker_aliases", "nicknames")).explode("name")
    makers = pl.concat([makers, pl.DataFrame({"name": match.words.compare.joined}, schema={"name": pl.String})])
    glued = makers.drop_nulls().unique().with_columns(words=tokens(plain(pl.col("name"))))
    glued = glued.filter(pl.col("words").list.len() > 1).select(
        phrase=spaced(pl.col("words")), read=pl.lit(" ") + pl.col("words").list.join("") + pl.lit(" ")
    )
    lengths = words.group_by("row").agg(length=pl.len())
    aliases = releases.select("row", "model", alias="aliases").explode("alias").drop_nulls().join(lengths, on="row")
    aliases = aliases.with_columns(words=tokens(plain(pl.col("alias"))), read=spaced(tokens(plain(pl.col("model")))))
    other = aliases.filter(pl.col("words").list.len() != pl.col("length"))
    other = other.select(phrase=spaced(pl.col("words")), read="read")
    one = other.filter(pl.col("read").n_unique().over("phrase") == 1)
    both = pl.concat([glued, one]).unique("phrase", keep="first", maintain_order=True).sort("phrase")
    return dict(both.iter_rows())


def common_words(generic: pl.DataFrame, match: MatchWeights) -> list[str]:
    """Return the words of every list and of the generic constructions, of which none is a model's name."""
    words = match.words
    lists = [
        words.common, words.qualifiers, words.descriptors, words.edition.original, words.edition.reissue,
        words.compare.before, words.compare.after, words.compare.filler, words.year.event, words.year.event_after,
        words.year.purchase, words.size.before, words.size.after, *words.colour.values(), *words.category.values(),
        *words.audience.values(), *(entry.words for entry in words.construction), *generic["words"].to_list(),
    ]  # fmt: skip
    every = pl.DataFrame({"words": [entry for listed in lists for entry in listed]}, schema={"words": pl.String})
    return every.select(tokens(plain(pl.col("words"))).explode().unique().sort()).to_series().to_list()
