"""What each reader makes of its format."""

import gzip
from pathlib import Path

import polars as pl
import pytest
from workbooks import archive, ods, sheet, xlsx

HERE = Path(__file__).parent


def test_csv_in_cp1252_with_semicolons_keeps_every_character(ingest, rows):
    text = 'Anzeigen-Nr.;Titel;Preis\r\n1;"Läufer ""Süß""; neu";12,50 €\r\n2;Größe 43;9 €\r\n3;a;1 €\r\n'
    assert ingest("brett.csv", text.encode("cp1252")).outcome == "new"
    assert rows()[0] == {"Anzeigen-Nr.": "1", "Titel": 'Läufer "Süß"; neu', "Preis": "12,50 €"}


def test_json_lines_keep_digits_as_written_and_lose_only_the_broken_line(ingest, rows, rejects):
    text = (
        '{"title":"A","price":1.50,"seller":{"name":"x"},"photos":["a","b"]}\n{"title":\n\n{"title":"B","price":null}\n'
    )
    note = ingest("club.jsonl", text)
    assert (note.rows_read, note.rows_rejected, note.lines_skipped) == (3, 1, 1)
    assert rows()[0] == {"title": "A", "price": "1.50", "seller.name": "x", "photos": '["a", "b"]'}
    assert rows()[1] == {"title": "B"}
    assert rejects() == [(2, "broken-json")]


@pytest.mark.parametrize("key", ["title", "price"])
def test_a_key_given_twice_is_refused_because_nobody_can_say_which_value_holds(ingest, rejects, key):
    ingest("club.jsonl", f'{{"title":"A","price":1,"{key}":"B"}}\n{{"title":"B","price":2}}\n')
    assert rejects() == [(1, "key-twice")]


def test_a_json_list_inside_wrapping_objects_is_found(ingest, rows):
    text = '{"meta":{"pages":1},"result":{"items":[{"title":"A","price":"1"},{"title":"B","price":"2"}]}}'
    assert ingest("api.json", text).outcome == "new"
    assert [row["title"] for row in rows()] == ["A", "B"]


def test_two_lists_without_known_headings_are_doubt(ingest):
    note = ingest("api.json", '{"a":[{"x":1}],"b":[{"y":2}]}')
    assert note.notes[0].startswith("several-lists: lists of objects at a, b")


def test_a_saved_page_gives_one_row_a_product_under_dotted_schema_org_names(ingest, rows):
    block = (
        '{"@context":"https://schema.org","@graph":[{"@type":"Product","name":"Shoe","sku":"s1",'
        '"image":["a.jpg","b.jpg"],"offers":[{"@type":"Offer","price":"10.00","priceCurrency":"EUR",'
        '"seller":{"@type":"Organization","name":"corner"}}]},{"@type":"Person","name":"nobody"}]}'
    )
    page = f'<!DOCTYPE html><html><script type="application/ld+json">{block}</script></html>'
    note = ingest("page.html", page)
    assert (note.reader, note.rows_read) == ("page", 1)
    row = rows()[0]
    assert (row["name"], row["offers.price"], row["offers.seller.name"]) == ("Shoe", "10.00", "corner")
    assert row["image"] == '["a.jpg", "b.jpg"]'


def test_one_broken_block_of_a_page_never_costs_a_good_one(ingest, rows, rejects):
    script = '<script type="application/ld+json">{}</script>'
    good = '{"@type":"Product","name":"Shoe","offers":{"price":"1"}}'
    cut_off = '{"@type":"Product","name":"Lost'
    blocks = [script.replace("{}", text) for text in ("{broken", good, cut_off)]
    note = ingest("page.html", "<html>" + "".join(blocks))
    assert len(rows()) == 1
    assert note.notes == ("JSON-LD blocks that are broken and name no Product: 1",)
    assert (note.rows_read, rejects()) == (2, [(2, "broken-json")])


def test_a_page_saved_under_a_csv_name_is_read_as_the_page_it_is(ingest):
    note = ingest("export.csv", "<!DOCTYPE html><html><body>Sorry, try again</body></html>")
    assert note.notes[0].startswith("no-listing-in-page")


TABLE = [["listing id", "title", "price"], ["001", "Trail shoe", "12,50 €"], ["002", "Läufer & <Box>", "9"]]
CELLS = [dict(zip(TABLE[0], row, strict=True)) for row in TABLE[1:]]


def test_a_workbook_with_title_rows_formulas_and_dates_gives_its_cells_as_text(ingest, rows):
    day = [
        ["Saved search"], [], ["listing id", "title", "price", "photos"],
        [1006, "Trail shoe", 12.5, "=1+1>2"], ["001007", "Court", "9,00", ""],
    ]  # fmt: skip
    note = ingest("export.xlsx", xlsx({"Listings": sheet(day)}))
    assert (note.reader, note.rows_read, dict(note.skipped)) == ("sheet", 2, {"preamble": 1, "blank": 1})
    assert rows() == [
        {"listing id": "1006", "title": "Trail shoe", "price": "12.5", "photos": "2"},
        {"listing id": "001007", "title": "Court", "price": "9,00", "photos": ""},
    ]


