"""What a listing claims about wear and about what is on offer, in the seller's words and the export's columns."""

import polars as pl

from triage.catalogue.words import ConditionWords, KindWords
from triage.listing.lots import pair_count
from triage.listing.phrases import Phrase, Phrasebook, book, folded_cell, has, one_of, phrase_bits, spaced, whole

MADE = {
    "never": "deadstock",
    "once": "tried_on",
    "few": "worn_lightly",
    "lightly": "worn_lightly",
    "heavily": "worn_heavily",
}
WEAR = ("deadstock", "tried_on", "worn_lightly", "worn", "worn_heavily")  # from the strongest claim to the weakest
KINDS = ("wanted", "replica", "accessory", "single", "lot")  # the first that is said counts
FEW_SIZES = 3  # so many different sizes in one cell are several pairs


def condition_books(words: ConditionWords) -> tuple[Phrasebook, Phrasebook]:
    """Return the phrases about wear: those of titles, and those of descriptions."""
    phrases = [
        Phrase(phrase, name, language)
        for name in (*WEAR, "nothing")
        for language, listed in getattr(words, name).items()
        for phrase in listed
    ]
    phrases += _made_phrases(words)
    bare = [Phrase(phrase, "deadstock", lang) for lang, listed in words.deadstock_in_title.items() for phrase in listed]
    fillers = words.made.filler.words
    return book([*phrases, *bare], fillers), book(phrases, fillers)


def _made_phrases(words: ConditionWords) -> list[Phrase]:
    """Return every pairing of how often or how much with a verb of wear, in either order."""
    made = []
    for part, meaning in MADE.items():
        for language, listed in getattr(words.made, part).items():
            for measure in listed:
                for verb in words.made.verb[language]:
                    joint = "" if language == "ja" else " "
                    made += [Phrase(joint.join(pair), meaning, language) for pair in ((measure, verb), (verb, measure))]
    return made


def kind_books(words: KindWords) -> tuple[Phrasebook, Phrasebook]:
    """Return the phrases about what is on offer: those of titles, and those of descriptions."""
    silent = [Phrase(phrase, "nothing", lang) for lang, listed in words.nothing.items() for phrase in listed]
    anywhere = [*silent, *(phrase for name in KINDS for phrase in _kind_phrases(words, name, "text"))]
    in_title = [phrase for name in KINDS for phrase in _kind_phrases(words, name, "title")]
    return book([*anywhere, *in_title]), book(anywhere)


def _kind_phrases(words: KindWords, name: str, place: str) -> list[Phrase]:
    by_language = getattr(getattr(words, name), place)
    return [Phrase(phrase, name, language) for language, listed in by_language.items() for phrase in listed]


def without_other_pairs(keys: pl.Series, words: ConditionWords) -> pl.Series:
    """Return spaced descriptions without the sentences that speak of another pair."""
    patterns = book(Phrase(phrase, "elsewhere") for listed in words.elsewhere.values() for phrase in listed).patterns
    places = keys.str.contains_any(patterns).arg_true()
    if places.is_empty():
        return keys
    any_of = "|".join(patterns)
    return keys.scatter(places, keys.gather(places).str.replace_all(rf"[^¶]*(?:{any_of})[^¶]*", "  "))


def _said(cells: pl.DataFrame, books: tuple[Phrasebook, Phrasebook]) -> pl.DataFrame:
    """Add the meanings found in title and description as ``bits``; both books know the same meanings."""
    in_title, in_body = books
    # Titles differ, descriptions often do not: each is gone through once.
    bodies = cells.select("body_key").unique().with_row_index("row")
    said = bodies.join(phrase_bits(bodies, "body_key", in_body), on="row").drop("row")
    of_body = cells.select("row", "body_key").join(said, on="body_key").select("row", "bits")
    found = pl.concat([phrase_bits(cells, "title_key", in_title), of_body])
    bits = found.group_by("row").agg(pl.col("bits").bitwise_or())
    return cells.join(bits, on="row", how="left", maintain_order="left").with_columns(pl.col("bits").fill_null(0))


