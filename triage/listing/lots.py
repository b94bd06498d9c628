"""Lots: several pairs in one row become a listing each where the text gives every pair its own price.

Nothing is guessed: prices that cannot be tied to pairs one by one, or are fewer or more than the pairs, leave the lot
whole, and a refusal says why.
"""

import polars as pl

from triage.catalogue.words import KindWords, MoneyWords, Words
from triage.listing.lot_pieces import BREAK, LIST_MARK, SENTENCE, lot_pieces, marked_price
from triage.listing.phrases import compatible, folded_cell, whole

MOST_PAIRS = 40  # a longer list is a shop's stock
REFUSALS = {
    "lot-of-one-price": 'a price for each pair ("A 80 €, B 120 €" or "60 € each"); the lot is set aside',
    "lot-of-unclear-prices": "the name of one pair beside each price; the lot is set aside",
    "lot-of-unsaid-count": "how many pairs they are, beside a price for each; the lot is set aside",
    "lot-not-all-priced": "as many prices as pairs; the lot is set aside",
    "lot-only-whole": "pairs that are sold one by one; the lot is set aside",
    "lot-at-auction": "prices that stay; the lot is set aside",
}
CLEARED = ("price_kind", "images", "style_number", "model", "year")  # what a lot's columns say is not said of each pair


def pair_count(title: pl.Expr, words: KindWords) -> pl.Expr:
    """Return how many pairs a title counts, two or more; NULL where it does not count them."""
    noun = whole(words.pair_noun.words)
    text = folded_cell(title)
    for digit, listed in words.numbers.items():
        text = text.str.replace_all(rf"(?:{whole(listed)})\s?({noun})", f"{digit} $1")
    small = rf"\d+\s?(?:{noun})\s(?:of\s|de\s|di\s)?(?:{whole(words.small_pair.words)})"
    text = text.str.replace_all(small, "")
    return pl.coalesce(
        text.str.extract(rf"(?:^|[^\d.,])([2-9]|[1-9]\d)\s?x?\s?(?:{noun})"),
        text.str.extract(rf"\bx\s?([2-9]|[1-9]\d)\s(?:{noun})"),
        text.str.extract(rf"(?:{whole(words.lot_count.words)})\s([2-9]|[1-9]\d)(?:\D|$)"),
    ).cast(pl.Int64)


