"""The years a text states, told apart from years of repair and of purchase."""

import re

import polars as pl

from triage.catalogue.matching import MatchWords

YEAR = r"(?:19[6-9]\d|20[0-3]\d)"
STATED = (
    r"\b(?:19[6-9]\d|20[0-3]\d)(?:'?s|er|ern|年代|年)?\b|'[0-9]\d(?:s|er)?\b|\b[6-9]0(?:'?s|er|ern|ies)\b"
    r"|\b(?:annees|anni|anos|los)[ ]'?[6-9]0\b|\b[6-9]0年代|\b[6-9]\d\b"
)
FIELDS = {"first_lo": pl.Int32, "first_hi": pl.Int32, "last_lo": pl.Int32, "last_hi": pl.Int32, "purchase": pl.Boolean}


def stated_years(text: pl.Expr, words: MatchWords) -> pl.Expr:
    """Return the years plain text states, as a struct of ``FIELDS``.

    Args:
        text: Plain text without sizes and style numbers.
        words: Words that make a year one of repair or wear, and words of purchase.

    Returns:
        first and last year named, each as a range (a decade is ten years); NULL where none is;
        ``purchase``: they are years of purchase.
    """
    event, donor, bought = (
        "|".join(re.escape(word) for word in listed)
        for listed in (words.year.event, words.year.event_after, words.year.purchase)
    )
    kept = text.str.replace_all(rf"\b(?:{event})\b[^.!?;]{{0,24}}?\b{YEAR}\b", " ")
    kept = kept.str.replace_all(rf"\b{YEAR}[ -](?:{donor})\b", " ")
    found = kept.str.extract_all(STATED)
    first, last = found.list.first(), found.list.last()
    purchase = kept.str.contains(rf"(?:{bought})[^.!?;]{{0,16}}?{YEAR}|{YEAR}[^.!?;]{{0,10}}(?:{bought})")
    return pl.struct(
        first_lo=_first(first),
        first_hi=_first(first) + _more(first),
        last_lo=_first(last),
        last_hi=_first(last) + _more(last),
        purchase=purchase,
    )


def _first(found: pl.Expr) -> pl.Expr:
    digits = found.str.extract(r"(\d+)").cast(pl.Int32, strict=False)
    century = pl.when(digits >= 1000).then(0).when(digits >= 60).then(1900).otherwise(2000)
    return digits + century


def _more(found: pl.Expr) -> pl.Expr:
    decade = found.str.contains(r"s$|er$|ern$|年代$|^(?:annees|anni|anos|los)")
    return pl.when(decade).then(9).otherwise(0)
