"""Calendar dates as exports write them, by the feed's own date order; what could be two days is refused."""

from datetime import date, datetime, time

import dateparser
import polars as pl

from triage.catalogue.words import YearWords
from triage.listing.phrases import compatible, whole

REFUSALS = {
    "no-date": "a date, or days counted back from the night of the export",
    "ambiguous-date": "a date whose day and month are plain; set date_order in the feed map",
    "date-in-future": "a date not after the night of the export",
}
LANGUAGES = ["en", "de", "fr", "it", "es", "ja"]
LONGEST = 40  # characters; a longer cell is no date
CLOCK = r"\d{1,2}\s?(?:[:h]\s?\d{2}(?::\d{2})?|uhr|heures|pm\b|am\b)(?:\s?[ap]m\b)?"


def read_dates(cells: pl.DataFrame, words: YearWords) -> pl.DataFrame:
    """Return the day each cell names.

    Args:
        cells: ``row, cell`` (text), ``order`` (DMY, MDY, YMD or NULL) and ``seen_on``, the night of the export, from
            which "3 days ago" counts and which no date may pass.
        words: Months and words for days gone by.

    Returns:
        ``row, day`` (NULL where none was read) and ``refusal`` (a key of ``REFUSALS``).
    """
    forms = cells.select("cell", "order", "seen_on").unique(maintain_order=True)
    text = compatible(forms["cell"]).str.to_lowercase().str.strip_chars(" .")
    read = _read_forms(forms.with_columns(text=text), words)
    return cells.join(
        read, on=["cell", "order", "seen_on"], how="left", nulls_equal=True, maintain_order="left"
    ).select("row", "day", "refusal")


def _read_forms(forms: pl.DataFrame, words: YearWords) -> pl.DataFrame:
    named = _named(pl.col("text"), words)
    plain, doubt = _numeric(pl.col("text"), pl.col("order"))
    # a month and a day alone are the last such day before the night
    spoken = [pl.col("text").str.extract(r"^(\d{1,2})月\s?(\d{1,2})日", n) for n in (1, 2)]
    year = pl.col("seen_on").dt.year()
    this, before = _day(year, *spoken), _day(year - 1, *spoken)
    short = pl.when(this <= pl.col("seen_on")).then(this).otherwise(before)
    forms = forms.with_columns(
        day=pl.coalesce(_machine(pl.col("text")), _ago(words), named, plain, short), doubt=doubt.fill_null(False)
    )
    forms = forms.with_columns(day=pl.coalesce("day", _left_over(forms, words)))
    future = pl.col("day") > pl.col("seen_on")
    refusal = (
        pl.when(future).then(pl.lit("date-in-future"))
        .when(pl.col("day").is_not_null()).then(None)
        .when("doubt").then(pl.lit("ambiguous-date"))
        .otherwise(pl.lit("no-date"))
    )  # fmt: skip
    return forms.select("cell", "order", "seen_on", day=pl.when(~future).then("day"), refusal=refusal)


def _left_over(forms: pl.DataFrame, words: YearWords) -> pl.Series:
    """Return what ``dateparser`` makes of cells that hold a month by name, or days gone by in words.

    It sees no cell of which it would guess a part: a second number that is no clock time or year, a month without a
    day, Japanese dates (it takes the month for the day).
    """
    months = whole(name for listed in words.months.values() for name in listed)
    text = pl.col("text")
    bare = text.str.replace_all(CLOCK, " ").str.replace(r"\b(?:19|20)\d\d\b", " ")
    day_of_month = text.str.contains(rf"(?:{months})") & (bare.str.count_matches(r"\d+") == 1)
    unit = whole([*words.ago.days, *words.ago.weeks])
    in_words = text.str.contains(rf"\b(?:an?|one|ein(?:e[rmns]?)?|une?|una|uno)\s(?:{unit})")
    asked = (day_of_month | in_words) & (text.str.len_chars() <= LONGEST) & ~pl.col("doubt") & pl.col("day").is_null()
    cells = forms.select(pl.when(asked.fill_null(False)).then("text"), "order", "seen_on")
    return pl.Series([_parsed(*cell) if cell[0] else None for cell in cells.iter_rows()], dtype=pl.Date)


def _parsed(text: str, order: str | None, night: date) -> date | None:
    settings = {
        "DATE_ORDER": order or "DMY",
        "RELATIVE_BASE": datetime.combine(night, time(23, 59)),
        "PREFER_DATES_FROM": "past",
        "REQUIRE_PARTS": ["day", "month"],
        "RETURN_AS_TIMEZONE_AWARE": False,
    }
    found = dateparser.parse(text, languages=LANGUAGES, settings=settings)
    return found.date() if found else None


