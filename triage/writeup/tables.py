"""The verdicts as files for other programs: verdicts.csv for a spreadsheet, verdicts.json for code."""

import json
from collections.abc import Iterator
from datetime import date
from io import BytesIO

import polars as pl

from triage.blocks import in_order, slices
from triage.writeup.phrase import MINOR_DIGITS

SCHEMA_VERSION = 1
PIECE_ROWS = 50_000  # of a million verdicts the files are a gigabyte
CHANCE_DIGITS = 4

LISTING_COLUMNS = (
    "listing_id", "source", "external_id", "url", "title", "model", "kind", "status", "condition",
    "size_text", "ships_from", "price_kind", "price_minor", "price_currency", "rate_date", "first_seen", "last_seen",
)  # fmt: skip
VERDICT_COLUMNS = (
    "buyer", "call", "rank", "plan", "p_fits", "p_wearable_lo", "p_wearable", "p_wearable_hi", "p_after_plan",
    "weak_part", "value_minor", "value_basis", "landed_minor", "shipping_assumed", "expected_minor",
    "surplus_minor", "offer_minor", "ask_gain_minor", "currency", "reason",
)  # fmt: skip
# A spreadsheet takes a cell that starts like this for a formula; the full-width forms count in some locales.
# Source: OWASP, CSV Injection (from memory).
FORMULA = r"^[\s]*[=+\-@＝＋－＠]|^[\t\r\n]"


def verdict_table(listing: pl.DataFrame, verdict: pl.DataFrame, sellers: bool = False) -> pl.DataFrame:
    """Return every verdict with its listing's main columns, ordered by listing and buyer.

    Args:
        listing: Listings of the night.
        verdict: Verdicts on them, ordered by listing and buyer.
        sellers: Name the sellers too. They are people, and such files are passed on.
    """
    columns = (*LISTING_COLUMNS, "seller") if sellers else LISTING_COLUMNS
    offered = listing.rename({"currency": "price_currency"}).select(columns)
    joined = verdict.join(offered, on="listing_id", maintain_order="left")
    # More digits than mean anything would only differ between machines.
    return joined.select(*columns, *VERDICT_COLUMNS).with_columns(pl.col("^p_.*$").round(CHANCE_DIGITS))


def defused(frame: pl.DataFrame) -> pl.DataFrame:
    """Return a frame whose texts no spreadsheet takes for a formula: such a text gets a leading apostrophe."""
    text = pl.col(pl.String)
    return frame.with_columns(pl.when(text.str.contains(FORMULA)).then("'" + text).otherwise(text).name.keep())


def csv_pieces(table: pl.DataFrame) -> Iterator[bytes]:
    """Yield the verdicts as CSV, piece by piece: amounts in whole currency units with decimals, texts defused."""

    def lines(rows: slice) -> bytes:
        written = BytesIO()
        defused(major_units(table[rows])).write_csv(written, quote_style="non_numeric", include_header=rows.stop == 0)
        return written.getvalue()

    yield from in_order(lines, (slice(0), *slices(table.height, PIECE_ROWS)))


def major_units(table: pl.DataFrame) -> pl.DataFrame:
    """Return the verdicts with every amount in whole currency units, named without ``_minor``."""
    amounts = [column for column in table.columns if column.endswith("_minor")]
    major = [
        (
            pl.col(column)
            / pl.lit(10.0).pow(
                pl.col("price_currency" if column == "price_minor" else "currency").replace_strict(
                    MINOR_DIGITS, default=2, return_dtype=pl.Int64
                )
            )
        ).alias(column)
        for column in amounts
    ]
    return table.with_columns(major).rename({column: column.removesuffix("_minor") for column in amounts})


def json_pieces(table: pl.DataFrame, as_of: date) -> Iterator[bytes]:
    """Yield the verdicts as JSON, piece by piece: amounts in minor units, texts as they are, in the table's order.

    Each verdict has a line of its own: a line feed in a text is escaped.
    """
    head = json.dumps({"schema_version": SCHEMA_VERSION, "as_of": as_of.isoformat()})
    yield f'{head[:-1]}, "verdicts": ['.encode()

    def lines(rows: slice) -> bytes:
        written = BytesIO()
        table[rows].write_ndjson(written)
        return (b",\n" if rows.start else b"\n") + written.getvalue().removesuffix(b"\n").replace(b"\n", b",\n")

    yield from in_order(lines, slices(table.height, PIECE_ROWS))
    yield b"\n]}\n"
