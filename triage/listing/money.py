"""Price cells to minor units, ISO 4217 code and kind; what can be read in two ways is refused, never guessed."""

from decimal import Decimal

import polars as pl
from price_parser import parse_price

from triage.catalogue.words import MoneyWords
from triage.listing.phrases import folded_words, whole

# A number as written: groups of three parted by blanks or apostrophes, or digits with points and commas.
NUMBER = r"\d{1,3}(?:[ '’´`]\d{3})+(?:[.,]\d{1,2})?|\d[\d.,]*\d|\d"
GROUPED = r"^\d{1,3}(?:S\d{3})+$"
KINDS = ("bid", "request", "free", "swap", "fixed")
STARTS = ("swap", "free", "request")
COLUMN_ORDER = ("swap", "bid", "fixed", "request", "free")  # "fixed price or best offer" is a fixed price
REFUSALS = {
    "several-numbers": "one amount; a range or a sum is not read",
    "no-number": "an amount",
    "negative-price": "an amount above zero",
    "zero-price": "an amount above zero, or a word for free",
    "price-conflict": "an amount or a word for free, not both",
    "price-too-large": "an amount of this world",
    "unknown-words": "an amount, a currency and words of rules/words/money.toml",
    "ambiguous-number": "a number whose decimals are plain; set decimal in the feed map",
    "unknown-currency": "an ISO 4217 code, or a feed map that states the currency",
    "ambiguous-currency": "a mark that names one currency, or a feed map that states it",
    "currency-conflict": "one currency, not two that contradict each other",
}


# What is read of a cell.
READ = {"minor": pl.Int64, "code": pl.String, "kind": pl.String, "refusal": pl.String}


def read_prices(cells: pl.DataFrame, words: MoneyWords) -> pl.DataFrame:
    """Return the amount, currency and kind of each price cell.

    Args:
        cells: ``row, price, currency, price_kind, ships_from, set_currency, set_country, set_decimal``, text or NULL.
        words: Marks, codes, decimals and words beside amounts.

    Returns:
        ``row, minor`` (minor units of ``code``, NULL where none was read), ``code`` (ISO 4217), ``kind`` and
        ``refusal`` (a key of ``REFUSALS``, NULL when all is well or nothing was stated).
    """
    if cells.is_empty():
        return pl.DataFrame(schema={"row": cells.schema["row"], **READ})
    keys = ["price", "currency", "price_kind", "ships_from", "set_currency", "set_country", "set_decimal"]
    forms = cells.select(keys).unique().with_row_index("form")
    read = _read_forms(forms, words)
    return (
        cells.select("row", *keys)
        .join(read, on=keys, how="left", nulls_equal=True, maintain_order="left")
        .select("row", "minor", "code", "kind", "refusal")
    )


def _read_forms(forms: pl.DataFrame, words: MoneyWords) -> pl.DataFrame:
    frame = _with_currency(_split(forms, words), words)
    frame = _with_amount(frame, words)
    kind = _kind(words)
    said_no_amount = kind.is_in(["free", "request", "swap"]) & ((pl.col("numbers") == 0) | pl.col("swap_for"))
    refusal = (
        pl.when(pl.col("price").is_null() | said_no_amount).then(None)
        .when(pl.col("numbers") == 0).then(pl.lit("no-number"))
        .when(pl.col("numbers") > 1).then(pl.lit("several-numbers"))
        .when(pl.col("negative")).then(pl.lit("negative-price"))
        .when(pl.col("rest") != "").then(pl.lit("unknown-words"))
        .when(pl.col("currency_refusal").is_not_null()).then("currency_refusal")
        .when(pl.col("amount_minor").is_null() | pl.col("headless")).then(pl.lit("ambiguous-number"))
        .when((kind == "free") & (pl.col("amount_minor") > 0)).then(pl.lit("price-conflict"))
        .when((pl.col("amount_minor") == 0) & (kind != "free")).then(pl.lit("zero-price"))
        .when(pl.col("too_large")).then(pl.lit("price-too-large"))
    )  # fmt: skip
    frame = frame.with_columns(kind=kind, refusal=refusal)
    readable = pl.col("refusal").is_null() & pl.col("price").is_not_null()
    return frame.with_columns(
        minor=pl.when(readable & (pl.col("kind") == "free"))
        .then(0)
        .when(readable & ~pl.col("swap_for"))
        .then("amount_minor"),
        kind=pl.when(pl.col("kind") == "free").then(pl.lit("free")).otherwise("kind"),
        code=pl.when(pl.col("currency_refusal").is_null()).then("code"),
    ).drop("form")


