"""Phrase books: which of many phrases stand in a text, the longest at each place, whole words only."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import lru_cache

import polars as pl

# Lists of words whose patterns are kept: all of ``rules/words``, and again as many.
PATTERNS = 512
# A script without blanks between words: its phrases may begin and end anywhere.
UNSPACED = r"[\p{Hiragana}\p{Katakana}\p{Han}\p{Hangul}]"


@dataclass(frozen=True)
class Phrase:
    """A phrase, what it means, and the language it belongs to."""

    words: str
    meaning: str
    language: str = ""


@dataclass(frozen=True)
class Phrasebook:
    """Phrases as they stand in a spaced text, longest first, and the bits of what they mean."""

    patterns: list[str]
    bits: list[int]
    meanings: dict[str, int]
    fillers: list[str]


# Signs that NFKC changes and that stand in listings; looking for them is cheaper than normalising every text.
COMPATIBLE = (
    r"[\u00a0\u00aa\u00b2\u00b3\u00b5\u00b9\u00ba\u00bc-\u00be\u0300-\u036f\u1100-\u11ff\u2000-\u200a\u2024-\u2026\u202f"
    r"\u205f\u2070-\u209f\u20a8\u2100-\u218b\u2460-\u24ff\u2e80-\u2fdf\u3000\u3099-\u309f\u3131-\u318e\u3200-\u33ff"
    r"\uf900-\ufaff\ufb00-\ufb4f\ufe30-\uffef]"
)


def compatible(texts: pl.Series) -> pl.Series:
    """Return texts in Unicode form NFKC; those without a sign that it changes are left as they are."""
    # None of the signs is in ASCII, and to count is quicker than to look.
    strange = (texts.str.len_bytes() != texts.str.len_chars()).arg_true()
    places = strange.gather(texts.gather(strange).str.contains(COMPATIBLE).arg_true())
    if places.is_empty():
        return texts
    return texts.scatter(places, texts.gather(places).str.normalize("NFKC"))


def spaced(text: pl.Expr) -> pl.Expr:
    """Return a text in form NFKC in lower case, with a blank of its own on either side of every word.

    "Never worn. New soles" becomes " never  worn  ¶  new  soles ": two phrases side by side do not
    have to share a blank, and no phrase runs across the end of a sentence (¶).
    """
    words = (
        text.str.to_lowercase()
        .str.replace_all(r"[.!?;。\n]+", "¶")
        .str.replace_all(r"[^\p{L}\p{M}\p{N}¶]+", "  ")
        .str.replace_all("¶", "  ¶  ", literal=True)
    )
    return pl.concat_str(pl.lit(" "), words, pl.lit(" "))


def each_once(texts: pl.Series, work: Callable[[pl.Expr], pl.Expr]) -> pl.Series:
    """Return what is made of texts, worked out once for each different one: sellers tell the same of many pairs."""
    forms = texts.unique().to_frame("text").with_columns(made=work(pl.col("text")))
    return texts.to_frame("text").join(forms, on="text", how="left", nulls_equal=True, maintain_order="left")["made"]


def without(key: pl.Expr, fillers: list[str]) -> pl.Expr:
    """Return a spaced text without the filler words."""
    return key.str.replace_many(fillers, [""] * len(fillers), leftmost=True) if fillers else key


def book(phrases: Iterable[Phrase], fillers: Iterable[str] = ()) -> Phrasebook:
    """Return a phrase book; a phrase with several meanings has the bits of all of them.

    Args:
        phrases: The phrases.
        fillers: Words that are left out of phrases and texts alike.
    """
    listed = list(phrases)
    spaces = book([Phrase(word, "") for word in fillers]).patterns if fillers else []
    meanings = {name: 1 << place for place, name in enumerate(sorted({p.meaning for p in listed}))}
    table = pl.DataFrame(
        {"words": [p.words for p in listed], "bit": [meanings[p.meaning] for p in listed]},
        schema={"words": pl.String, "bit": pl.Int64},
    )
    keys = (
        table.with_columns(compatible(table["words"]))
        .with_columns(key=without(spaced(pl.col("words")), spaces).str.strip_chars(" "))
        .filter(pl.col("key") != "")
        .with_columns(
            key=pl.when(pl.col("key").str.contains(UNSPACED))
            .then("key")
            .otherwise(pl.concat_str(pl.lit(" "), "key", pl.lit(" ")))
        )
        .group_by("key")
        .agg(pl.col("bit").bitwise_or())
        .sort(pl.col("key").str.len_chars(), "key", descending=[True, False])
    )
    return Phrasebook(keys["key"].to_list(), keys["bit"].to_list(), meanings, spaces)


def phrase_bits(texts: pl.DataFrame, column: str, phrases: Phrasebook) -> pl.DataFrame:
    """Return the meanings found in each spaced text.

    Args:
        texts: Columns ``row`` and ``column``, a text made by ``spaced``.
        column: Name of the text column.
        phrases: What to look for.

    Returns:
        ``row`` and ``bits`` of the rows in which a phrase stands; other rows are left out.
    """
    text = without(pl.col(column), phrases.fillers)
    hits = text.str.extract_many(pl.lit(pl.Series(phrases.patterns, dtype=pl.String)).implode(), leftmost=True)
    return (
        texts.select("row", hit=hits)
        .filter(pl.col("hit").list.len() > 0)
        .explode("hit")
        .with_columns(bits=pl.col("hit").replace_strict(phrases.patterns, phrases.bits, return_dtype=pl.Int64))
        .group_by("row")
        .agg(pl.col("bits").bitwise_or())
    )


def has(bits: pl.Expr, phrases: Phrasebook, *meanings: str) -> pl.Expr:
    """Return whether any of the meanings is among the bits; FALSE where bits are NULL."""
    wanted = sum(phrases.meanings.get(name, 0) for name in meanings)
    return (bits.fill_null(0) & wanted) != 0


def folded_cell(cell: pl.Expr) -> pl.Expr:
    """Return a cell in the form in which whole cells are compared: NFKC, lower case, no outer blanks or marks."""
    return (
        cell.str.normalize("NFKC")
        .str.to_lowercase()
        .str.replace(r"^https?://schema\.org/", "")
        .str.replace_all(r"\s+", " ")
        .str.strip_chars(" .:!*")
    )


def folded_words(words: Iterable[str]) -> list[str]:
    """Return words in the form of ``folded_cell``."""
    return [*_folded(tuple(words))]


@lru_cache(PATTERNS)
def _folded(words: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(pl.select(folded_cell(pl.lit(pl.Series(list(words), dtype=pl.String)))).to_series().to_list())


def one_of(cell: pl.Expr, words: list[str]) -> pl.Expr:
    """Return whether a folded cell is one of the words; NULL where there is no cell."""
    return cell.is_in(folded_words(words))


def whole(words: Iterable[str]) -> str:
    """Return a pattern for any of the words, longest first, with edges where a spaced script needs them."""
    return _any_of(frozenset(words))


@lru_cache(PATTERNS)
def _any_of(words: frozenset[str]) -> str:
    return "|".join(_whole(word) for word in sorted(words, key=lambda word: (-len(word), word)))


def _whole(word: str) -> str:
    text = "".join(f"\\{sign}" if sign in r"\.+*?()|[]{}^$-#&~" else sign for sign in word)
    left = r"\b" if word[0].isalnum() and ord(word[0]) < 0x2E80 else ""
    right = r"\b" if word[-1].isalnum() and ord(word[-1]) < 0x2E80 else ""
    return f"{left}{text}{right}"
