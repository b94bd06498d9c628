"""Style numbers: the keys a release is found by, and the numbers that texts quote."""

import polars as pl

from triage.match.text import plain

# Up to four letters, digits in one to three groups, up to two letters: the families of style numbers in use.
# The letters o, i, l, s and b may stand where a digit was printed.
NUMBER = r"\b[a-z]{0,4}[ ./-]?[0-9o][0-9oilsb]{0,5}(?:[ ./-][0-9oilsb]{2,4}){0,2}(?:[ ./-]?[a-z]{1,2})?\b"
WORD_AND_YEAR = r"\b[a-z]+ (?:19|20)\d\d\b"  # "mini 1988" is no number, whatever numbers start with
LOOKALIKES = {"o": "0", "i": "1", "l": "1", "s": "5", "b": "8"}
STRENGTHS = ("exact", "partial", "stem")


def bare(code: pl.Expr) -> pl.Expr:
    """Return a style number without separators."""
    return code.str.replace_all("[^a-z0-9]", "")


def grouped(code: pl.Expr) -> pl.Expr:
    """Return a style number as groups of letters and digits without leading zeros: ``hdn-00-0914`` is ``hdn.0.914``."""
    groups = code.str.extract_all(r"[a-z]+|[0-9]+").list.join(".")
    return groups.str.replace_all(r"(^|\.)0+([0-9])", "$1$2")


def lookalike(code: pl.Expr) -> pl.Expr:
    """Return a bare style number with every letter that can be misread for a digit written as the digit."""
    return code.str.replace_many(LOOKALIKES)


def code_keys(releases: pl.DataFrame) -> pl.DataFrame:
    """Return key, row, strength: what a style number is found by.

    Zeros may be dropped at the head of a group, the maker's letters or the last group may be left out, and
    letters may stand for digits. A key that several releases share identifies none and is left out.

    Args:
        releases: row, style_numbers.
    """
    given = releases.select("row", code="style_numbers").explode("code").drop_nulls()
    low = given.with_columns(plain(pl.col("code")))
    whole, parts = bare(pl.col("code")), grouped(pl.col("code"))
    letterless, parts_letterless = whole.str.replace(r"^[a-z]+", ""), parts.str.replace(r"^[a-z]+\.", "")
    stem = bare(pl.col("code").str.replace(r"[^a-z0-9][a-z0-9]+$", "")).str.replace(r"(\d)[a-z]+$", "$1")
    enough = whole.str.count_matches(r"\d") >= 5
    ways = [
        (whole, "exact", pl.lit(True)),
        (parts, "exact", pl.lit(True)),
        (lookalike(whole), "partial", pl.lit(True)),
        (letterless, "partial", enough),
        (parts_letterless, "partial", enough),
        (stem, "stem", stem.str.count_matches(r"\d") >= 4),
    ]
    keys = pl.concat(
        low.filter(when).select("row", key=way, strength=pl.lit(strength), rank=pl.lit(rank))
        for rank, (way, strength, when) in enumerate(ways)
    )
    first = keys.sort("rank", "row").unique(["row", "key"], keep="first", maintain_order=True)
    best = first.filter(pl.col("rank") == pl.col("rank").min().over("key"))
    return best.filter(pl.col("row").n_unique().over("key") == 1).select("key", "row", "strength").sort("key")


def code_prefixes(releases: pl.DataFrame) -> list[str]:
    """Return the letters that style numbers of the table start with."""
    codes = releases.select(code="style_numbers").explode("code").drop_nulls()
    letters = codes.select(bare(plain(pl.col("code"))).str.extract(r"^([a-z]{1,4})\d")).to_series()
    return sorted(letters.drop_nulls().unique().to_list())


def without_codes(text: pl.Expr, prefixes: list[str]) -> pl.Expr:
    """Take out of plain text what is shaped like a style number, so that its digits are read as nothing else."""
    shapes = [r"\b\d{2,6}[./]\d{2,4}\b", r"\b\d{2,6}-\d{3,4}\b"]
    if prefixes:
        letters = "|".join(prefixes)
        # A digit there must be: without one, "juk olil" would be a number.
        head = rf"\b(?:{letters})(?:[./-][oilsb]{{1,2}}[./-])?[ ./-]?o?[0-9][0-9oilsb]{{0,5}}"
        shapes.insert(0, rf"{head}(?:[ ./-][0-9oilsb]{{2,4}}){{0,2}}[a-z]?\b")
    return text.str.replace_all(f"({WORD_AND_YEAR})|{'|'.join(shapes)}", "$1 ")


def quoted(texts: pl.DataFrame, keys: pl.DataFrame, prefixes: list[str]) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Return the style numbers that texts quote.

    Args:
        texts: item, text (plain).
        keys: As ``code_keys`` returns them.
        prefixes: Letters that numbers of the table start with.

    Returns:
        item, row, strength, word for the numbers of the table, the strongest a release; and item, word for
        those shaped like the table's that stand in no row, of texts that quote none of the table's.
    """
    spans = texts.select("item", span=pl.col("text").str.extract_all(NUMBER)).explode("span")
    spans = spans.with_columns(pl.col("span").str.strip_chars(" ./-"))
    spans = spans.filter(pl.col("span").str.count_matches(r"\d") >= 3)
    distinct = spans.select("span").unique()
    hits = _ways(distinct).join(keys, on="key").unique(["span", "row", "strength"])
    order = pl.col("strength").replace_strict(STRENGTHS, range(len(STRENGTHS)), return_dtype=pl.Int8)
    found = spans.join(hits, on="span").with_columns(order=order).sort("item", "row", "order", "span")
    found = found.unique(["item", "row"], keep="first", maintain_order=True)
    found = found.select("item", "row", "strength", word="span")
    letters = bare(pl.col("span")).str.extract(r"^([a-z]+)\d")
    shaped = distinct.filter(letters.is_in(prefixes) & (pl.col("span").str.count_matches(r"\d") >= 4))
    shaped = shaped.filter(~pl.col("span").str.contains(f"^{WORD_AND_YEAR}"))
    stray = spans.join(shaped, on="span", how="semi").join(found, on="item", how="anti")
    return found, stray.select("item", word="span").unique().sort("item", "word")


def _ways(spans: pl.DataFrame) -> pl.DataFrame:
    """Return span, key for every way to read a span: whole, without its last or first group or last letters."""
    span = pl.col("span")
    tails = (span, span.str.replace(r"[ ./-]?[a-z]{1,2}$", ""))
    cuts = [
        cut
        for tail in tails
        for cut in (
            tail,
            tail.str.replace(r"[ ./-][0-9oilsb]+(?:[ ./-]?[a-z]{1,2})?$", ""),
            tail.str.replace(r"^[a-z]*[ ./-]?[0-9oilsb]*[ ./-]", ""),
        )
    ]
    reads = pl.concat(spans.select("span", cut=cut) for cut in cuts).unique()
    forms = (bare(pl.col("cut")), grouped(pl.col("cut")), lookalike(bare(pl.col("cut"))))
    return pl.concat(reads.select("span", key=form) for form in forms).unique()
