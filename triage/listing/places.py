"""Country, kind of seller, status, number of photos and address of each row."""

import polars as pl

from triage.catalogue.words import Words
from triage.listing.phrases import compatible, folded_cell, folded_words, one_of


def with_places(frame: pl.DataFrame, words: Words) -> pl.DataFrame:
    """Read country, seller kind, status, photo count and address."""
    seller, status = folded_cell(pl.col("cell")), folded_cell(pl.col("cell"))
    seller_is = (
        pl.when(one_of(seller, words.text.seller_kind.business)).then(pl.lit("business"))
        .when(one_of(seller, words.text.seller_kind.private)).then(pl.lit("private"))
    )  # fmt: skip
    status_is = (
        pl.when(one_of(status, words.text.status.sold)).then(pl.lit("sold"))
        .when(one_of(status, words.text.status.open)).then(pl.lit("open"))
    )  # fmt: skip
    listed = pl.coalesce("photo_count", "images")
    number = listed.str.extract(r"^(\d{1,4})(?:\.0)?$").cast(pl.UInt32, strict=False)
    count = (
        pl.when(listed.str.contains(r"^\s*\[\s*\{")).then(listed.str.count_matches(r"\{"))
        .when(listed.str.contains(r"^\s*\[")).then(listed.str.count_matches(r'"(?:[^"\\]|\\.)*"'))
        .when(number.is_not_null()).then(number)
        .when(listed.str.contains("://")).then(listed.str.count_matches("://"))
    )  # fmt: skip
    # a place that can't be read is not the feed's own country
    own = pl.when(pl.col("ships_from").is_null()).then("set_country")
    return frame.with_columns(
        country=_by_form(frame["ships_from"], _country(words)),
        set_country=own,
        seller_is=_by_form(frame["seller_kind"], seller_is),
        status_is=_by_form(frame["status"], status_is),
        sold_title=_says_sold(frame["title"], words.text.status.title_sold),
        photos=count.cast(pl.Int32),
        address=pl.when(pl.col("url").str.contains(r"(?i)^https?://\S+$")).then("url"),
    )


def _by_form(cells: pl.Series, read: pl.Expr) -> pl.Series:
    """Return what is read of cells (in ``read`` the column ``cell``); each different cell is read once."""
    forms = cells.alias("cell").unique().to_frame().with_columns(read=read)
    each = cells.alias("cell").to_frame()
    return each.join(forms, on="cell", how="left", nulls_equal=True, maintain_order="left")["read"]


def _says_sold(titles: pl.Series, words: list[str]) -> pl.Series:
    """Return whether titles begin with a word for sold or have one in brackets."""
    said = pl.concat_str(pl.lit(" "), folded_cell(pl.col("title"))).str.contains(
        rf"(?:^|\W)(?:{'|'.join(words)})(?:\W|$)"
    ) & pl.col("title").str.contains(r"(?i)^\W*\p{L}+\W|[\[(【*]\s*\p{L}+\s*[\])】*]")
    # Few titles hold such a word at all.
    begun = [word.split()[0] for word in words]
    likely = compatible(titles).str.contains_any(begun, ascii_case_insensitive=True).fill_null(False)
    places = likely.arg_true()
    if places.is_empty():
        return likely
    return likely.scatter(places, titles.gather(places).alias("title").to_frame().select(said).to_series())


def _country(words: Words) -> pl.Expr:
    """Return the country of a place: the whole cell, or the name behind its last comma.

    Two letters behind a comma are no country: "Los Angeles, CA" is not in Canada. What is no country's name may
    still be a region's: ``regions`` reads those.
    """
    names = {name: code for code, listed in words.country.names.items() for name in listed}
    known = dict(zip(folded_words(names), names.values(), strict=True))
    codes = {code.lower(): code for code in words.country.codes.known}
    cell = folded_cell(pl.col("cell"))
    last = folded_cell(pl.col("cell").str.extract(r"([^,/()]{3,})\)?\s*$"))
    whole_cell = cell.replace_strict({**codes, **known}, default=None, return_dtype=pl.String)
    return pl.coalesce(whole_cell, last.replace_strict(known, default=None, return_dtype=pl.String))
