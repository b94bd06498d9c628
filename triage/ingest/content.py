"""Columns without headings: what a column holds, where its cells leave no other reading."""

import re
from collections.abc import Sequence

import polars as pl

UNNAMED = re.compile(r"^column \d+$")
_SAMPLE_ROWS = 500
_LEAST_ROWS = 5
# Nearly all cells must be of a kind; one listing in twenty is odd in any export.
_SHARE = 0.95
_CURRENCIES = "EUR|USD|GBP|JPY|CHF|SEK|NOK|DKK|PLN|CZK|HUF|RON|BGN|CAD|AUD|NZD|KRW|CNY|HKD|SGD|TWD|TRY|ISK"
_SIGN = rf"(?:[€$£¥]|zł|Kč|kr|Fr\.?|円|{_CURRENCIES})"
_AMOUNT = r"\d{1,3}(?:[.,' ]?\d{3})*(?:[.,]\d{1,2})?(?:,?-)?"
_PATTERNS = {
    "images": r"(?i)^\s*https?://\S+\.(?:jpe?g|png|webp|gif)\b",
    "url": r"(?i)^\s*https?://\S+$",
    "currency": rf"^\s*(?:{_CURRENCIES})\s*$",
    "price": rf"^\s*(?:{_SIGN}\s*{_AMOUNT}|{_AMOUNT}\s*{_SIGN})\s*$|^\s*\d+[.,]\d\d\s*$",
    "size": r"(?i)^\s*(?:(?:EU|US|UK) *\d\d?(?:[.,]5)?|\d\d?(?:[.,]5)? *(?:EU|US|UK|cm)|(?:3[4-9]|4\d)(?:[.,]5)?)\s*$",
    "listed_on": r"^\s*(?:\d{4}[-/.]\d\d[-/.]\d\d([T ].*)?|\d{1,2}[./]\d{1,2}[./]\d{4})\s*$",
    "external_id": r"^\s*[A-Za-z]{0,4}[-_#]?\d[\dA-Za-z_-]{2,}\s*$",
}  # fmt: skip
# A body is a text that runs on; a title is short and always there.
_TITLE_CHARACTERS = (6, 120)
_LONGER = 1.3
_DISTINCT = 0.3


def fields_by_content(table: pl.DataFrame) -> dict[str, list[str]]:
    """Return the columns that could fill each listing field, by their cells alone.

    Args:
        table: Text columns; the first rows are judged.

    Returns:
        Listing field to columns; more than one is doubt.

    Source:
        Our judgement.
    """
    sample = table.head(_SAMPLE_ROWS).fill_null("")
    claims: dict[str, list[str]] = {}
    if sample.height < _LEAST_ROWS:
        return claims
    texts = []
    for name in sample.columns:
        filled = sample[name].filter(sample[name].str.strip_chars() != "")
        field = _kind(filled, sample.height)
        if field:
            claims.setdefault(field, []).append(name)
        elif _is_prose(filled):
            texts.append(name)
    return claims | _titles(sample.select(texts))


def _kind(filled: pl.Series, rows: int) -> str | None:
    """Return the first field whose pattern nearly all filled cells of a column have."""
    if len(filled) < 0.5 * rows:
        return None
    for field, pattern in _PATTERNS.items():
        if int(filled.str.contains(pattern).sum()) >= _SHARE * len(filled):
            # An id is one listing's own: a code that repeats is something else.
            return field if field != "external_id" or filled.n_unique() == rows else None
    return None


def _is_prose(filled: pl.Series) -> bool:
    """Tell whether cells are words in a row, mostly different ones; Japanese has no blanks between words."""
    if filled.is_empty() or filled.n_unique() < _DISTINCT * len(filled):
        return False
    several = filled.str.contains(r"\S\s+\S|[\p{Han}\p{Hiragana}\p{Katakana}]{5}")
    return int(several.sum()) >= 0.8 * len(filled)


def _titles(texts: pl.DataFrame) -> dict[str, list[str]]:
    """Return which text column is the title and which the body; what is not clear is claimed by both."""
    length = {name: _mean_length(texts[name]) for name in texts.columns}
    full = [name for name in texts.columns if int((texts[name].str.strip_chars() != "").sum()) == texts.height]
    names: Sequence[str] = sorted(texts.columns, key=lambda name: length[name])
    low, high = _TITLE_CHARACTERS
    if len(names) == 1 and names == full and low <= length[names[0]] <= high:
        return {"title": [names[0]]}
    if len(names) == 2 and names[0] in full and low <= length[names[0]] <= high:
        longer = length[names[1]] >= _LONGER * length[names[0]]
        if longer or names[1] not in full:
            return {"title": [names[0]], "body": [names[1]]}
    return {"title": list(names)} if names else {}


def _mean_length(column: pl.Series) -> float:
    lengths = [int(length) for length in column.str.len_chars() if length]
    return sum(lengths) / max(1, len(lengths))
