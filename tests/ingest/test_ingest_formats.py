"""What each reader makes of its format."""

import pytest

LISTING = {"title": "Trail shoe", "price": "10.00", "id": "7"}


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


def test_one_broken_block_of_a_page_never_costs_a_good_one(ingest, rows):
    script = '<script type="application/ld+json">{}</script>'
    good = '{"@type":"Product","name":"Shoe","offers":{"price":"1"}}'
    note = ingest("page.html", "<html>" + script.replace("{}", "{broken") + script.replace("{}", good))
    assert len(rows()) == 1
    assert note.notes == ("1 JSON-LD blocks are broken and were left out",)


def test_a_page_saved_under_a_csv_name_is_read_as_the_page_it_is(ingest):
    note = ingest("export.csv", "<!DOCTYPE html><html><body>Sorry, try again</body></html>")
    assert note.notes[0].startswith("no-listing-in-page")
