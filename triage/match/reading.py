"""What the texts of listings say about which release they are."""

from dataclasses import dataclass

import polars as pl

from triage.catalogue.matching import MatchWeights
from triage.match.codes import quoted, without_codes
from triage.match.facts import fact_phrases, facts_in
from triage.match.names import named, split_words
from triage.match.table import COLOUR_MASKS, Index
from triage.match.text import BREAK, WORD, marks_size, plain_texts, spaced, tokens, without_sizes
from triage.match.years import FIELDS, stated_years


@dataclass(frozen=True)
class Reading:
    """What texts say; every frame has ``item``.

    Attributes:
        texts: One row an item: text (``spaced``, title and body).
        names: Makers, model words, qualifiers and numbers named.
        found: Style numbers of the table: row, strength, word.
        stray: Style numbers of the table's shape that stand in no row: word.
        years: One row an item: the years stated, NULL where none is.
        colours: Colour words: word.
        facts: Edition words, construction and category: kind, value, word.
    """

    texts: pl.DataFrame
    names: pl.DataFrame
    found: pl.DataFrame
    stray: pl.DataFrame
    years: pl.DataFrame
    colours: pl.DataFrame
    facts: pl.DataFrame


def read(listings: pl.DataFrame, index: Index, match: MatchWeights) -> Reading:
    """Return what the texts of listings say.

    Args:
        listings: item (rising), title, body, size_text, stated_year_lo, stated_year_hi, stated_year_kind.
        index: The construction table, laid out for matching.
        match: Words.
    """
    texts, bodies = listings.select("item", text=plain_texts(listings["title"])), _bodies(listings)
    told = listings.select("item", "body").join(bodies, on="body", how="left", maintain_order="left")
    whole = pl.when(told["text"].is_null()).then("text").otherwise(pl.concat_str("text", pl.lit(" . "), told["text"]))
    titled, further = _bare(texts, index, match), _bare(bodies.select("text", item="at"), index, match)
    # A body starts a clause of its own: its first word continues no name of the title.
    further = further.with_columns(pl.lit(f"{BREAK} ") + pl.col("text"))
    words, of_body = split_words(titled, index), split_words(further, index).rename({"item": "at"})
    found, stray = quoted(texts.select("item", text=whole), index.codes, index.prefixes)
    lines = texts.select("item", text=_lines(pl.col("text")) + told["line"].fill_null(""))
    which = told.select("item", "at").drop_nulls()
    hues = pl.concat([index.bit[kind].select("word") for kind in COLOUR_MASKS]).unique()
    return Reading(
        texts=lines,
        names=_names(words, which, of_body, _sizes(listings, texts, match), index, match),
        found=found,
        stray=stray,
        years=_years(listings, titled, match),
        colours=pl.concat(
            [
                words.join(hues, on="word", how="semi").select("item", "word"),
                which.join(of_body.join(hues, on="word", how="semi"), on="at").select("item", "word"),
            ]
        )
        .unique()
        .sort("item", "word"),
        facts=facts_in(lines, fact_phrases(match)),
    )


def _names(
    words: pl.DataFrame,
    bodies: pl.DataFrame,
    of_body: pl.DataFrame,
    sizes: pl.DataFrame,
    index: Index,
    match: MatchWeights,
) -> pl.DataFrame:
    """Return the names of titles; a body names the model only when its title does not.

    Args:
        words: Words of titles.
        bodies: item, at: which body each has.
        of_body: Words of bodies, by ``at``.
        sizes: As ``named`` takes them.
        index: The table.
        match: Words.
    """
    titled = named(words, sizes, index, match)
    told = titled.filter((pl.col("kind") == "model") & ~pl.col("against")).select("item").unique()
    untold = bodies.join(told, on="item", how="anti", maintain_order="left")
    more = untold.join(of_body, on="at", maintain_order="left_right")
    if more.is_empty():
        return titled
    last = words["place"].to_numpy().max(initial=0)
    later = more.with_columns(pl.col("place") + int(last) + 1).select(words.columns)
    their = words.join(more.select("item").unique(), on="item", how="semi", maintain_order="left")
    both = pl.concat([their, later]).sort("item", "place")
    again = named(both, sizes, index, match)
    kept = titled.join(both.select("item").unique(), on="item", how="anti", maintain_order="left")
    return pl.concat([kept, again]).sort("item", "place")


def _sizes(listings: pl.DataFrame, texts: pl.DataFrame, match: MatchWeights) -> pl.DataFrame:
    """Return item, number (digits of the size stated beside the text) and sized (a size is stated at all)."""
    size = pl.col("size_text").fill_null("")
    marked = texts.select(marked=marks_size(pl.col("text"), match.words)).to_series()
    return listings.select("item", number=size.str.extract(r"(\d+)"), sized=marked | (size != ""))


def _bodies(listings: pl.DataFrame) -> pl.DataFrame:
    """Return the bodies that say something, each once, as sellers tell the same of many pairs.

    Returns:
        at (rising), body, text (plain), line (``spaced``).
    """
    bodies = listings.select("body").drop_nulls().unique(maintain_order=True)
    bodies = bodies.with_columns(text=plain_texts(bodies["body"])).filter(pl.col("text") != "")
    return bodies.with_columns(line=_lines(pl.col("text"))).with_row_index("at")


def _bare(texts: pl.DataFrame, index: Index, match: MatchWeights) -> pl.DataFrame:
    """Return item, text without sizes and style numbers."""
    return texts.select("item", text=without_sizes(without_codes(pl.col("text"), index.prefixes), match.words))


def _lines(text: pl.Expr) -> pl.Expr:
    """Return plain text ``spaced``, nothing where it has no words."""
    return pl.when(text.str.contains(WORD)).then(spaced(tokens(text))).otherwise(pl.lit(""))


def _years(listings: pl.DataFrame, titled: pl.DataFrame, match: MatchWeights) -> pl.DataFrame:
    """Return the stated years: of the title, else those the listing stage found in the whole text."""
    lo, hi = pl.col("stated_year_lo"), pl.col("stated_year_hi")
    bought = (pl.col("stated_year_kind") == "purchase").fill_null(False)
    stated = listings.filter(lo.is_not_null())
    stated = stated.select("item", first_lo=lo, first_hi=hi, last_lo=lo, last_hi=hi, purchase=bought).cast(FIELDS)  # type: ignore[arg-type]
    best = pl.concat([stated_years(titled, match.words), stated]).unique("item", keep="first", maintain_order=True)
    return listings.select("item").join(best, on="item", how="left", maintain_order="left")