def _split(forms: pl.DataFrame, words: MoneyWords) -> pl.DataFrame:
    """Part a cell into its number, the currency mark and what is left."""
    text = (
        pl.col("price")
        .str.normalize("NFKC")
        .str.to_lowercase()
        .str.replace_all(r"[\s\u00a0\u202f]+", " ")
        .str.replace_all(r"(\d)\s?[.,]\s?[-–—_=]+", "$1")  # 45,- and 120.–
        .str.replace_all(r"(\d)万(\d)千", "${1}${2}000")
        .str.replace_all(r"(\d)万(\d{4})", "$1$2")
        .str.replace_all(r"(\d)\.(\d)万", "${1}${2}000")
        .str.replace_all("(\\d)万", "${1}0000")
        .str.replace_all(r"(\d)千", "${1}000")
        .str.strip_chars()
    )
    beside = pl.col("text").str.replace_all(NUMBER, " # ")
    marks = sorted({*words.marks, *words.shared_marks, *map(str.lower, words.codes.known)}, key=len, reverse=True)
    return (
        forms.with_columns(text=text.fill_null(""))
        .with_columns(
            found=pl.col("text").str.extract_all(NUMBER),
            beside=beside,
            headless=pl.col("text").str.contains(r"(?:^|[^\p{L}\d])[.,]\d"),  # .99 or a number cut off
        )
        .with_columns(
            numbers=pl.col("found").list.len(),
            number=pl.col("found").list.first().str.replace_all(r"[ '’´`]", ""),
            negative=pl.col("beside").str.contains(r"[-−–]\s*[^\p{L}\d]*#|\(\s*#\s*\)")
            & ~pl.col("beside").str.contains(r"\p{L}\s*[-–]\s*#"),
            grouped_by_blank=pl.col("found").list.first().str.contains(r"[ '’´`]"),
        )
        .with_columns(
            found_marks=pl.col("beside").str.extract_all(whole(marks)),
            rest=_rest(pl.col("beside"), marks, words),
            # "swap for size 44": the number is no price
            swap_for=pl.col("text").str.contains(
                rf"^(?:{whole(words.price_kind.swap)})\s?(?:{whole(words.price_kind.swap_for)})"
            )
            & ~pl.col("beside").str.contains(whole(marks)),
        )
    )


def postage_beside(words: MoneyWords) -> tuple[str, str]:
    """Return the patterns of words beside a price that say its postage is in it, and that it is not."""
    noun = whole(words.shipping.nouns)
    patterns = []
    for listed in (words.shipping.with_, words.shipping.on_top):
        word = whole(listed)
        patterns.append(rf"(?:{word})\s?(?:{noun})|(?:{noun})\s?(?:{word})")
    return f"{whole(words.shipping.included_beside)}|{patterns[0]}", patterns[1]


def _rest(beside: pl.Expr, marks: list[str], words: MoneyWords) -> pl.Expr:
    kinds = [word for name in KINDS for word in getattr(words.price_kind, name)]
    plain = sorted({*marks, *folded_words(words.harmless.words), *folded_words(kinds)}, key=len, reverse=True)
    paid, on_top = postage_beside(words)
    without = beside.str.replace_all(f"{paid}|{on_top}", " ")
    without = without.str.replace_all(whole(word for word in plain if word), " ")
    return without.str.replace_all(r"[#\s.,:;!()\[\]/*|+＋-]|–|—", "")