def test_a_workbook_with_a_merged_title_and_cells_in_date_and_number_formats(ingest, rows):
    days = sheet([["Saved search"], ["listing id", "title", "price", "listed on"], ["1", "Trail shoe", 12.5, 46328]])
    days = days.replace('<c r="D3">', '<c r="D3" s="1">').replace(
        "</sheetData>", '</sheetData><mergeCells count="1"><mergeCell ref="A1:D1"/></mergeCells>'
    )
    styles = (
        '<styleSheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><cellXfs count="2">'
        '<xf numFmtId="0"/><xf numFmtId="14" applyNumberFormat="1"/></cellXfs></styleSheet>'
    )
    note = ingest("export.xlsx", xlsx({"Listings": days}, extra={"xl/styles.xml": styles}))
    assert (note.rows_read, dict(note.skipped)) == (1, {"preamble": 1})
    # ECMA-376 Part 1, 18.17.4.1: day 46328 of the 1900 system is 2 November 2026.
    assert rows()[0]["listed on"].startswith("2026-11-02")
    assert rows()[0]["price"] == "12.5"


def test_the_last_row_of_a_workbook_is_not_cut_off_where_its_last_cell_is_empty(ingest, rows):
    cells = [[f"{i:06d}", f"Trail shoe {i}", f"{i + 9}.50", f"2026-11-{i:02d}"] for i in range(1, 25)]
    cells[-1][3] = ""
    note = ingest("export.xlsx", xlsx({"Listings": sheet([["listing id", "title", "price", "listed on"], *cells])}))
    assert (note.rows_read, note.rows_rejected, rows()[-1]["listed on"]) == (24, 0, "")


def test_a_merged_cell_is_the_text_of_its_first_row_alone(ingest, rows):
    tall = sheet([["listing id", "title", "seller"], ["1", "Trail shoe", "amy"], ["2", "Court shoe", ""]])
    merged = tall.replace("</sheetData>", '</sheetData><mergeCells count="1"><mergeCell ref="C2:C3"/></mergeCells>')
    ingest("export.xlsx", xlsx({"Listings": merged}))
    assert [row["seller"] for row in rows()] == ["amy", ""]


def test_of_several_sheets_the_one_with_headings_is_read_and_hidden_ones_are_not(ingest, rows):
    notes = sheet([["remember", "this"], ["a", "b"]])
    book = xlsx({"Notes": notes, "Listings": sheet(TABLE), "Old": sheet(TABLE)}, hidden=("Old",))
    assert ingest("export.xlsx", book).notes == ("sheet Listings",)
    assert rows() == CELLS


def test_two_sheets_of_listings_are_doubt(ingest):
    note = ingest("export.xlsx", xlsx({"May": sheet(TABLE), "June": sheet(TABLE)}))
    assert note.notes[0].startswith("several-sheets: sheets 'May', 'June'")


def test_an_opendocument_sheet_gives_its_cells_as_text(ingest, rows):
    assert ingest("export.ods", ods(TABLE)).reader == "sheet"
    assert rows() == CELLS


def test_an_old_binary_workbook_gives_its_cells_as_text(ingest, rows):
    # export.xls: BIFF8, a title row, a number, a text with leading zeros, a date.
    note = ingest("export.xls", (HERE / "export.xls").read_bytes())
    assert note.rows_read == 2
    assert rows()[0] | {"listed on": rows()[0]["listed on"][:10]} == {
        "listing id": "1006", "title": "Läufer “OG”", "price": "12.5", "listed on": "2026-11-02",
    }  # fmt: skip
    assert rows()[1]["listing id"] == "001007"


def test_parquet_gives_values_as_text_and_nested_ones_under_dotted_headings(ingest, rows, tmp_path):
    frame = pl.DataFrame(
        {"id": [1, 2], "title": ["a", "b"], "price": [1.5, None], "seller": [{"name": "x"}, {"name": "y"}]}
    )
    frame.write_parquet(tmp_path / "a.parquet")
    assert ingest("export.parquet", (tmp_path / "a.parquet").read_bytes()).reader == "parquet"
    assert rows() == [
        {"id": "1", "title": "a", "price": "1.5", "seller.name": "x"},
        {"id": "2", "title": "b", "seller.name": "y"},
    ]