def read_conditions(cells: pl.DataFrame, words: ConditionWords, books: tuple[Phrasebook, Phrasebook]) -> pl.DataFrame:
    """Return how much each pair was worn and whether two claims contradict each other.

    The weakest claim counts. "Used" in a column says no more than worn; the words of the text say how much.

    Args:
        cells: ``row, condition`` (column), ``title_key, body_key`` (title and description, spaced).
        words: Whole cells of the condition column.
        books: Phrases about wear, of titles and of descriptions.

    Returns:
        ``row, condition, conflict, refusal`` (``unknown-words`` where the column says nothing known).
    """
    column = read_column(cells["condition"], words)
    # a cell of unknown words is read like the title
    title = pl.concat_str(
        "title_key", pl.lit(" ¶ "), spaced(pl.when(pl.col("column").is_null()).then("condition").fill_null(""))
    )
    said = cells.join(column, on="condition", how="left", maintain_order="left").with_columns(title_key=title)
    said = _said(said, books)
    wear = {name: has(pl.col("bits"), books[0], name) for name in WEAR}
    graded = wear["tried_on"] | wear["worn_lightly"] | wear["worn_heavily"]
    claims = {
        "deadstock": wear["deadstock"] | (pl.col("column") == "deadstock").fill_null(False),
        "tried_on": wear["tried_on"] | (pl.col("column") == "tried_on").fill_null(False),
        "worn_lightly": wear["worn_lightly"] | (pl.col("column") == "worn_lightly").fill_null(False),
        "worn": (wear["worn"] | (pl.col("column") == "worn").fill_null(False)) & ~graded,
        "worn_heavily": wear["worn_heavily"] | (pl.col("column") == "worn_heavily").fill_null(False),
    }
    weakest = pl.coalesce([pl.when(claims[name]).then(pl.lit(name)) for name in reversed(WEAR)])
    conflict = (
        claims["deadstock"] & (claims["tried_on"] | claims["worn_lightly"] | claims["worn"] | claims["worn_heavily"])
    ) | (claims["worn_heavily"] & (claims["tried_on"] | claims["worn_lightly"]))
    unread = pl.col("condition").is_not_null() & pl.col("column").is_null() & (pl.col("bits") == 0)
    return said.select(
        "row",
        condition=weakest.fill_null("unknown"),
        conflict=conflict,
        refusal=pl.when(unread).then(pl.lit("unknown-words")),
    )


def read_column(cells: pl.Series, words: ConditionWords) -> pl.DataFrame:
    """Return what each different condition cell says: the whole cell, else its parts ("Used - like new").

    Among parts a grade of wear says more than used, and used more than new.
    """
    names = ("tried_on", "worn_lightly", "worn_heavily", "worn", "deadstock", "unknown")
    forms = cells.drop_nulls().unique(maintain_order=True).to_frame("condition")
    known = [(name, getattr(words.column, name).words) for name in names]
    whole_cell = pl.coalesce(
        [pl.when(one_of(folded_cell(pl.col("condition")), listed)).then(pl.lit(name)) for name, listed in known]
    )
    part = pl.coalesce(
        [pl.when(one_of(folded_cell(pl.col("part")), listed)).then(pl.lit(name)) for name, listed in known]
    )
    forms = forms.with_columns(whole_cell=whole_cell)
    parts = (
        forms.select("condition", part=pl.col("condition").str.extract_all(r"[^-–,/:;()|・、]+"))
        .explode("part")
        .with_columns(said=part)
        .group_by("condition")
        .agg(said=pl.coalesce([pl.when((pl.col("said") == name).any()).then(pl.lit(name)) for name in names]))
    )
    return forms.join(parts, on="condition", how="left").select("condition", column=pl.coalesce("whole_cell", "said"))


def read_kinds(cells: pl.DataFrame, words: KindWords, books: tuple[Phrasebook, Phrasebook]) -> pl.DataFrame:
    """Return what is on offer: pair, lot, single, accessory, wanted or replica.

    Args:
        cells: ``row, title, category`` (cell), ``title_key, body_key`` (spaced), ``size_count``.
        words: Nouns that count pairs.
        books: Phrases of titles and phrases of descriptions.

    Returns:
        ``row, kind``.
    """
    said = _said(cells, books)
    claims = {name: has(pl.col("bits"), books[0], name) for name in KINDS}
    claims["lot"] = claims["lot"] | pl.col("row").is_in(_counted(cells, words)) | (pl.col("size_count") >= FEW_SIZES)
    claims["accessory"] |= pl.col("category").is_in(_other_categories(cells["category"], words)).fill_null(False)
    kind = pl.coalesce([pl.when(claims[name]).then(pl.lit(name)) for name in KINDS])
    return said.select("row", kind=kind.fill_null("pair"))


def _other_categories(cells: pl.Series, words: KindWords) -> list[str]:
    """Return the category cells that name something else than shoes ("clothing > shoes" names shoes)."""
    other, shoes = whole(words.other_category.words), whole(words.shoe_category.words)
    forms = cells.drop_nulls().unique().to_frame("cell").with_columns(text=folded_cell(pl.col("cell")))
    strange = pl.col("text").str.contains(other) & ~pl.col("text").str.replace_all(other, " ").str.contains(shoes)
    return forms.filter(strange)["cell"].to_list()


def _counted(cells: pl.DataFrame, words: KindWords) -> list[int]:
    """Return the rows whose title counts pairs; few titles hold a word for them, and only those are looked at."""
    nouns = [*words.pair_noun.words, *words.lot_count.words]
    some = cells.filter(pl.col("title").str.contains_any(nouns, ascii_case_insensitive=True))
    return some.filter(pair_count(pl.col("title"), words).is_not_null())["row"].to_list()
