"""Size texts in one plain form: "Größe: UK 9½ / US 10 D" becomes "@UK=9.5 / @US=10"."""

import polars as pl

from triage.catalogue.words import SizeWords
from triage.listing.phrases import whole

NUMBER = r"\d{1,3}(?:\.\d{1,3})?"
MARK = "@[A-Z/-]+"
ANY = "S"  # a word for size that names no system
WIDE_OR_WOMEN = "W"  # a W behind a number: wide, or women's
ADULT_EU = r"(?:3[5-9]|4\d)"


def plain_size(text: pl.Expr, words: SizeWords, in_cell: bool) -> pl.Expr:
    """Return a size text with ``@SYSTEM=number`` for every size whose system is beside it.

    Args:
        text: Size cell or title.
        words: Size systems and the words around sizes.
        in_cell: The text is a size cell, where a country's code or a letter speaks of sizes.
    """
    text = _decimals(text.str.replace_all(r"(?i)\bn\.?º", "n°"), words)
    text = text.str.replace_all(r"\b(\d0)er\s?jahre\b", " ").str.replace_all(
        rf"\b({ADULT_EU}(?:\.5)?)er\b", f"@{ANY} $1 "
    )
    text = text.str.replace_all(rf"\(?(?:{whole(words.felt.words)})[^/;,]*", " ")
    glued = "|".join(sorted({word.replace(".", r"\.") for word in words.markers.glued}, key=len, reverse=True))
    text = text.str.replace_all(rf"(^|[\s(,;/])(?:{glued})\s?(\d)", f"${{1}}@{ANY} $2")
    for name in sorted(words.systems, key=lambda system: (-len(system), system)):
        listed = words.systems[name].words + (words.systems[name].cell_words if in_cell else [])
        if listed:
            text = text.str.replace_all(rf"(?:{whole(listed)})(?:\s?:)?", f" @{name} ")
    if in_cell:
        text = text.str.replace_all(r"(^|[\s/(,])m\s?(\d)", "$1@US $2").str.replace_all(
            r"(^|[\s/(,])w\s?(\d)", "$1@US-W $2"
        )
    markers = whole([*words.markers.words, *words.men.words, *words.women.words])
    text = text.str.replace_all(rf"(?:{markers})\s?[:.]?\s*(\d|@)", f" @{ANY} $1")
    return _bound(_without_widths(text.str.replace_all(r"\s+", " ")).str.strip_chars()).str.strip_chars()


def _decimals(text: pl.Expr, words: SizeWords) -> pl.Expr:
    """Write fractions and halves as decimals, and part numbers from the letters that touch them."""
    for sign, fraction in (("½", "1/2"), ("⅓", "1/3"), ("⅔", "2/3"), ("¼", "1/4"), ("¾", "3/4")):
        text = text.str.replace_all(sign, f" {fraction}", literal=True)
    return (
        text.str.normalize("NFKC").str.to_lowercase().str.replace_all("[’`´]", "'").str.replace_all("[〜～~]", "-")
        .str.replace_all(r"(\d)(us|uk|eur?|jp|gs|cm|mm)", "$1 $2 ")
        .str.replace_all(r"\b(us|uk|eur?|jp|fr|it|de|mp)(\d)", "$1 $2")
        .str.replace_all(r"(\d)\s*[-&+]?\s*\b1/2\b", "$1.5")
        .str.replace_all(r"(\d)\s*[-&+]?\s*\b1/3\b", "$1.333").str.replace_all(r"(\d)\s*[-&+]?\s*\b2/3\b", "$1.667")
        .str.replace_all(r"\b(\d{1,2}),(\d)\b", "$1.$2")
        .str.replace_all(rf"(\d)\s?(?:h\b|{whole(words.half.words)})", "$1.5")
        .str.replace_all(r"\b\d{1,3}(?:\.\d)?\s?(?:\"|''|in\b|inch\b|inches\b|zoll\b|c\b)", " ")
        .str.replace_all(r"(\d)\s?y\b", "$1 us y ")
    )  # fmt: skip


