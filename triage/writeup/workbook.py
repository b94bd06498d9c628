"""The verdicts as a workbook: real numbers and dates, texts that are only ever texts."""

import io
from collections.abc import Callable
from datetime import date, datetime
from typing import Any

import polars as pl
import xlsxwriter
from xlsxwriter.format import Format
from xlsxwriter.worksheet import Worksheet

from triage.writeup.digest import CAUTION
from triage.writeup.tables import FORMULA, major_units

# Office programs open this many rows at once without pain; all rows are in verdicts.csv.
ROWS = 5_000
# Characters a cell can hold. Source: the file format's own limits, as xlsxwriter documents them.
CELL = 32_767
OPTIONS = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
WIDTHS = {"title": 48, "reason": 60, "url": 30, "value_basis": 40, "listing_id": 26}
Write = Callable[[Worksheet, int, int, Any, dict[str, Format]], None]


def workbook(table: pl.DataFrame, as_of: date) -> bytes:
    """Return the verdicts as an XLSX file, buys first, the heading frozen and every column with a filter.

    A text that a spreadsheet could take for a formula is stored as text and marked as quoted, so that it stays one when
    the cell is edited. Nothing in the file depends on the clock.

    Args:
        table: As ``tables.verdict_table`` returns it.
        as_of: The night, which is also the date of the file.
    """
    order = pl.col("call").replace_strict({"buy": 0, "ask": 1, "skip": 2}, return_dtype=pl.Int64)
    first = table.select(order, "rank", "buyer", "listing_id", at=pl.int_range(pl.len()))
    rows = major_units(table[first.sort("call", "rank", "buyer", "listing_id").head(ROWS)["at"]])
    stream = io.BytesIO()
    book = xlsxwriter.Workbook(stream, OPTIONS)
    book.set_properties({"title": f"Verdicts of {as_of}", "created": datetime(as_of.year, as_of.month, as_of.day)})
    forms = {
        "head": book.add_format({"bold": True, "bottom": 1}),
        "date": book.add_format({"num_format": "yyyy-mm-dd"}),
        "chance": book.add_format({"num_format": "0%"}),
        "money": book.add_format({"num_format": "#,##0.00"}),
        "quoted": book.add_format({"quote_prefix": True}),
        "wrap": book.add_format({"text_wrap": True}),
    }
    sheet = book.add_worksheet("verdicts")
    sheet.freeze_panes(1, 1)
    sheet.autofilter(0, 0, max(rows.height, 1), rows.width - 1)
    for at, name in enumerate(rows.columns):
        sheet.set_column(at, at, WIDTHS.get(name, 14))
        sheet.write_string(0, at, name, forms["head"])
        _column(sheet, at, rows[name], _form(name, rows[name].dtype), forms)
    _about(book.add_worksheet("about"), as_of, table.height - rows.height, forms["wrap"])
    book.close()
    return stream.getvalue()


def _form(name: str, kind: pl.DataType) -> str:
    if kind == pl.Date:
        return "date"
    if name.startswith("p_"):
        return "chance"
    return "money" if kind == pl.Float64 else ""


def _column(sheet: Worksheet, at: int, values: pl.Series, form: str, forms: dict[str, Format]) -> None:
    """Write a column below its heading; what is not stated stays empty."""
    style = forms.get(form)
    risky = values.str.contains(FORMULA) if values.dtype == pl.String else None
    for row, value in enumerate(values, 1):
        if value is None:
            continue
        if isinstance(value, str):
            sheet.write_string(row, at, value[:CELL], forms["quoted"] if risky is not None and risky[row - 1] else None)
        elif isinstance(value, bool):
            sheet.write_boolean(row, at, value)
        elif isinstance(value, date):
            sheet.write_datetime(row, at, datetime(value.year, value.month, value.day), style)
        else:
            sheet.write_number(row, at, value, style)


def _about(sheet: Worksheet, as_of: date, left_out: int, wrap: Format) -> None:
    lines = [
        f"Verdicts of {as_of}, buys first. Amounts are in the currency of the column currency, prices in that of "
        "price_currency; chances are of 1; an empty cell was not stated.",
        CAUTION,
    ]
    if left_out:
        lines.insert(1, f"{left_out} more verdicts, all of them further down the ranking, are in verdicts.csv.")
    sheet.set_column(0, 0, 90)
    for row, line in enumerate(lines):
        sheet.write_string(row, 0, line, wrap)