def test_rss_keeps_prefixed_elements_character_names_and_several_categories(ingest, rows):
    item = (
        "<item><title>Trail&nbsp;shoe &amp; box</title><link>https://x.example/1</link>"
        "<description><![CDATA[<p>Worn &eacute;</p>]]></description><z:price>12 EUR</z:price>"
        '<category>a</category><category>b</category><enclosure url="https://x.example/1.jpg" length="1"/></item>'
    )
    start = '<rss version="2.0" xmlns:z="http://base.google.com/ns/1.0"><channel><title>Board</title>'
    assert ingest("board.rss", f"{start}{item}</channel></rss>").reader == "syndication"
    assert rows() == [
        {
            "title": "Trail\u00a0shoe & box", "link": "https://x.example/1", "description": "<p>Worn &eacute;</p>",
            "g:price": "12 EUR", "category": '["a", "b"]', "enclosure": "https://x.example/1.jpg",
        }
    ]  # fmt: skip


def test_atom_in_latin_1_keeps_links_authors_and_inline_markup(ingest, rows):
    feed = (
        '<?xml version="1.0" encoding="iso-8859-1"?><feed xmlns="http://www.w3.org/2005/Atom"><title>T</title><entry>'
        '<title type="text">Süß</title><link href="https://x.example/1"/><link rel="enclosure" href="https://x.example/a"/>'
        '<id>urn:1</id><author><name>amy</name></author><content type="xhtml"><div xmlns="http://www.w3.org/1999/xhtml">'
        "<p>one</p>two</div></content></entry></feed>"
    )
    ingest("board.atom", feed.encode("latin-1"))
    assert rows() == [
        {
            "title": "Süß", "link": "https://x.example/1", "link.enclosure": "https://x.example/a", "id": "urn:1",
            "author.name": "amy", "content": "<div><p>one</p>two</div>",
        }
    ]  # fmt: skip


def test_a_feed_that_breaks_off_is_rejected_whole(ingest, rows):
    note = ingest("board.rss", "<rss><channel><item><title>a</title><link>x</link></item><item><title>b")
    assert note.notes[0].startswith("broken-xml")
    assert rows() == []


def test_microdata_gives_the_same_names_as_json_ld(ingest, rows):
    page = """<!doctype html><body><div itemscope itemtype="https://schema.org/Product" itemref="more">
      <h1 itemprop="name">Trail <b>shoe</b></h1><img itemprop="image" src="a.jpg"><img itemprop="image" src="b.jpg">
      <div itemprop="offers" itemscope itemtype="https://schema.org/Offer">
      <b itemprop="price" content="12.50">€ 12,50</b>
      <meta itemprop="priceCurrency" content="EUR"><link itemprop="itemCondition" href="https://schema.org/UsedCondition">
      </div></div><p id="more"><i itemprop="description">Outside</i></p>"""
    ingest("page.html", page)
    assert rows() == [
        {
            "@type": "https://schema.org/Product", "description": "Outside", "name": "Trail shoe",
            "image": '["a.jpg", "b.jpg"]', "offers.@type": "https://schema.org/Offer", "offers.price": "12.50",
            "offers.priceCurrency": "EUR", "offers.itemCondition": "https://schema.org/UsedCondition",
        }
    ]  # fmt: skip


def test_json_ld_with_a_comment_a_comma_too_many_and_a_reference_is_read(ingest, rows):
    block = (
        '//<![CDATA[\n{"@graph":[{"@type":"http://schema.org/Product","name":"A, ]x","offers":{"@id":"#o"},},'
        '{"@id":"#o","@type":"Offer","price":10.50}]}\n//]]>'
    )
    ingest("page.html", f'<html><script type="application/ld+json">{block}</script>')
    assert (rows()[0]["name"], rows()[0]["offers.price"]) == ("A, ]x", "10.50")


def test_a_product_with_two_offers_is_two_rows(ingest, rows):
    block = '{"@type":"Product","name":"A","offers":[{"price":"1","sku":"x"},{"price":"2","sku":"y"}]}'
    ingest("page.html", f'<html><script type="application/ld+json">{block}</script>')
    assert [row["offers.price"] for row in rows()] == ["1", "2"]


@pytest.mark.parametrize("name", ["board.csv.gz", "board.zip"])
def test_an_export_in_an_archive_is_read_like_the_export(ingest, rows, name):
    text = "\n".join(";".join(row) for row in TABLE)
    packed = gzip.compress(text.encode()) if name.endswith("gz") else archive({"board.csv": text, "README.md": "x"})
    assert ingest(name, packed).reader == "packed"
    assert rows() == CELLS


def test_the_feed_map_of_a_packed_export_is_found_by_the_name_without_the_packing(ingest):
    note = ingest("attic_board.csv.gz", gzip.compress(b"Anzeigen-Nr.;Titel\n1;a\n2;b\n3;c\n"))
    assert note.feed_map == "attic-board"


def test_an_archive_of_several_exports_is_doubt(ingest):
    note = ingest("board.zip", archive({"a.csv": "x", "b.csv": "y"}))
    assert note.notes[0].startswith("several-files: a.csv, b.csv")
