"""Text of a listing, made plain: case, accents, scripts, sizes, style numbers, years."""

import re

import polars as pl

from triage.catalogue.matching import MatchWords

WORD = r"[0-9]+|\p{Latin}+|[\p{Katakana}ー]+|\p{Hiragana}+|\p{Han}+"
# Up to four letters, digits in one to three groups, at most two letters: the families of style numbers in use.
# The letters o, i, l, s and b may stand where a digit was printed.
NUMBER = r"\b[a-z]{0,4}[ ./-]?[0-9o][0-9oilsb]{0,5}(?:[ ./-][0-9oilsb]{2,4}){0,2}[a-z]{0,2}\b"
STROKES = {
    "’": "'",
    "‘": "'",
    "´": "'",
    "`": "'",
    "–": "-",
    "—": "-",
    "‐": "-",
    "ø": "o",
    "ß": "ss",
    "æ": "ae",
    "ł": "l",
}
LOOKALIKES = {"o": "0", "i": "1", "l": "1", "s": "5", "b": "8"}


def plain(text: pl.Expr) -> pl.Expr:
    """Return text in one form: NFKC, lower case, Latin accents taken off, kana kept whole."""
    folded = text.fill_null("").str.normalize("NFKC").str.to_lowercase()
    bare = folded.str.normalize("NFD").str.replace_all("[\u0300-\u036f]", "").str.normalize("NFC")
    return bare.str.replace_many(STROKES)


def tokens(text: pl.Expr) -> pl.Expr:
    """Return the words of plain text as a list; letters, digits and scripts are split from each other."""
    return text.str.extract_all(WORD)


def spaced(words: pl.Expr) -> pl.Expr:
    """Return a list of words as one text in which every word has a space of its own on both sides."""
    return pl.lit(" ") + words.list.join("  ") + pl.lit(" ")


def phrase(words: str) -> str:
    """Return a phrase of ``rules/`` as it stands in ``spaced`` text."""
    found = pl.select(spaced(tokens(plain(pl.lit(words))))).item()
    return str(found)


def phrases(listed: list[str]) -> list[str]:
    """Return many phrases as they stand in ``spaced`` text, in order."""
    return pl.DataFrame({"text": listed}).select(spaced(tokens(plain(pl.col("text"))))).to_series().to_list()


def bare_code(code: pl.Expr) -> pl.Expr:
    """Return a style number without separators."""
    return code.str.replace_all("[^a-z0-9]", "")


def lookalike(code: pl.Expr) -> pl.Expr:
    """Return a bare style number with every letter that can be misread for a digit written as the digit."""
    return code.str.replace_many(LOOKALIKES)


def size_pattern(words: MatchWords) -> str:
    """Return a pattern for a size with its mark, and for a lone number with a half, on plain text."""
    number = r"\d{1,3}(?:[.,]\d{1,2}|[ ]?1/2|½|[ ]\d/\d)?"
    before = "|".join(sorted((re.escape(word) for word in words.size.before), key=lambda w: (-len(w), w)))
    after = "|".join(sorted((re.escape(word) for word in words.size.after), key=lambda w: (-len(w), w)))
    marked = rf"(?:\b(?:{before})[ .:]{{0,2}})+{number}(?:[ ]?(?:{after})\b|\b)"
    trailing = rf"\b{number}[ ]?(?:{after})\b"
    lone = r"\b\d{1,2}[.,]\d\b|\b\d{1,2}[ ]?(?:1/2|½)|\b\d{2}[ ]\d/\d\b|\b[34]\d/[34]\d\b"
    return f"{marked}|{trailing}|{lone}"


def years(text: pl.Expr, words: MatchWords) -> pl.Expr:
    """Return the years a plain text states, as a struct.

    Args:
        text: Plain text.
        words: Words that say a year is one of repair or wear, and words of purchase.

    Returns:
        Struct of first_lo, first_hi, last_lo, last_hi (years; the first and the last one named; NULL where
        none) and purchase (the years are of purchase).
    """
    event = "|".join(re.escape(word) for word in words.year.event)
    donor = "|".join(re.escape(word) for word in words.year.event_after)
    bought = "|".join(re.escape(word) for word in words.year.purchase)
    year = r"(?:19[6-9]\d|20[0-3]\d)"
    kept = text.str.replace_all(rf"\b(?:{event})\b[^.!?;]{{0,24}}?\b{year}\b", " ").str.replace_all(
        rf"\b{year}[ -](?:{donor})\b", " "
    )
    found = kept.str.extract_all(
        r"\b(?:19[6-9]\d|20[0-3]\d)(?:['’]?s|er|ern|年代)?\b|'[0-9]\d(?:s|er)?\b|\b[6-9]0(?:'?s|er|ern|ies)\b"
        r"|\b(?:annees|anni|anos|los)[ ]'?[6-9]0\b|\b(?:80|90|70)年代|\b(?:19[6-9]\d|20[0-3]\d)年"
    )
    first, last = found.list.first(), found.list.last()
    purchase = kept.str.contains(rf"\b(?:{bought})\b[^.!?;]{{0,16}}?{year}|{year}[^.!?;]{{0,10}}(?:{bought})")
    return pl.struct(
        first_lo=_year_lo(first),
        first_hi=_year_hi(first),
        last_lo=_year_lo(last),
        last_hi=_year_hi(last),
        purchase=purchase,
    )


def _year_lo(found: pl.Expr) -> pl.Expr:
    digits = found.str.extract(r"(\d+)").cast(pl.Int32, strict=False)
    return pl.when(digits >= 1000).then(digits).when(digits >= 60).then(digits + 1900).otherwise(digits + 2000)


def _year_hi(found: pl.Expr) -> pl.Expr:
    decade = found.str.contains(r"s$|er$|ern$|ies$|年代$|^(?:annees|anni|anos|los)")
    return _year_lo(found) + pl.when(decade).then(9).otherwise(0)
