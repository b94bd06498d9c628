"""The texts of lots in pieces: what stands between commas, line ends and ands, and the prices in each."""

import polars as pl

from triage.catalogue.words import MoneyWords, Words
from triage.listing.phrases import folded_words, whole

AMOUNT = r"\d[\d.,]*\d|\d"
TOLD = "␞"  # stands on both sides of an amount whose mark touches it: "UK 9 £60"
BREAK = "␟"  # stands where a line is parted
SENTENCE = r"(\p{L}{3,}|\d|[€$£¥円)])[.!?。]+(?:\s+|$)"
LIST_MARK = r"^\s*(?:[-•*–+]|\d{1,2}[.)]|[A-Ha-h][.):])\s+"


def _marks(words: MoneyWords) -> str:
    return whole({*words.marks, *words.shared_marks, *(code.lower() for code in words.codes.known)})


def marked_price(words: MoneyWords) -> str:
    """Return the pattern of an amount with its currency; a mark that touches a number is that number's (``_told``)."""
    marks, dash = _marks(words), r"(?:[,.]?[-–]+)?"
    return rf"{TOLD}[^{TOLD}]+{TOLD}|(?:{marks})\s?(?:{AMOUNT}){dash}|(?:{AMOUNT})\s?{dash}\s?(?:{marks})"


def _unsure(words: MoneyWords) -> str:
    """Return the pattern of what can be read in two ways: "42 € 80", "Zephrune 2 120 €", "80-100 €".

    Two digits that are a size of the continent are no thousands: "size 42 120 €".
    """
    marks = _marks(words)
    range_of = rf"(?:^|[^\p{{L}}\d])\d+\s?(?:[-–/]|bis|to|à|a)\s?\d[\d.,]*\s?(?:{marks})"
    thousands = rf"(?:^|[^\d.,])(?:\d|[12]\d|3[0-4]|[5-9]\d|\d{{3}}) \d{{3}}\s?(?:{marks})"
    return rf"\d\s?(?:{marks})\s?\d|{thousands}|{range_of}"


def lot_pieces(lots: pl.DataFrame, price: str, words: Words) -> pl.DataFrame:
    """Return what lines and commas part the texts into, with the prices in each piece.

    Returns:
        ``row, place`` (0 description, 1 title), ``line, text, prices`` (how many), ``price`` (the first), ``name``
        (the text without it), ``each`` (a price for any pair), ``aside`` (postage, a sum), ``priced`` (the price of one
        pair), ``other`` (a price of something else, or of several), ``joins`` (says more of the pair before it).
    """
    kind = words.kind
    conjunction = "|".join(kind.conjunction.words)
    text = pl.col("text").str.replace_all(SENTENCE, "$1\n")
    parted = pl.col("text").str.replace_all(rf"[;•、・|]|,(?:\s|$)|\s[+/&]\s|\s(?:{conjunction})\s", BREAK)
    pieces = (
        pl.concat([lots.select("row", place=pl.lit(n), text=name) for n, name in enumerate(("body", "title"))])
        .drop_nulls()
        .with_columns(text=text.str.split("\n"))
        .explode("text")
        .with_columns(line=pl.int_range(pl.len()).over("row", "place"), text=parted.str.split(BREAK))
        .explode("text")
        .with_columns(
            pl.col("text").str.strip_chars(" ,.:").str.replace_all(rf"([£$€¥])({AMOUNT})", f"{TOLD}${{1}}${{2}}{TOLD}")
        )
        .filter(pl.col("text") != "")
        .with_columns(low=pl.col("text").str.to_lowercase())
        .with_columns(
            prices=pl.col("low").str.count_matches(price),
            price=pl.col("low").str.extract(f"({price})").str.replace_all(TOLD, ""),
        )
    )
    each, aside = whole(kind.each.words), whole(kind.aside.words)
    plain = whole([*folded_words(words.money.harmless.words), *folded_words(words.money.price_kind.fixed)])
    name = (
        pl.col("text").str.replace(f"(?i){price}", " ").str.replace_all(f"(?i){each}|{plain}", " ")
        .str.replace(LIST_MARK, "").str.replace_all(r"\s+", " ").str.strip_chars(" ,.:;=-–—>()")
    )  # fmt: skip
    noun = whole([*kind.pair_noun.words, *kind.one_pair.words])
    numbers = "|".join([r"\d+", whole(word for listed in kind.numbers.values() for word in listed)])
    low = pl.col("low")
    quantity = pl.col("name").str.to_lowercase().str.contains(rf"(?:{numbers})\s?x?\s?(?:{noun})")
    unsure = low.str.contains(f"{whole(kind.other_price.words)}|{_unsure(words.money)}") | (pl.col("prices") > 1)
    first_word = whole([*words.size.markers.words, *kind.more_of_it.words])
    stated = pl.col("prices") > 0
    pieces = pieces.with_columns(name=name).with_columns(
        aside=stated & low.str.contains(rf"^(?:\p{{L}}+\.?\s|\+\s?)?(?:{aside})"),
        joins=~pl.col("name").str.contains(r"\p{L}") | low.str.contains(rf"^(?:\d|{first_word})"),
    )
    pieces = pieces.with_columns(each=stated & low.str.contains(each) & ~pl.col("aside"))
    other = unsure | (~pl.col("each") & (quantity | low.str.contains(aside)))
    return pieces.with_columns(
        priced=(pl.col("prices") == 1) & ~pl.col("each") & ~pl.col("aside"), other=stated & ~pl.col("aside") & other
    )
