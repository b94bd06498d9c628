"""Country, kind of seller, status, number of photos and address of each row."""

import polars as pl

from triage.catalogue.words import Words
from triage.listing.phrases import folded_cell, folded_words, one_of


def with_places(frame: pl.DataFrame, words: Words) -> pl.DataFrame:
    """Read country, seller kind, status, photo count and address."""
    country = _country(words)
    seller = folded_cell(pl.col("seller_kind"))
    status = folded_cell(pl.col("status"))
    listed = pl.coalesce("photo_count", "images")
    number = listed.str.extract(r"^(\d{1,4})(?:\.0)?$").cast(pl.UInt32, strict=False)
    count = (
        pl.when(listed.str.contains(r"^\s*\[\s*\{")).then(listed.str.count_matches(r"\{"))
        .when(listed.str.contains(r"^\s*\[")).then(listed.str.count_matches(r'"(?:[^"\\]|\\.)*"'))
        .when(number.is_not_null()).then(number)
        .when(listed.str.contains("://")).then(listed.str.count_matches("://"))
    )  # fmt: skip
    sold_title = pl.concat_str(pl.lit(" "), folded_cell(pl.col("title"))).str.contains(
        rf"(?:^|\W)(?:{'|'.join(words.text.status.title_sold)})(?:\W|$)"
    ) & pl.col("title").str.contains(r"(?i)^\W*\p{L}+\W|[\[(【*]\s*\p{L}+\s*[\])】*]")
    # a place that can't be read is not the feed's own country
    own = pl.when(pl.col("ships_from").is_null()).then("set_country")
    return frame.with_columns(
        country=country,
        set_country=own,
        seller_is=pl.when(one_of(seller, words.text.seller_kind.business)).then(pl.lit("business"))
        .when(one_of(seller, words.text.seller_kind.private)).then(pl.lit("private")),
        status_is=pl.when(one_of(status, words.text.status.sold)).then(pl.lit("sold"))
        .when(one_of(status, words.text.status.open)).then(pl.lit("open")),
        sold_title=sold_title,
        photos=count.cast(pl.Int32),
        address=pl.when(pl.col("url").str.contains(r"(?i)^https?://\S+$")).then("url"),
    )  # fmt: skip


def _country(words: Words) -> pl.Expr:
    """Return the country of a place: the whole cell, or the name behind its last comma.

    Two letters behind a comma are no country: "Los Angeles, CA" is not in Canada. What is no country's name may
    still be a region's: ``regions`` reads those.
    """
    names = {name: code for code, listed in words.country.names.items() for name in listed}
    known = dict(zip(folded_words(names), names.values(), strict=True))
    codes = {code.lower(): code for code in words.country.codes.known}
    cell = folded_cell(pl.col("ships_from"))
    last = folded_cell(pl.col("ships_from").str.extract(r"([^,/()]{3,})\)?\s*$"))
    whole_cell = cell.replace_strict({**codes, **known}, default=None, return_dtype=pl.String)
    return pl.coalesce(whole_cell, last.replace_strict(known, default=None, return_dtype=pl.String))
