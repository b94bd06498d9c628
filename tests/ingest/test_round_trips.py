"""Any table of any text survives writing in any format and reading back."""

import csv
import io
import json
from html import escape
from pathlib import Path
from tempfile import TemporaryDirectory

import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from workbooks import ods, sheet, xlsx

from triage.ingest.readers import PLAIN, packed
from triage.ingest.reading import open_export

HEADINGS = ["listing id", "title", "description", "price"]
# What no text file can hold, or what pads it: NUL, half characters, a byte order mark.
TEXT = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0\ufeff"), max_size=30)
PROSE = st.text("aé靴 \"',;|\t\n\r\\{}<>&=0", max_size=30)
ROWS = st.lists(st.tuples(TEXT | PROSE, TEXT | PROSE, TEXT | PROSE), min_size=1, max_size=9)
# XML 1.0 has no control characters, and makes one line end of all.
XML_TEXT = st.text(st.characters(exclude_categories=["Cs", "Cc"], exclude_characters="\ufffe\uffff\ufeff"), max_size=30)
XML_ROWS = st.lists(st.tuples(XML_TEXT, XML_TEXT, XML_TEXT), min_size=1, max_size=9)
CALM = {"deadline": None, "derandomize": True, "suppress_health_check": [HealthCheck.function_scoped_fixture]}
FEW = settings(max_examples=4, **CALM)
MANY = settings(max_examples=60, **CALM)


def numbered(rows: list[tuple[str, ...]]) -> list[list[str]]:
    """Return rows with a listing id in front: a row of nothing is a blank line, which no reader keeps."""
    return [[f"{i:05d}", *row] for i, row in enumerate(rows, 1)]


def read_back(name: str, content: bytes, feeds) -> list[dict]:
    with TemporaryDirectory() as folder:
        path = Path(folder, name)
        path.write_bytes(content)
        pieces = list(open_export(path, feeds, (*PLAIN, packed)).pieces())
    assert [one for piece in pieces for one in piece.broken] == []
    return [json.loads(cells) for piece in pieces for cells in piece.rows["cells"]]


def as_objects(rows: list[list[str]]) -> list[dict]:
    return [dict(zip(HEADINGS, row, strict=True)) for row in rows]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("quoting", [csv.QUOTE_ALL, csv.QUOTE_MINIMAL])
@settings(MANY, max_examples=15)
@given(rows=ROWS)
def test_any_table_survives_delimited_text(feeds, rows, encoding, delimiter, quoting):
    out = io.StringIO()
    writer = csv.writer(out, delimiter=delimiter, quoting=quoting)
    writer.writerow(HEADINGS)
    writer.writerows(numbered(rows))
    assert read_back("a.csv", out.getvalue().encode(encoding), feeds) == as_objects(numbered(rows))


@MANY
@given(rows=ROWS)
def test_any_table_survives_json_lines(feeds, rows):
    text = "".join(json.dumps(one) + "\n" for one in as_objects(numbered(rows)))
    assert read_back("a.jsonl", text.encode(), feeds) == as_objects(numbered(rows))


@MANY
@given(rows=ROWS)
def test_any_table_survives_json(feeds, rows):
    text = json.dumps({"items": as_objects(numbered(rows))}, ensure_ascii=False)
    assert read_back("a.json", text.encode(), feeds) == as_objects(numbered(rows))


@MANY
@given(rows=XML_ROWS)
def test_any_table_survives_rss(feeds, rows):
    items = "".join(
        f"<item><guid>{row[0]}</guid><title>{escape(row[1])}</title><link>{escape(row[2])}</link></item>"
        for row in numbered(rows)
    )
    want = [dict(zip(("guid", "title", "link"), map(str.strip, row[:3]), strict=True)) for row in numbered(rows)]
    # An empty element says nothing.
    want = [{name: text for name, text in row.items() if text} for row in want]
    assert read_back("a.rss", f"<rss><channel>{items}</channel></rss>".encode(), feeds) == want


@FEW
@given(rows=ROWS)
def test_any_table_survives_parquet(feeds, rows):
    out = io.BytesIO()
    pl.DataFrame(numbered(rows), schema=dict.fromkeys(HEADINGS, pl.String), orient="row").write_parquet(out)
    assert read_back("a.parquet", out.getvalue(), feeds) == as_objects(numbered(rows))


@FEW
@given(rows=XML_ROWS)
def test_any_table_survives_xlsx(feeds, rows):
    book = xlsx({"Listings": sheet([HEADINGS, *numbered(rows)])})
    assert read_back("a.xlsx", book, feeds) == as_objects(numbered(rows))


@FEW
@given(rows=st.lists(st.tuples(*[st.text("aé靴\"',;&<>=0", max_size=20)] * 3), min_size=1, max_size=6))
def test_any_table_survives_ods(feeds, rows):
    assert read_back("a.ods", ods([HEADINGS, *numbered(rows)]), feeds) == as_objects(numbered(rows))


@FEW
@given(rows=st.lists(st.tuples(*[st.text("aé靴\"',;<>=0/", min_size=1, max_size=20)] * 2), min_size=1, max_size=6))
def test_any_table_survives_json_ld(feeds, rows):
    products = [{"@type": "Product", "name": name, "offers": {"price": price}} for name, price in rows]
    block = json.dumps(products).replace("<", "\\u003c")
    page = f'<!doctype html><html><script type="application/ld+json">{block}</script></html>'
    want = [{"@type": "Product", "name": name, "offers.price": price} for name, price in rows]
    assert read_back("a.html", page.encode(), feeds) == want
