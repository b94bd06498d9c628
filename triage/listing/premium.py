"""A buyer's premium: the share of the price that a marketplace adds, from its own column or from the text."""

import polars as pl

from triage.catalogue.words import MoneyWords, PremiumWords
from triage.listing.money import read_prices
from triage.listing.phrases import compatible, folded_cell, one_of, whole

PERCENT = r"\d{1,2}(?:[.,]\d{1,3})?\s?%"
RATE = r"(\d{1,2}(?:[.,]\d{1,3})?)\s?%"
ANOTHER = rf"(?:\s?(?:\p{{L}}+|[-–/])\s?{PERCENT})?"  # "18 % or 20 %"
SHOWN = 120  # characters of a text that a refusal shows
REFUSALS = {
    "no-percentage": "a percentage such as 18 %, or an amount beside a fixed price in the same currency",
    "several-premiums": "one percentage for the buyer's premium",
    "premium-before-tax": "a percentage with its tax included",
}


def read_premiums(cells: pl.DataFrame, words: MoneyWords) -> pl.DataFrame:
    """Return the buyer's premium of each row; the column counts before the text.

    Args:
        cells: ``row, premium`` (column), ``title, body`` (plain text), ``minor, code, kind`` of the price,
            ``ships_from`` and the feed settings.
        words: Words for the premium and for money.

    Returns:
        ``row, premium_rate`` (share of the price, 0.18 for 18 %; 0 where it is said that there is none; NULL where
        nothing is said), ``premium_value`` and ``premium_refusal`` (a key of ``REFUSALS``).
    """
    read = pl.concat([_from_column(cells, words), _from_text(cells, words.premium)])
    best = read.group_by("row", maintain_order=True).first()
    return cells.select("row").join(best, on="row", how="left", maintain_order="left")


def _from_column(cells: pl.DataFrame, words: MoneyWords) -> pl.DataFrame:
    stated = cells.filter(pl.col("premium").is_not_null()).with_columns(cell=folded_cell(pl.col("premium")))
    amounts = read_prices(
        stated.select(
            "row", price=pl.when(~pl.col("cell").str.contains(r"%|^[\d.,\s]*$")).then("premium"),
            currency=pl.lit(None, pl.String), price_kind=pl.lit(None, pl.String), ships_from="ships_from",
            set_currency=pl.coalesce("code", "set_currency"), set_country="set_country", set_decimal="set_decimal",
        ),
        words,
    ).select("row", amount="minor", amount_code="code")  # fmt: skip
    # an amount is a share only of a price that stays: a bid moves
    fixed = (pl.col("kind") == "fixed") & (pl.col("minor") > 0) & (pl.col("amount_code") == pl.col("code"))
    share = pl.when(fixed & (pl.col("amount") <= pl.col("minor"))).then(pl.col("amount") / pl.col("minor"))
    bare = pl.col("cell").str.extract(r"^0?[.,](\d{1,4})$")
    rate = (
        pl.when(one_of(pl.col("cell"), words.premium.none) | pl.col("cell").str.contains(r"^0+(?:[.,]0+)?$")).then(0.0)
        .when(bare.is_not_null()).then(pl.concat_str(pl.lit("0."), bare).cast(pl.Float64, strict=False))
        .when(pl.col("cell").str.count_matches("%") == 1).then(_share(pl.col("cell").str.extract(rf"^\D*{RATE}\D*$")))
        .otherwise(share)
    )  # fmt: skip
    taxed = pl.col("cell").str.contains(whole(words.premium.tax))
    return (
        stated.join(amounts, on="row", how="left", maintain_order="left")
        .with_columns(premium_rate=pl.when(~taxed).then(rate))
        .select(
            "row",
            "premium_rate",
            premium_value="premium",
            premium_refusal=pl.when(taxed).then(pl.lit("premium-before-tax"))
            .when(pl.col("premium_rate").is_null()).then(pl.lit("no-percentage")),
        )
    )  # fmt: skip


def _share(percent: pl.Expr) -> pl.Expr:
    return percent.str.replace(",", ".", literal=True).cast(pl.Float64, strict=False) / 100


def _from_text(cells: pl.DataFrame, words: PremiumWords) -> pl.DataFrame:
    curled = [word.replace("'", "’") for word in words.words]
    mentioned = pl.any_horizontal(
        pl.col(name).str.contains_any([*words.words, *curled], ascii_case_insensitive=True).fill_null(False)
        for name in ("title", "body")
    )
    some = cells.filter(mentioned).select(
        "row", text=pl.concat_str("title", "body", separator="\n", ignore_nulls=True).str.to_lowercase()
    )
    text = compatible(some["text"].str.replace_all("’", "'", literal=True)).str.replace_all(r"[^\S\n]+", " ")
    word, filler = whole(words.words), rf"(?:(?:{whole(words.filler)})\s?){{0,2}}"
    tax = rf"(?:[\s(,]*(?:{whole(words.tax)}))?"
    range_of = r"(?:\d+\s?[-–]\s?)?"
    stated = (
        rf"{range_of}{PERCENT}\s?{filler}(?:{word}){tax}|(?:{word})[\s:=(]*{filler}{range_of}{PERCENT}{ANOTHER}{tax}"
    )
    none = rf"(?:{whole(words.none_before)})\s(?:{word})|(?:{word})\s?(?:{whole(words.none_after)})"
    found = some.select(
        "row",
        quotes=text.str.extract_all(stated),
        none=text.str.contains(none),
    ).with_columns(
        rates=pl.col("quotes").list.join(" ").str.extract_all(PERCENT).list.unique().list.sort(),
        range=pl.col("quotes").list.join(" ").str.contains(r"\d\s?[-–]\s?\d"),
    )
    taxed = pl.col("quotes").list.join(" ").str.contains(whole(words.tax))
    several = pl.col("range") | ((pl.col("rates").list.len() + pl.col("none").cast(pl.UInt32)) > 1)
    refusal = pl.when(several).then(pl.lit("several-premiums")).when(taxed).then(pl.lit("premium-before-tax"))
    return found.filter((pl.col("rates").list.len() > 0) | pl.col("none")).select(
        "row",
        premium_rate=pl.when(refusal.is_null()).then(
            pl.when("none").then(0.0).otherwise(_share(pl.col("rates").list.first().str.extract(RATE)))
        ),
        premium_value=pl.col("quotes").list.join("; ").str.slice(0, SHOWN),
        premium_refusal=refusal,
    )
