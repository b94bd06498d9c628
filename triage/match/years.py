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


def stated_years(texts: pl.DataFrame, words: MatchWords) -> pl.DataFrame:
    """Return the years plain texts state.

    Args:
        texts: item, text (plain, without sizes and style numbers).
        words: Words that make a year one of repair or wear, and words of purchase.

    Returns:
        item and ``FIELDS`` for the texts that state a year: the first and the last one named, each as a range
        (a decade is ten years), and whether they are years of purchase.
    """
    text, event = pl.col("text"), words.year.event
    dated = texts.filter(text.str.contains(r"\d\d"))
    # Few texts speak of repair, wear or purchase, and only those need the slow patterns.
    about = dated.select(
        said=text.str.contains_any([*event, *words.year.event_after, *words.year.purchase])
    ).to_series()
    spoken = dated.filter(about).with_columns(text=_without_events(text, words), purchase=_bought(text, words))
    silent = dated.filter(~about).with_columns(purchase=pl.lit(False))
    found = pl.concat([spoken, silent]).with_columns(found=text.str.extract_all(STATED))
    first, last = pl.col("found").list.first(), pl.col("found").list.last()
    years = found.filter(pl.col("found").list.len() > 0).select(
        "item",
        first_lo=_first(first),
        first_hi=_first(first) + _more(first),
        last_lo=_first(last),
        last_hi=_first(last) + _more(last),
        purchase="purchase",
    )
    return years.cast(FIELDS).sort("item")  # type: ignore[arg-type]


def _without_events(text: pl.Expr, words: MatchWords) -> pl.Expr:
    event, donor = _either(words.year.event), _either(words.year.event_after)
    kept = text.str.replace_all(rf"\b(?:{event})\b[^.!?;]{{0,24}}?\b{YEAR}\b", " ")
    return kept.str.replace_all(rf"\b{YEAR}[ -](?:{donor})\b", " ")


def _bought(text: pl.Expr, words: MatchWords) -> pl.Expr:
    bought = _either(words.year.purchase)
    return text.str.contains(rf"(?:{bought})[^.!?;]{{0,16}}?{YEAR}|{YEAR}[^.!?;]{{0,10}}(?:{bought})")


def _either(words: list[str]) -> str:
    return "|".join(re.escape(word) for word in words)


def _first(found: pl.Expr) -> pl.Expr:
    digits = found.str.extract(r"(\d+)").cast(pl.Int32, strict=False)
    century = pl.when(digits >= 1000).then(0).when(digits >= 60).then(1900).otherwise(2000)
    return digits + century


def _more(found: pl.Expr) -> pl.Expr:
    decade = found.str.contains(r"s$|er$|ern$|年代$|^(?:annees|anni|anos|los)")
    return pl.when(decade).then(9).otherwise(0)