def _with_currency(frame: pl.DataFrame, words: MoneyWords) -> pl.DataFrame:
    """Decide the currency: column, mark of the cell, feed map, country; a contradiction is a refusal.

    A mark in the cell is the row's own statement, so it wins over the default of the feed map; a shared mark
    ($, kr, ¥) only narrows the choice.
    """
    exact = {**words.marks, **{code.lower(): code for code in words.codes.known}}
    shared = {mark: ",".join(codes) for mark, codes in words.shared_marks.items()}
    column = pl.col("currency").str.normalize("NFKC").str.to_lowercase().str.strip_chars()
    country = pl.coalesce("ships_from", "set_country").replace_strict(
        words.countries, default=None, return_dtype=pl.String
    )
    listed = pl.col("found_marks").list
    frame = frame.with_columns(
        column_code=column.replace_strict(exact, default=None, return_dtype=pl.String),
        column_shared=column.replace_strict(shared, default=None, return_dtype=pl.String),
        mark_codes=listed.eval(pl.element().replace_strict(exact, default=None, return_dtype=pl.String))
        .list.drop_nulls().list.unique(),
        mark_shared=listed.eval(pl.element().replace_strict(shared, default=None, return_dtype=pl.String))
        .list.drop_nulls().list.first(),
        map_code=pl.col("set_currency").str.to_uppercase(),
        country_code=country,
    )  # fmt: skip
    mark_code = pl.col("mark_codes").list.first()
    choices = pl.coalesce("mark_shared", "column_shared")
    default = pl.coalesce("map_code", "country_code")
    code = (
        pl.when(pl.col("column_code").is_not_null()).then("column_code")
        .when(mark_code.is_not_null()).then(mark_code)
        .when(choices.is_null()).then(default)
        .when(_among(pl.col("map_code"), choices)).then("map_code")
        .when(_among(pl.col("country_code"), choices)).then("country_code")
    )  # fmt: skip
    unknown_column = (
        pl.col("currency").is_not_null() & pl.col("column_code").is_null() & pl.col("column_shared").is_null()
    )
    conflict = (
        (pl.col("mark_codes").list.len() > 1)
        | (pl.col("column_code").is_not_null() & mark_code.is_not_null() & (pl.col("column_code") != mark_code))
        | (pl.col("mark_shared").is_not_null() & code.is_not_null() & ~_among(code, pl.col("mark_shared")))
    )
    refusal = (
        pl.when(unknown_column).then(pl.lit("unknown-currency"))
        .when(conflict).then(pl.lit("currency-conflict"))
        .when(code.is_not_null()).then(None)
        .when(choices.is_not_null()).then(pl.lit("ambiguous-currency"))
        .otherwise(pl.lit("unknown-currency"))
    )  # fmt: skip
    return frame.with_columns(code=code, currency_refusal=refusal)


def _among(code: pl.Expr, codes: pl.Expr) -> pl.Expr:
    return codes.fill_null("").str.contains(code.fill_null("?"), literal=True)


def _with_amount(frame: pl.DataFrame, words: MoneyWords) -> pl.DataFrame:
    """Read the number: which sign parts the decimals is decided here, price-parser only reads it."""
    decimals = pl.col("code").replace_strict(words.decimals, default=2, return_dtype=pl.Int64)
    frame = frame.with_columns(decimals=decimals).with_columns(separator=_separator(words))
    number = pl.col("number").str.strip_chars(".,")
    frame = frame.with_columns(number=number)
    forms = (
        frame.filter(pl.col("number").is_not_null() & pl.col("separator").is_not_null())
        .select("number", "separator")
        .unique()
    )
    amounts = pl.Series(
        [str(parse_price(number, decimal_separator=sep).amount) for number, sep in forms.iter_rows()], dtype=pl.String
    )
    frame = frame.join(
        forms.with_columns(amount=amounts), on=["number", "separator"], how="left", maintain_order="left"
    )
    places = pl.col("amount").str.extract(r"\.(\d+)$").fill_null("").str.strip_chars_end("0").str.len_chars()
    scaled = [
        pl.when(pl.col("decimals") == n).then(pl.col("amount").cast(pl.Decimal(30, 4), strict=False) * Decimal(10) ** n)
        for n in range(5)
    ]
    return frame.with_columns(
        amount_minor=pl.when(places <= pl.col("decimals")).then(pl.coalesce(scaled).cast(pl.Int64, strict=False)),
        too_large=pl.col("amount").cast(pl.Float64, strict=False) > words.largest,
    )


