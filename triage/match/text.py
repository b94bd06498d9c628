"""Text made plain: case, accents, scripts and sizes out of the way, then words."""

import re

import polars as pl

from triage.catalogue.matching import MatchWords

WORD = r"[0-9]+|\p{Latin}+|[\p{Katakana}ー]+|\p{Hiragana}+|\p{Han}+"
BREAK = "¦"  # where a clause ends: what stands after it continues no name
CLAUSE_END = r"[,;!?|()、。]"
STROKES = {
    "’": "'", "‘": "'", "´": "'", "`": "'", "–": "-", "—": "-", "‐": "-", "ø": "o", "ß": "ss", "æ": "ae", "ł": "l",
}  # fmt: skip


def plain(text: pl.Expr) -> pl.Expr:
    """Return text in one form: NFKC, lower case, Latin accents taken off, kana kept whole."""
    folded = text.fill_null("").str.normalize("NFKC").str.to_lowercase()
    bare = folded.str.normalize("NFD").str.replace_all("[\u0300-\u036f]", "").str.normalize("NFC")
    return bare.str.replace_many(STROKES)


def plain_texts(texts: pl.Series) -> pl.Series:
    """Return what ``plain`` makes of texts; of those in ASCII, which most are, only case and strokes are looked at."""
    low = texts.fill_null("").str.to_lowercase()
    strange = (low.str.len_bytes() != low.str.len_chars()).arg_true()
    low = low.str.replace_many(STROKES)
    if strange.is_empty():
        return low
    return low.scatter(strange, texts.gather(strange).to_frame("text").select(plain(pl.col("text"))).to_series())


def tokens(text: pl.Expr) -> pl.Expr:
    """Return the words of plain text as a list; letters, digits and scripts are split from each other."""
    return text.str.extract_all(WORD)


def clauses(text: pl.Expr) -> pl.Expr:
    """Return the words of plain text as a list, with ``BREAK`` between clauses."""
    return text.str.replace_all(CLAUSE_END, f" {BREAK} ").str.extract_all(f"{WORD}|{BREAK}")


def spaced(words: pl.Expr) -> pl.Expr:
    """Return a list of words as one text in which every word has a space of its own on both sides."""
    return pl.lit(" ") + words.list.join("  ") + pl.lit(" ")


def phrases(listed: dict[str, list[str]]) -> pl.DataFrame:
    """Return phrase, value for lists of phrases by value; a phrase as it stands in ``spaced`` text."""
    pairs = [(value, words) for value, entries in listed.items() for words in entries]
    frame = pl.DataFrame(pairs, schema={"value": pl.String, "words": pl.String}, orient="row")
    return frame.select("value", phrase=spaced(tokens(plain(pl.col("words"))))).unique().sort("phrase", "value")


def without_sizes(text: pl.Expr, words: MatchWords) -> pl.Expr:
    """Return plain text with marked sizes ("size 10", "UK 9", "43 EU", "9.5") taken out.

    A mark before a number binds first: in "Varghelle 16 US 10" the size is 10.
    """
    before = _either(words.size.before)
    after = _either(words.size.after)
    number = r"\d{1,3}(?:[.,]\d{1,2}|[ ]?1/2|½|[ ]\d/\d)?"
    both = rf"\b{number}[ ]?(?:{after})[ /]{{1,3}}{number}[ ]?(?:{after})\b"
    marked = rf"(?:\b(?:{before})[ .:]{{0,2}})+{number}(?:[ ]?(?:{after})\b|h\b|\b)"
    trailing = rf"\b{number}[ ]?(?:{after})\b"
    lone = r"\b\d{1,2}[.,]\d\b|\b\d{1,2}[ ]?(?:1/2|½)|\b\d{2}[ ]\d/\d\b|\b[34]\d/[34]\d\b|\b\d{1,2}h\b"
    return text.str.replace_all(f"{both}|{marked}", " ").str.replace_all(f"{trailing}|{lone}", " ")


def marks_size(text: pl.Expr, words: MatchWords) -> pl.Expr:
    """Return whether plain text marks a size before the number."""
    return text.str.contains(rf"\b(?:{_either(words.size.before)})[ .:]{{0,2}}\d")


def _either(words: list[str]) -> str:
    return "|".join(re.escape(word) for word in sorted(words, key=lambda word: (-len(word), word)))