def split_lots(lots: pl.DataFrame, words: Words) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Return the pairs of each lot that can be parted, and why the others cannot.

    Args:
        lots: ``row, title, body`` (plain text), ``price`` and ``size`` (cells), ``kind`` (of the price), ``minor`` (the
            price of the lot in minor units of ``code``, or NULL).

    Returns:
        ``row, part`` (from 1), ``title`` (the pair's own words without its price), ``price`` and ``size`` (cells, NULL
        where none), ``body`` (what the description says of all of them), ordered; and
        ``row, code`` (a key of ``REFUSALS``) of the lots that stay whole.
    """
    lots = lots.with_columns(compatible(lots["title"]), compatible(lots["body"]))
    marked = lot_pieces(lots, marked_price(words.money), words)
    unmarked = lots.join(marked.filter(pl.col("prices") > 0), on="row", how="anti").drop_nulls("minor")
    bare = lot_pieces(unmarked, r"\d{1,6}(?:[.,]\d{2})?\s?(?:[,.]?[-–]+)?$", words)
    named = pl.concat([_named(marked, words), _adding_up(_named(bare, words), lots, words.money)])
    counted = lots.select("row", count=pair_count(pl.col("title"), words.kind))
    each = _each(lots.join(named, on="row", how="anti"), marked, counted, words)
    sure = named.join(counted, on="row").filter((pl.col("count") == pl.len().over("row")).fill_null(True))
    remarks = _remarks(lots, named, marked_price(words.money))
    bids = lots.filter(pl.col("kind") == "bid").select("row")
    text = pl.concat_str("title", "body", separator="\n", ignore_nulls=True).str.to_lowercase()
    together = lots.filter(text.str.contains(whole(words.kind.only_whole.words))).select("row")
    parts = pl.concat([sure.drop("count"), each]).join(pl.concat([bids, together]), on="row", how="anti")
    parts = parts.filter(pl.len().over("row").is_between(2, MOST_PAIRS)).join(remarks, on="row", how="left")
    parts = parts.sort("row", "part")
    reasons = [
        ("lot-at-auction", bids),
        ("lot-only-whole", together),
        ("lot-not-all-priced", named.join(sure, on="row", how="anti")),
        ("lot-of-unclear-prices", marked.filter("other")),
        ("lot-of-unsaid-count", marked.filter("each")),
        ("lot-of-unclear-prices", marked.filter("priced")),
    ]
    why = [pl.when(pl.col("row").is_in(rows["row"].implode())).then(pl.lit(code)) for code, rows in reasons]
    whole_lots = lots.join(parts, on="row", how="anti")
    return parts, whole_lots.select("row", code=pl.coalesce(*why, pl.lit("lot-of-one-price")))


def _named(pieces: pl.DataFrame, words: Words) -> pl.DataFrame:
    """Return the pairs that are named beside their own price, of texts in which nothing else has a price."""
    line = ["row", "place", "line"]
    text = ["row", "place"]
    grouped = (
        pieces.filter(pl.col("priced").any().over("row"))
        .with_columns(
            group=(pl.col("priced").cum_sum() - pl.col("priced").cast(pl.UInt32)).over(line),
            in_line=pl.col("priced").sum().over(line),
        )
        .with_columns(trailing=pl.col("group") == pl.col("in_line"))
    )
    inner = ~pl.col("trailing")
    # behind the first piece of a pair only what plainly speaks of it: "Torquellan, size 43, 80 €"
    first = pl.int_range(pl.len()).over([*line, "group"]) == 0
    long = (inner & ~first).any().over(line)
    unclear = (
        (inner & ~first & ~pl.col("joins")) | (pl.col("trailing") & long & (pl.col("in_line") > 1)) | pl.col("each")
    )
    sure = grouped.with_columns(
        unclear=(unclear & (pl.col("in_line") > 0)).any().over(text) | pl.col("other").any().over("row")
    )
    sure = sure.filter(~pl.col("unclear") & (pl.col("in_line") > 0))
    # all of a line of one price is about that pair
    group = pl.when(pl.col("in_line") == 1).then(0).otherwise("group")
    items = (
        sure.filter(~pl.col("aside") & (~pl.col("trailing") | (pl.col("in_line") == 1)))
        .group_by([*line, group.alias("group")], maintain_order=True)
        .agg(
            title=pl.col("name").filter(pl.col("name") != "").str.join(", "),
            price=pl.col("price").filter("priced").first(),
        )
    )
    whole_text = items.filter(pl.col("title").str.contains(r"\p{L}").all().over(text) & (pl.len().over(text) > 1))
    first_text = whole_text.filter(pl.col("place") == pl.col("place").min().over("row"))
    return first_text.select(
        "row", part=1 + pl.int_range(pl.len()).over("row"), title="title", price="price", size=pl.lit(None, pl.String)
    )


def _remarks(lots: pl.DataFrame, named: pl.DataFrame, price: str) -> pl.DataFrame:
    """Return the descriptions of lots without the sentences that name a pair and its price, where there are such."""
    listed = lots.select("row", "body", names=pl.col("row").is_in(named["row"].implode()))
    line = pl.col("line").str.strip_chars()
    rest = (
        listed.filter("names")
        .select("row", line=pl.col("body").str.replace_all(SENTENCE, "$1\n").str.split("\n"))
        .explode("line")
        .filter((line != "") & ~pl.col("line").str.to_lowercase().str.contains(rf"{price}|\d\W*$"))
        .group_by("row", maintain_order=True)
        .agg(body=line.str.join("\n"))
    )
    return pl.concat([rest, listed.filter(~pl.col("names")).select("row", "body")])


def _adding_up(named: pl.DataFrame, lots: pl.DataFrame, words: MoneyWords) -> pl.DataFrame:
    """Return the pairs whose bare numbers add up to the price of their lot, with its currency; others may be sizes."""
    unit = 10 ** pl.col("code").replace_strict(words.decimals, default=2, return_dtype=pl.Int64)
    amount = pl.col("price").str.extract(r"^(\d+(?:[.,]\d{2})?)").str.replace(",", ".", literal=True)
    priced = named.join(lots.select("row", "minor", "code"), on="row").with_columns(
        own=(amount.cast(pl.Float64, strict=False) * unit).round(0).cast(pl.Int64)
    )
    return priced.filter(pl.col("own").sum().over("row") == pl.col("minor")).select(
        "row", "part", "title", price=pl.format("{} {}", amount, "code"), size="size"
    )


def _each(lots: pl.DataFrame, pieces: pl.DataFrame, counted: pl.DataFrame, words: Words) -> pl.DataFrame:
    """Return the pairs of lots with one price for any of them, as many as the title counts, a list or sizes name."""
    said = pieces.filter("each").select("row", price=pl.col("price").str.replace_all(r"\s", ""))
    one = (
        said.group_by("row")
        .agg(pl.col("price").first(), prices=pl.col("price").n_unique())
        .filter(pl.col("prices") == 1)
    )
    muddled = pieces.filter(pl.col("priced") | pl.col("other")).select("row")
    cell = pl.col("price_cell").str.to_lowercase()
    each = whole(words.kind.each.words)
    in_cell = pl.when(cell.str.contains(each)).then(cell.str.replace_all(each, " "))
    asked = (
        lots.join(muddled, on="row", how="anti")
        .rename({"price": "price_cell"})
        .join(one.select("row", "price"), on="row", how="left")
        .join(counted, on="row", how="left")
        .with_columns(price=pl.coalesce("price", in_cell))
        .drop_nulls("price")
        .with_columns(sizes=pl.col("size").str.replace_all(r"\s*[,;、/+&]\s+|;|、", BREAK).str.split(BREAK))
    )
    listed = (
        asked.select("row", line=pl.col("body").str.split("\n"))
        .explode("line")
        .filter(pl.col("line").str.contains(LIST_MARK))
        .group_by("row", maintain_order=True)
        .agg(lines=pl.col("line").str.replace(LIST_MARK, ""))
    )
    asked = asked.join(listed, on="row", how="left")
    lines, sizes_named = pl.col("lines").list.len().fill_null(0), pl.col("sizes").list.len().fill_null(0)
    number = pl.coalesce("count", pl.when(lines > 1).then(lines), pl.when(sizes_named > 1).then(sizes_named))
    several = asked.with_columns(number=number.cast(pl.Int64)).filter(pl.col("number").is_between(2, MOST_PAIRS))
    parts = several.with_columns(part=pl.int_ranges(1, pl.col("number") + 1)).explode("part")
    at = pl.col("part") - 1
    line = pl.when(lines == pl.col("number")).then(pl.col("lines").list.get(at, null_on_oob=True))
    size = pl.when(sizes_named == pl.col("number")).then(pl.col("sizes").list.get(at, null_on_oob=True))
    return parts.select("row", "part", title=pl.coalesce(line, "title"), price="price", size=size)


def part_cells(parts: pl.DataFrame, cells: pl.DataFrame, lots: pl.DataFrame, rows: pl.DataFrame) -> pl.DataFrame:
    """Return the pairs of lots as cells of their own, to be read like any other row.

    Seller, place, postage, maker and wear are the lot's; its description is kept, but for the sentences about prices.

    Args:
        parts: Frame of ``split_lots``.
        cells: ``row`` and the columns of ``cells.read_cells``.
        lots: ``row, title`` (plain text), ``size_refusal`` of the lots.
        rows: ``feed_id, row_no, identity`` of the rows as they were read.
    """
    named = lots.select("row", "size_refusal", lot_title="title")
    own_words = pl.col("own").str.contains(r"\p{L}{3,}|[\p{Hiragana}\p{Katakana}\p{Han}]{2,}")
    # one size of the lot is the size of each pair that names none
    size = pl.coalesce(
        "own_size", pl.when(pl.col("size_refusal").is_null() & ~pl.col("own").str.contains(r"\d")).then("size")
    )
    text = pl.col("own").str.to_lowercase() + "|" + pl.col("own_size").fill_null("")
    nothing = [pl.lit(None, pl.String).alias(name) for name in CLEARED]
    return (
        parts.select("row", "part", own="title", own_price="price", own_size="size", remarks="body")
        .join(cells.with_columns(pl.col("row").cast(pl.UInt32)), on="row", how="left", maintain_order="left")
        .join(named, on="row", how="left", maintain_order="left")
        .join(rows, on=["feed_id", "row_no"], how="left", maintain_order="left")
        .with_columns(part_text=text)
        .with_columns(
            *nothing,
            title=pl.when(own_words).then("own").otherwise(pl.format("{}: {}", "lot_title", "own")),
            body="remarks",
            price="own_price",
            size=size,
            lot_identity="identity",
            # two pairs of the same words are told apart by their order
            part_text=pl.col("part_text") + "|" + pl.int_range(pl.len()).over("row", "part_text").cast(pl.String),
        )
        .select(*(name for name in cells.columns if name != "row"), "part", "part_text", "lot_identity")
    )