def _machine(text: pl.Expr) -> pl.Expr:
    """Return dates as machines write them: ISO 8601, eight digits, seconds or milliseconds since 1970."""
    iso = text.str.extract(r"^(\d{4}-\d{2}-\d{2})(?:$|[t\s]\d{1,2}:\d{2})").str.to_date("%Y-%m-%d", strict=False)
    packed = text.str.extract(r"^((?:19|20)\d{6})(?:$|t\d{4})").str.to_date("%Y%m%d", strict=False)
    seconds = text.str.extract(r"^(1\d{9})(?:\d{3})?(?:\.\d+)?$").cast(pl.Int64, strict=False)
    return pl.coalesce(iso, packed, pl.from_epoch(seconds, "s").dt.date())


def _ago(words: YearWords) -> pl.Expr:
    """Return days counted back from the night of the export."""
    text = pl.col("text")
    ago = words.ago
    number = text.str.extract(r"(\d{1,3})").cast(pl.Int64, strict=False)
    one_number = text.str.count_matches(r"\d+") == 1
    days = (
        pl.when(one_number & text.str.contains(rf"\d\s*(?:{whole(ago.hours)})")).then(number // 24)
        .when(one_number & text.str.contains(rf"\d\s*(?:{whole(ago.weeks)})")).then(number * 7)
        .when(one_number & text.str.contains(rf"\d\s*(?:{whole(ago.days)})")).then(number)
        .when(text.str.contains(rf"^(?:{whole(ago.yesterday)})")).then(1)
        .when(text.str.contains(rf"^(?:{whole(ago.today)})")).then(0)
    )  # fmt: skip
    return pl.col("seen_on").dt.offset_by(pl.format("-{}d", days))


def _named(text: pl.Expr, words: YearWords) -> pl.Expr:
    """Return dates with the month by name: 1. November 2026, Nov 1, 2026."""
    names = {name: int(number) for number, listed in words.months.items() for name in listed}
    month = rf"({whole(names)})"
    before = (
        rf"^(?:\p{{L}}+,?\s+)?(\d{{1,2}})(?:st|nd|rd|th|er|º|\.)?\s*(?:de\s+|of\s+)?{month}\.?,?\s*(?:de\s+)?(\d{{4}})"
    )
    after = rf"^(?:\p{{L}}{{2,9}},?\s+)?{month}\.?\s+(\d{{1,2}})(?:st|nd|rd|th)?,?\s+(\d{{4}})"
    day = pl.coalesce(text.str.extract(before, 1), text.str.extract(after, 2))
    name = pl.coalesce(text.str.extract(before, 2), text.str.extract(after, 1))
    year = pl.coalesce(text.str.extract(before, 3), text.str.extract(after, 3))
    number = name.replace_strict(names, default=None, return_dtype=pl.Int64)
    return _day(year, number, day)


def _numeric(text: pl.Expr, order: pl.Expr) -> tuple[pl.Expr, pl.Expr]:
    """Return dates of three numbers, and whether the order of day and month is in doubt."""
    japanese = r"^(\d{4})年\s?(\d{1,2})月\s?(\d{1,2})日?"
    year_first = r"^(\d{4})[./](\d{1,2})[./](\d{1,2})(?:$|[\s,])"
    weekday = r"^(?:\p{L}{2,10}\.?,?\s+)?"
    year_last = rf"{weekday}(\d{{1,2}})[./-](\d{{1,2}})[./-](\d{{4}}|\d{{2}})(?:$|[\s,])"
    first = _day(*(pl.coalesce(text.str.extract(japanese, n), text.str.extract(year_first, n)) for n in (1, 2, 3)))
    one, two = (text.str.extract(year_last, n).cast(pl.Int64, strict=False) for n in (1, 2))
    digits = text.str.extract(year_last, 3)
    year = pl.when(digits.str.len_chars() == 2).then(pl.concat_str(pl.lit("20"), digits)).otherwise(digits)
    day_first = (
        pl.when(order == "DMY").then(True).when(order == "MDY").then(False)
        .when(one > 12).then(True).when(two > 12).then(False)
        .when(one == two).then(True)
    )  # fmt: skip
    day = pl.when(day_first).then(one).otherwise(two)
    month = pl.when(day_first).then(two).otherwise(one)
    last = pl.when(day_first.is_not_null()).then(_day(year, month, day))
    return pl.coalesce(first, last), one.is_not_null() & day_first.is_null()


def _day(year: pl.Expr, month: pl.Expr, day: pl.Expr) -> pl.Expr:
    """Return a day of the calendar, NULL where there is no such day."""
    parts = [
        part.cast(pl.String) for part in (year, month.cast(pl.String).str.zfill(2), day.cast(pl.String).str.zfill(2))
    ]
    return pl.concat_str(parts, separator="-").str.to_date("%Y-%m-%d", strict=False)
