"""Texts: HTML taken out, mojibake repaired, cut descriptions marked, the language judged by its words."""

from html.entities import html5

import ftfy
import polars as pl

from triage.catalogue.words import CutWords, LanguageWords
from triage.listing.phrases import Phrase, Phrasebook, book, whole

# Pairs that UTF-8 read as cp1252 or Latin-1 leaves behind; only texts with one of them are looked at.
MOJIBAKE = r"[ÃÂâãåæç][\u0080-\u00bf€‚ƒ„…†‡ˆ‰Š‹ŒŽ‘’“”•–—˜™š›œžŸ]|ï¿½|\x{fffd}"
FIXES = ftfy.TextFixerConfig(uncurl_quotes=False, normalization="NFC", unescape_html=False, fix_character_width=False)
NAMED = {f"&{name}": sign for name, sign in html5.items() if name.endswith(";")}
LANGUAGE_SAMPLE = 300  # characters; more do not change the vote and cost time


def clean(text: pl.Expr) -> pl.Expr:
    """Return a text without HTML, entities as signs, line ends kept, blanks joined."""
    return (
        text.str.replace_all(r"(?is)<(script|style)\b.*?</(script|style)>", " ")
        .str.replace_all(r"(?i)<\s*(?:br|/p|/div|/li|/tr|/h\d|p|li)\b[^>]*>", "\n")
        .str.replace_all(r"(?s)<!--.*?-->|</?[a-zA-Z][^<>]*>", "")
        .str.replace_all("\r\n?", "\n")
        .str.replace_all(r"[^\S\n]+", " ")
        .str.replace_all(r" ?\n[ \n]*", "\n")
        .str.strip_chars()
    )


def plain_texts(texts: pl.Series) -> pl.Series:
    """Return seller texts as plain text: only those with a mark of HTML, entities or mojibake are worked on.

    Args:
        texts: Strings, NULL allowed.

    Returns:
        The same number of strings; empty ones are NULL.
    """
    frame = pl.DataFrame({"text": texts}).with_row_index("row")
    wild = frame.filter(pl.col("text").str.contains(r"<|&|\s{2}|[\r\n\t]|^\s|\s$|" + MOJIBAKE))
    if wild.is_empty():
        return texts
    tamed = wild.with_columns(text=pl.Series(_repaired(wild["text"]), dtype=pl.String))
    tamed = tamed.with_columns(text=clean(_unescaped(clean(pl.col("text")), tamed["text"])))
    return (
        frame.join(tamed, on="row", how="left", suffix="_plain", maintain_order="left")
        .select(text=pl.when(pl.col("row").is_in(wild["row"].implode())).then("text_plain").otherwise("text"))
        .select(pl.when(pl.col("text") != "").then("text"))
        .to_series()
    )


def _repaired(texts: pl.Series) -> pl.Series:
    """Return texts with mojibake undone; ftfy sees each different damaged text once."""
    damaged = texts.filter(texts.str.contains(MOJIBAKE)).unique()
    if damaged.is_empty():
        return texts
    mended = [ftfy.fix_text(text, config=FIXES) for text in damaged]
    return texts.replace(damaged, pl.Series(mended, dtype=pl.String))


def _unescaped(text: pl.Expr, samples: pl.Series) -> pl.Expr:
    """Return a text with the HTML entities that occur in the samples replaced by their signs."""
    found = (
        samples.str.extract_all(r"&(?:#\d{1,7}|#[xX][0-9a-fA-F]{1,6}|[A-Za-z][A-Za-z0-9]{1,31});")
        .explode()
        .drop_nulls()
    )
    signs = {entity: _sign(entity) for entity in found.unique().sort()}
    known = {entity: sign for entity, sign in signs.items() if sign}
    if not known:
        return text
    return text.str.replace_many(list(known), list(known.values()), leftmost=True)


def _sign(entity: str) -> str:
    if not entity.startswith("&#"):
        return NAMED.get(entity, "")
    digits = entity[2:-1]
    number = int(digits[1:], 16) if digits[0] in "xX" else int(digits)
    return chr(number) if 31 < number < 0xD800 or 0xDFFF < number < 0x110000 else " "


def is_cut(body: pl.Expr, words: CutWords) -> pl.Expr:
    """Return whether a description ends in mid-sentence: an ellipsis, "read more", a comma, a word that leads on."""
    more = whole(words.more)
    leads_on = whole(words.dangling)
    end = body.str.to_lowercase().str.slice(-40)
    return (
        end.str.contains(rf"(?:…|\.\.\.+|\[\.\.\.\]|\[…\])\W*(?:{more})?\W*$")
        | end.str.contains(r"[,\-–(/&]$")
        | end.str.contains(rf"[\s](?:{leads_on})$")
    ).fill_null(False)


def language_book(words: LanguageWords) -> Phrasebook:
    """Return the words that vote for a language; a word of two languages votes for both."""
    return book(Phrase(word, language) for language, listed in words.words.items() for word in listed)


def languages(keys: pl.DataFrame, votes: Phrasebook, margin: int) -> pl.DataFrame:
    """Return the language of each listing as ISO 639-1 code, NULL where the words do not decide.

    Japanese is known by its kana; the others by counting words.

    Args:
        keys: ``row, title_key, body_key``, texts made by ``spaced``.
        votes: Words that vote.
        margin: Votes by which the first must lead the second.

    Returns:
        ``row, judged``.
    """
    sample = pl.concat_str("title_key", pl.col("body_key").str.slice(0, LANGUAGE_SAMPLE))
    texts = keys.select("row", sample=sample).with_columns(
        japanese=pl.col("sample").str.contains(r"[\p{Hiragana}\p{Katakana}]")
    )
    counted = (
        texts.filter(~pl.col("japanese"))
        .select("row", hit=pl.col("sample").str.extract_many(votes.patterns, leftmost=True))
        .filter(pl.col("hit").list.len() > 0)
        .explode("hit")
        .with_columns(bits=pl.col("hit").replace_strict(votes.patterns, votes.bits, return_dtype=pl.Int64))
        .group_by("row")
        .agg([((pl.col("bits") & bit) != 0).sum().alias(language) for language, bit in votes.meanings.items()])
    )
    names = list(votes.meanings)
    judged = (
        counted.with_columns(most=pl.max_horizontal(names))
        .with_columns(
            leaders=pl.sum_horizontal([(pl.col(name) + margin > pl.col("most")).cast(pl.Int32) for name in names]),
            language=pl.coalesce([pl.when(pl.col(name) == pl.col("most")).then(pl.lit(name)) for name in names]),
        )
        .filter((pl.col("most") > 0) & (pl.col("leaders") == 1))
        .select("row", "language")
    )
    return texts.join(judged, on="row", how="left", maintain_order="left").select(
        "row", judged=pl.when("japanese").then(pl.lit("ja")).otherwise("language")
    )
