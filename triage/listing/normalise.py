"""Raw cells to listing columns: every value read, or refused with a reason while the listing lives on without it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property, partial

import polars as pl

from triage.blocks import CORES, in_order
from triage.catalogue.places import Region
from triage.catalogue.words import Words
from triage.listing import claims, dates, lots, money, premium, regions, shipping, sizes
from triage.listing.images import image_names
from triage.listing.phrases import Phrasebook, compatible, each_once, spaced
from triage.listing.places import with_places
from triage.listing.rates import with_base
from triage.listing.text import is_cut, language_book, languages, plain_texts
from triage.listing.years import read_years

# Rows do not depend on one another; a chunk costs half a second of its own, its rows cost memory.
ONE_CHUNK_ROWS = 50_000
CHUNK_ROWS = 250_000
NAMED_CHARACTERS = 200  # columns that name a release are short; a paragraph in one is no name
OF_LOTS = (
    "row", "feed_id", "row_no", "title", "body", "price", "size", "size_refusal", "minor", "code", "price_is",
)  # fmt: skip
PREMIUM_CELLS = ("minor", "code", "set_currency", "set_country", "set_decimal")
HINTS = {
    **money.REFUSALS,
    **premium.REFUSALS,
    **sizes.REFUSALS,
    **dates.REFUSALS,
    **lots.REFUSALS,
    "no-title": "a title",
    "unknown-country": "a country of rules/words/country.toml or an ISO 3166-1 code",
    "unknown-status": "a word for open or sold of rules/words/text.toml",
    "unknown-seller-kind": "a word for private or business of rules/words/text.toml",
    "no-count": "a whole number",
    "no-web-address": "an http or https address",
}


@dataclass(frozen=True)
class Reading:
    """The words of stage 2 with their phrase books, made once for a run."""

    words: Words
    regions: Mapping[str, Region] = field(default_factory=dict)

    @cached_property
    def places(self) -> pl.DataFrame:
        """Words for regions."""
        return regions.word_table(self.regions)

    @cached_property
    def conditions(self) -> tuple[Phrasebook, Phrasebook]:
        """Phrases about wear."""
        return claims.condition_books(self.words.condition)

    @cached_property
    def kinds(self) -> tuple[Phrasebook, Phrasebook]:
        """Phrases about what is on offer."""
        return claims.kind_books(self.words.kind)

    @cached_property
    def votes(self) -> Phrasebook:
        """Words that vote for a language."""
        return language_book(self.words.language)


def normalise(cells: pl.DataFrame, reading: Reading) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Return listing columns and the refusals of raw cells.

    Args:
        cells: Columns of ``cells.read_cells``.
        reading: Words and phrase books.

    Returns:
        One row a raw row with a title, and one a pair of a lot that could be parted (``part`` from 1, ``part_text``
        what tells it from the others): the columns of ``listing`` but first_seen and last_seen, with ``feed_id``,
        ``row_no`` and ``seen_on``; and refusals ``feed_id, row_no, field, scope, value, code, hint``.
    """
    cells = cells.with_row_index("row")
    parts = list(cells.iter_slices(_chunk_rows(cells.height))) or [cells]
    done = in_order(partial(_normalise, reading=reading), parts)
    rows, pairs, lost, whole_lots = zip(*done, strict=True)
    return pl.concat([*rows, *pairs]), pl.concat([*lost, *whole_lots])


