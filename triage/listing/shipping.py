"""Shipping cells to minor units of the price's currency; "free" is nothing to pay, "collection only" is not stated."""

import polars as pl

from triage.catalogue.words import MoneyWords
from triage.listing.money import postage_beside, read_prices
from triage.listing.phrases import folded_cell, one_of


def read_shipping(cells: pl.DataFrame, words: MoneyWords) -> pl.DataFrame:
    """Return the shipping of each row.

    Args:
        cells: ``row, shipping, price`` (cells), ``code`` (currency of the price or NULL), ``ships_from`` and the feed
            settings; a price "shipped" is one with nothing to add.
        words: Marks, codes and shipping words.

    Returns:
        ``row, shipping_minor, shipping_code, refusal``; a currency other than the price's is a refusal.
    """
    cell = folded_cell(pl.col("shipping"))
    included = one_of(cell, words.shipping.included).fill_null(False)
    unstated = one_of(cell, words.shipping.unknown).fill_null(False)
    zero = cell.str.contains(r"^\D*0+(?:[.,]0+)?\D*$").fill_null(False)
    prices = cells.select("price").drop_nulls().unique()
    paid = prices.filter(folded_cell(pl.col("price")).str.contains(postage_beside(words)[0]))
    beside = pl.col("price").is_in(paid["price"].to_list()).fill_null(False)
    frame = cells.with_columns(
        included=included | zero | (beside & (pl.col("shipping").is_null() | unstated)), unstated=unstated
    )
    amounts = frame.filter(~pl.col("included") & ~pl.col("unstated") & pl.col("shipping").is_not_null()).select(
        "row", price=pl.col("shipping"), currency=pl.lit(None, pl.String), price_kind=pl.lit(None, pl.String),
        ships_from="ships_from", set_currency=pl.coalesce("code", "set_currency"), 
        set_country="set_country", set_decimal="set_decimal",
    )  # fmt: skip
    read = read_prices(amounts, words).rename({"code": "shipping_code"})
    other = (
        pl.col("shipping_code").is_not_null()
        & pl.col("code").is_not_null()
        & (pl.col("shipping_code") != pl.col("code"))
    )
    return (
        frame.join(read, on="row", how="left", maintain_order="left")
        .with_columns(
            refusal=pl.when(other & pl.col("refusal").is_null()).then(pl.lit("currency-conflict")).otherwise("refusal")
        )
        .select(
            "row",
            shipping_minor=pl.when("included").then(0).when(pl.col("refusal").is_null()).then("minor"),
            shipping_code=pl.coalesce("shipping_code", "code"),
            refusal="refusal",
        )
    )