def _separator(words: MoneyWords) -> pl.Expr:
    """Return the sign that parts the decimals, NULL when it is not plain."""
    number = pl.col("number").str.strip_chars(".,")
    points = number.str.count_matches(".", literal=True)
    commas = number.str.count_matches(",", literal=True)
    last = number.str.extract(r"([.,])\d*$")
    tail = number.str.extract(r"[.,](\d*)$").str.len_chars()
    only = pl.when(points > 0).then(pl.lit(".")).otherwise(pl.lit(","))
    other = pl.when(only == ".").then(pl.lit(",")).otherwise(pl.lit("."))
    thousands = number.str.contains(GROUPED.replace("S", r"\.")) | number.str.contains(GROUPED.replace("S", ","))
    both_grouped = number.str.contains(r"^\d{1,3}(?:\.\d{3})+,\d{1,2}$|^\d{1,3}(?:,\d{3})+\.\d{1,2}$")
    told = pl.col("set_decimal")
    habit = pl.when(pl.col("code").is_in(words.point.currencies)).then(pl.lit("."))
    known = pl.coalesce(told, habit)
    return (
        pl.when((points == 0) & (commas == 0)).then(pl.lit("."))
        .when((points > 0) & (commas > 0)).then(pl.when(both_grouped).then(last))
        .when(points + commas > 1).then(pl.when(thousands).then(other))
        .when(pl.col("grouped_by_blank")).then(only)
        .when((tail <= 2) & (pl.col("decimals") == 0) & (known != only)).then(None)
        .when(tail <= 2).then(only)
        .when(thousands & (pl.col("decimals") == 0)).then(other)
        .when(thousands & (known == other)).then(other)
        .when(pl.col("decimals") == 3).then(pl.when(known == only).then(only))
    )  # fmt: skip


def _kind(words: MoneyWords) -> pl.Expr:
    """Return how the price is meant: the column first, then the words beside the number."""
    said = pl.col("price_kind").str.normalize("NFKC").str.to_lowercase().str.strip_chars()
    patterns = {name: whole(getattr(words.price_kind, name)) for name in KINDS}
    column = [pl.when(said.str.contains(patterns[name])).then(pl.lit(name)) for name in COLUMN_ORDER]
    cell = {name: pl.col("beside").str.contains(patterns[name]) for name in KINDS}
    # "45 € oder Tausch" is a price; without a number "VB" asks for an offer
    amount = pl.when(cell["bid"]).then(pl.lit("bid")).otherwise(pl.lit("fixed"))
    worded = pl.coalesce(
        [pl.when(cell[name]).then(pl.lit(name)) for name in ("swap", "free", "request", "bid")]
        + [pl.when(cell["fixed"]).then(pl.lit("request"))]
    )
    # what a cell begins with counts whatever follows ("zu verschenken an Abholer"), but for a price with its postage
    postage = pl.col("beside").str.contains(whole([*words.shipping.nouns, *words.shipping.included_beside]))
    begins = pl.coalesce(
        [pl.when(pl.col("beside").str.contains(rf"^(?:{patterns[name]})")).then(pl.lit(name)) for name in STARTS]
    )
    worded = pl.when(~postage).then(pl.when(pl.col("rest") == "").then(worded).otherwise(begins))
    numbered = pl.when("swap_for").then(pl.lit("swap")).when(pl.col("numbers") > 0).then(amount)
    return pl.coalesce(*column, numbered.otherwise(worded), pl.lit("unknown"))