def _without_widths(text: pl.Expr) -> pl.Expr:
    """Take widths away (9.5D, 10 2E, 8.5 G); a W may be wide or women's, an M is a men's size of medium width."""
    letters = r"[2-6]e|e{2,4}|a{2,4}|[abd-eghk]|xw|ww|wide|narrow|weit|schmal"
    return (
        text.str.replace_all(rf"({NUMBER})\s?-?\s?(?:{letters})\b", "$1")
        .str.replace_all(rf"({NUMBER})\s?m\b", "$1")
        .str.replace_all(rf"@US ({NUMBER})\s?w\b", f"@{WIDE_OR_WOMEN}=$1 ")
        .str.replace_all(rf"@(EU|UK) ({NUMBER})\s?w\b", "@$1 $2")
        .str.replace_all(rf"({NUMBER})\s?w\b", f"@{WIDE_OR_WOMEN}=$1 ")
    )


def _bound(text: pl.Expr) -> pl.Expr:
    """Bind each system to the number it belongs to: before it where it can, else after it."""
    return (
        text.str.replace_all(rf"@{ANY}\s*@", "@")
        .str.replace_all(rf"@{ANY} ({NUMBER}) ?(@(?:EU|UK|US|JP|MONDO))", "$1 $2")
        # "9 @UK 10 @US": every system stands behind its number
        .str.replace_all(
            rf"(^|[\s(])(\d{{1,2}}(?:\.\d+)?) ?({MARK}) ?[,/(]? ?(\d{{1,2}}(?:\.\d+)?) ?({MARK})( [^\d@]|$|[,)/])",
            "${1}${3}=${2} ${5}=${4} ${6}",
        )
        .str.replace_all(rf"({MARK}) ?:? ?({NUMBER})([^\d.]|$)", "$1=$2 $3")
        .str.replace_all(rf"(^|[^=\d.])({NUMBER}(?:\s?[-/]\s?{NUMBER})?) ?({MARK})(\s|[,)/;.]|$)", "${1}${3}=${2} ${4}")
        .str.replace_all(r"\s+", " ")
    )


def title_sizes(titles: pl.DataFrame, words: SizeWords) -> pl.DataFrame:
    """Return the sizes each title states, in plain form; titles without one are left out.

    A whole number of 35 to 49 with no word of size counts only at the end or before a word that follows sizes; a
    size must never be taken for a model number.

    Args:
        titles: ``row, title``.
        words: Size systems and the words around sizes.

    Returns:
        ``row, plain``.
    """
    stated = rf"{MARK}=\d{{1,2}}(?:\.\d+)?(?:\s?[-/&]\s?\d{{1,2}}(?:\.\d+)?)?(?:\s|[,)/;.!\]】]|$)|@MONDO=2\d\d"
    half = rf"(?:^|\s|[,(])({ADULT_EU}\.(?:5|333|667)|2[2-9]\.5|3[01]\.5)(?:$|[\s,)!])"
    number = rf"(?:^|\s|[,(])({ADULT_EU}(?:\s?[-/]\s?{ADULT_EU})?)"
    follower = rf"{number}(?:[,!)]*\s*[,!|)(/-]?\s*)(?:$|(?:{whole(words.followers.words)})(?:\s|$|[,.!]))"
    texts = titles.filter(pl.col("title").str.contains(r"\d|[½⅓⅔]")).with_columns(
        text=plain_size(pl.col("title"), words, in_cell=False)
    )
    marked = texts.filter(pl.col("text").str.contains("@", literal=True)).with_columns(
        plain=pl.col("text").str.extract_all(stated).list.join(" / ")
    )
    marked = marked.filter(pl.col("plain") != "")
    bare = texts.join(marked, on="row", how="anti").filter(pl.col("text").str.contains(r"3[5-9]|4\d|\d\.5"))
    # "womens Morrivelle 8.5": a half behind the word for whom is a size, whatever the system
    gendered = rf"(?:{whole([*words.men.words, *words.women.words])})"
    for_whom = pl.when(pl.col("text").str.contains(gendered)).then(
        pl.col("text").str.extract(r"(?:^|\s)((?:[3-9]|1[0-5])\.5)(?:$|[\s,)!])", 1)
    )
    plain = pl.coalesce(pl.col("text").str.extract(half, 1), pl.col("text").str.extract(follower, 1), for_whom)
    bare = bare.with_columns(plain=plain)
    return pl.concat([marked, bare.filter(pl.col("plain").is_not_null())]).select("row", "plain")