def _chunk_rows(height: int) -> int:
    """Return into how many rows to part so many: chunks alike in size, as many for each worker."""
    if height <= ONE_CHUNK_ROWS:
        return max(1, height)
    rounds = -(-height // (CHUNK_ROWS * CORES))
    return -(-height // (rounds * CORES))


def _normalise(cells: pl.DataFrame, reading: Reading) -> tuple[pl.DataFrame, pl.DataFrame, pl.DataFrame, pl.DataFrame]:
    """Return listing columns of rows and of the pairs of their lots, and the refusals of both."""
    nothing = {"part_text": pl.lit(None, pl.String), "lot_identity": pl.lit(None, pl.String)}
    frame, lost = _read(cells.with_columns(part=pl.lit(0, pl.Int64), **nothing), reading)
    rows, several = _columns(frame), frame.filter(pl.col("kind") == "lot").select(OF_LOTS)
    if several.is_empty():
        return rows, rows.clear(), lost, lost.clear()
    pairs, whole_lots = _split(several, cells, rows, reading)
    return rows, pairs, lost, _lost(whole_lots, several)


def _split(
    several: pl.DataFrame, cells: pl.DataFrame, rows: pl.DataFrame, reading: Reading
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Return listings of the pairs of lots, and refusals of the lots that stay whole."""
    asked = several.select("row", "title", "body", "price", "size", "minor", "code", kind="price_is")
    parts, refused = lots.split_lots(asked, reading.words)
    key = ["feed_id", "row_no"]
    identities = rows.select(*key, "identity").join(several.select(key), on=key, how="semi")
    theirs = cells.join(several.select("row"), on="row", how="semi")
    raw = lots.part_cells(parts, theirs, several, identities)
    frame, _ = _read(raw.with_row_index("row"), reading)
    frame = frame.with_columns(kind=pl.when(pl.col("kind") == "lot").then(pl.lit("pair")).otherwise("kind"))
    unread = frame.filter(pl.col("minor").is_null()).select("feed_id", "row_no").unique()
    unread_rows = several.join(unread, on=key, how="semi").select("row", code=pl.lit("lot-of-unclear-prices"))
    refused = pl.concat([refused, unread_rows]).join(several.select("row", "title"), on="row")
    refusals = refused.select("row", field=pl.lit("kind"), value="title", code="code")
    return _columns(frame.join(unread, on=key, how="anti", maintain_order="left")), refusals


def _read(raw: pl.DataFrame, reading: Reading) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Return every row that has a title with what was read of it, and the refusals."""
    frame = raw.with_columns(title=plain_texts(raw["title"]), body=plain_texts(raw["body"]))
    untitled = frame.filter(pl.col("title").is_null()).with_columns(
        field=pl.lit(""), value=pl.lit(None, pl.String), code=pl.lit("no-title"), scope=pl.lit("row")
    )
    frame = with_places(frame.filter(pl.col("title").is_not_null()), reading.words)
    frame = regions.with_regions(frame, reading.places)
    frame = frame.join(image_names(frame.select("row", "images")), on="row", how="left", maintain_order="left")
    keys = _keys(frame)
    frame = _with_language(frame, keys, reading)
    frame, price_refusals = _with_money(frame, reading.words)
    frame, size_refusals = _with_size(frame, reading.words)
    frame, claim_refusals = _with_claims(frame, keys, reading)
    refusals = pl.concat(
        [_place_refusals(frame), price_refusals, size_refusals, claim_refusals, _date_refusals(frame, reading.words)]
    )
    return frame, pl.concat([_hinted(untitled), _lost(refusals, frame)])


def _lost(refusals: pl.DataFrame, frame: pl.DataFrame) -> pl.DataFrame:
    """Return refused values with the row of the export they stand in."""
    return _hinted(
        refusals.join(frame.select("row", "feed_id", "row_no"), on="row").with_columns(
            pl.col("value").str.slice(0, 500), scope=pl.lit("value")
        )
    )


def _hinted(refused: pl.DataFrame) -> pl.DataFrame:
    hint = pl.col("code").replace_strict(HINTS, return_dtype=pl.String)
    return refused.select("feed_id", "row_no", "field", "scope", "value", "code", hint=hint)


def _place_refusals(frame: pl.DataFrame) -> pl.DataFrame:
    checks = (
        ("ships_from", "country", "unknown-country"),
        ("seller_kind", "seller_is", "unknown-seller-kind"),
        ("status", "status_is", "unknown-status"),
        ("photo_count", "photos", "no-count"),
        ("url", "address", "no-web-address"),
    )
    return pl.concat(
        [
            _refused(frame, field, field, pl.when(pl.col(read).is_null()).then(pl.lit(code)))
            for field, read, code in checks
        ]
    )


def _refused(frame: pl.DataFrame, field: str, cell: str, code: pl.Expr) -> pl.DataFrame:
    """Return the cells of one field that could not be read."""
    return (
        frame.filter(pl.col(cell).is_not_null())
        .select("row", field=pl.lit(field), value=cell, code=code)
        .filter(pl.col("code").is_not_null())
    )


def _keys(frame: pl.DataFrame) -> pl.DataFrame:
    """Return titles and descriptions in the form in which phrases are looked for."""
    texts = frame.select("row", title=compatible(frame["title"]), body=compatible(frame["body"]).fill_null(""))
    return texts.select("row", title_key=spaced(pl.col("title")), body_key=each_once(texts["body"], spaced))


def _with_language(frame: pl.DataFrame, keys: pl.DataFrame, reading: Reading) -> pl.DataFrame:
    stated = pl.col("language").str.to_lowercase().str.extract(r"^([a-z]{2})(?:$|[-_])")
    judged = languages(keys, reading.votes, reading.words.language.margin)
    return frame.join(judged, on="row", how="left", maintain_order="left").with_columns(
        language=pl.coalesce(stated, "judged", "set_language")
    )


def _with_money(frame: pl.DataFrame, words: Words) -> tuple[pl.DataFrame, pl.DataFrame]:
    cells = frame.select(
        "row",
        "price",
        "currency",
        "price_kind",
        "shipping",
        "set_currency",
        "set_country",
        "set_decimal",
        ships_from="country",
    )
    price = money.read_prices(cells, words.money)
    frame = frame.join(
        price.rename({"kind": "price_is", "refusal": "price_refusal"}), on="row", how="left", maintain_order="left"
    )
    cells = cells.with_columns(code=price["code"])
    sent = shipping.read_shipping(cells, words.money).rename({"refusal": "shipping_refusal"})
    frame = frame.join(sent, on="row", how="left", maintain_order="left")
    # an unread price keeps the currency of its shipping, so that one code serves both amounts
    frame = frame.with_columns(code=pl.coalesce("code", "shipping_code"))
    frame = with_base(frame, words.money)
    asked = frame.select("row", "premium", "title", "body", *PREMIUM_CELLS, kind="price_is", ships_from="country")
    frame = frame.join(premium.read_premiums(asked, words.money), on="row", how="left", maintain_order="left")
    refused = [
        _refused(frame, "price", "price", pl.col("price_refusal")),
        _refused(frame, "shipping", "shipping", pl.col("shipping_refusal")),
        _refused(frame, "premium", "premium_value", pl.col("premium_refusal")),
    ]
    return frame, pl.concat(refused)


def _with_size(frame: pl.DataFrame, words: Words) -> tuple[pl.DataFrame, pl.DataFrame]:
    cells = frame.select("row", "title", "size", "size_system", "set_country", "language", ships_from="country")
    read = sizes.read_sizes(cells, words.size)
    frame = frame.rename({"size_system": "system_cell"}).join(read, on="row", how="left", maintain_order="left")
    return frame, _refused(frame, "size", "size", pl.col("refusal"))


def _with_claims(frame: pl.DataFrame, keys: pl.DataFrame, reading: Reading) -> tuple[pl.DataFrame, pl.DataFrame]:
    keyed = frame.select("row", "title", "category", "condition", "size_count").join(
        keys, on="row", how="left", maintain_order="left"
    )
    keyed = keyed.with_columns(claims.without_other_pairs(keyed["body_key"], reading.words.condition))
    wear = claims.read_conditions(keyed, reading.words.condition, reading.conditions)
    kinds = claims.read_kinds(keyed, reading.words.kind, reading.kinds)
    years = read_years(_year_cells(frame, keys), reading.words.year)
    frame = (
        frame.rename({"condition": "condition_cell", "refusal": "size_refusal"})
        .join(wear.rename({"refusal": "condition_refusal"}), on="row", how="left", maintain_order="left")
        .join(kinds, on="row", how="left", maintain_order="left")
        .join(years.rename({"kind": "year_is"}), on="row", how="left", maintain_order="left")
        .with_columns(text_cut=each_once(frame["body"], partial(is_cut, words=reading.words.text.cut)))
    )
    return frame, _refused(frame, "condition", "condition_cell", pl.col("condition_refusal"))


def _date_refusals(frame: pl.DataFrame, words: Words) -> pl.DataFrame:
    """Return the days of listing that can't be read; the tables hold the nights of the exports, not these days."""
    cells = frame.filter(pl.col("listed_on").is_not_null()).select(
        "row", "seen_on", cell="listed_on", order=pl.col("set_date_order").str.to_uppercase()
    )
    read = dates.read_dates(cells, words.year)
    return (
        read.filter(pl.col("refusal").is_not_null())
        .join(cells, on="row")
        .select("row", field=pl.lit("listed_on"), value="cell", code="refusal")
    )


def _year_cells(frame: pl.DataFrame, keys: pl.DataFrame) -> pl.DataFrame:
    texts = {name: compatible(frame[name]) for name in ("year", "title", "body")}
    return (
        frame.select("row", "seen_on")
        .with_columns(**texts)
        .join(keys.select("row", "title_key"), on="row", how="left", maintain_order="left")
    )


def _columns(frame: pl.DataFrame) -> pl.DataFrame:
    """Return the columns of ``listing``, with the row they come from."""
    identity = pl.concat_str(
        pl.col("seller").fill_null(""), pl.lit("|"), pl.col("title"), pl.lit("|"), pl.col("size_text").fill_null("")
    )
    amounts = pl.col("minor").is_not_null() | pl.col("shipping_minor").is_not_null()
    return frame.select(
        "feed_id", "row_no", "part", "part_text", "seen_on", "source", "external_id",
        identity=pl.coalesce("lot_identity", identity),
        url="address", seller="seller", seller_kind="seller_is", title="title", body="body",
        named=pl.concat_str("maker", "model", "style_number", "colour", separator=" ", ignore_nulls=True)
        .str.slice(0, NAMED_CHARACTERS).replace("", None), language="language",
        price_kind="price_is", price_minor="minor", currency=pl.when(amounts).then("code"),
        price_base_minor="base_minor", rate_date="rate_date", shipping_minor="shipping_minor",
        shipping_base_minor="shipping_base_minor", premium_rate="premium_rate",
        ships_from=pl.coalesce("country", "set_country"), region="region",
        size_text="size_text", size_system="size_system", foot_mm_lo="foot_mm_lo", foot_mm_hi="foot_mm_hi",
        condition="condition", condition_conflict="conflict",
        stated_year_lo="lo", stated_year_hi="hi", stated_year_kind="year_is", kind="kind", photo_count="photos",
        image_names="image_names", text_cut="text_cut",
        status=pl.coalesce("status_is", pl.when("sold_title").then(pl.lit("sold")), pl.lit("open")),
    )  # fmt: skip
