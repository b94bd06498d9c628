"""One plain spelling for sellers' text, and the way back from it to the characters they typed.

Lower case, no accents, one kind of space. Every character stays one character, so that a position in
the plain text is a position in the text; the few texts where Unicode folding changes the count
(ligatures, half-width kana, combining marks) are folded cluster by cluster and carry their own map.
"""

import unicodedata

import polars as pl

ASCII_BREAKS = "[!-/:-@\\[-`{-~]"
SYMBOLS = r"[\x{2000}-\x{2bff}\x{3030}\x{fe00}-\x{fe0f}\x{1f000}-\x{1faff}]"
# Characters that stay one character; whatever else is in a text sends it the long way round.
PLAIN = (
    r"^[\x00-\x7f\u{a0}-\u{ff}\u{100}-\u{12f}\u{131}-\u{148}\u{14a}-\u{17f}\u{2010}-\u{2027}\u{2030}-\u{205e}"
    r"\u{20ac}\u{2190}-\u{2bff}\u{3000}-\u{3098}\u{309b}-\u{30ff}\u{4e00}-\u{9fff}\u{ff01}-\u{ff5e}"
    r"\u{1f300}-\u{1faff}]*$"
)
CLUSTER_TAIL = r"[\p{M}\u{ff9e}\u{ff9f}]"


def _spellings() -> dict[str, str]:
    """Return the one-to-one spellings: accents off, wide to narrow, every quote, dash and space to one."""
    table = {chr(code): chr(code - 0xFEE0).lower() for code in range(0xFF01, 0xFF5F)}
    for code in [*range(0xC0, 0x180), *range(0x1E00, 0x1F00)]:
        bare = "".join(c for c in unicodedata.normalize("NFKD", chr(code).lower()) if not unicodedata.combining(c))
        if len(bare) == 1 and bare.isascii():
            table[chr(code)] = bare
    table |= {"ß": "s", "ø": "o", "Ø": "o", "æ": "a", "œ": "o", "Œ": "o", "Æ": "a", "ł": "l", "đ": "d", "ı": "i"}
    table |= dict.fromkeys("‘’‚‛′´", "'") | dict.fromkeys("“”„‟«»″", '"') | dict.fromkeys("‐‑‒–—―−", "-")
    table |= dict.fromkeys("\u00a0\u2000\u2009\u200a\u202f\u205f\u3000", " ") | {"…": ".", "¿": " ", "¡": " "}
    return table


SPELLINGS = _spellings()
_BREAKS = str.maketrans({chr(code): " " for code in range(128) if not chr(code).isalnum()})
_SPELT = str.maketrans(SPELLINGS)


def spell(text: str) -> str:
    """Return the plain spelling of a word of the vocabulary, breaks turned into spaces."""
    return unicodedata.normalize("NFKC", text).lower().translate(_SPELT).translate(_BREAKS)


def plain(text: pl.Expr) -> pl.Expr:
    """Return the plain spelling, punctuation kept; character for character for a text that is PLAIN."""
    spelt = text.str.to_lowercase().str.replace_many(list(SPELLINGS), list(SPELLINGS.values()))
    return spelt.str.replace_all(SYMBOLS, " ")


def bare(spelt: pl.Expr) -> pl.Expr:
    """Return plain text with every ASCII punctuation mark turned into a space; bytes stay in place."""
    return spelt.str.replace_all(ASCII_BREAKS, " ")


def clusters(texts: pl.DataFrame) -> pl.DataFrame:
    """Return texts (sid, text) cluster by cluster: the plain piece, and where it came from.

    Returns:
        sid, piece, at (position of the cluster in the text, characters), size (characters typed).
    """
    letters = (
        texts.select("sid", letter=pl.col("text").str.split(""))
        .explode("letter", empty_as_null=False)
        .with_columns(at=pl.int_range(pl.len()).over("sid"))
        .with_columns(head=(~pl.col("letter").str.contains(CLUSTER_TAIL)).cast(pl.Int64).cum_sum().over("sid"))
    )
    pieces = letters.group_by("sid", "head", maintain_order=True).agg(
        piece=pl.col("letter").str.join(""), at=pl.col("at").first(), size=pl.len()
    )
    return pieces.with_columns(piece=plain(pl.col("piece").str.normalize("NFKC"))).drop("head")
