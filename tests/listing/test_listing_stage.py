from collections.abc import Callable
from datetime import date

from triage.catalogue.words import Words
from triage.listing import Reading, run, sort_out
from triage.store import Connection, frame

Export = Callable[..., str]
NIGHT = date(2026, 11, 25)
BEFORE = date(2026, 11, 24)
PAIR = {
    "external_id": "A1",
    "seller": "kellerfund",
    "seller_kind": "privat",
    "title": "Pellavane Morrivelle 180 Gr. 43 Original 1991 ungetragen OVP",
    "body": "Dachbodenfund, nie getragen, mit Karton.",
    "price": "180,00 €",
    "shipping": "7,00",
    "photo_count": "5",
}


def listing(store: Connection) -> dict:
    return frame(store, "FROM listing ORDER BY listing_id").row(0, named=True)


def test_a_row_becomes_a_listing_with_every_value_read(store: Connection, export: Export, words: Words) -> None:
    export([PAIR])
    run(store, words, NIGHT)
    found = listing(store)
    assert found["listing_id"] == "attic board/A1"
    assert (found["price_minor"], found["currency"], found["price_base_minor"]) == (18000, "EUR", 18000)
    assert (found["shipping_minor"], found["ships_from"], found["language"]) == (700, "DE", "de")
    assert (found["foot_mm_lo"], found["foot_mm_hi"], found["size_system"]) == (266.7, 276.7, None)
    assert (found["condition"], found["condition_conflict"], found["kind"]) == ("deadstock", False, "pair")
    assert (found["stated_year_lo"], found["stated_year_hi"], found["stated_year_kind"]) == (1991, 1991, "style")
    assert (found["seller_kind"], found["photo_count"], found["status"]) == ("private", 5, "open")
    assert found["first_seen"] == found["last_seen"] == NIGHT


def test_every_row_is_a_first_sighting_a_further_sighting_or_a_row_reject(
    store: Connection, export: Export, words: Words
) -> None:
    export([PAIR, {**PAIR, "external_id": "A2", "title": " "}], BEFORE)
    export([PAIR, {**PAIR, "external_id": "A3"}])
    run(store, words, NIGHT)
    count = "SELECT (SELECT count(*) FROM sighting WHERE first), (SELECT count(*) FROM sighting WHERE NOT first), "
    count += "(SELECT count(*) FROM reject WHERE scope = 'row'), (SELECT count(*) FROM raw_row)"
    assert store.execute(count).fetchall() == [(2, 1, 1, 4)]


def test_a_second_run_changes_nothing(store: Connection, export: Export, words: Words) -> None:
    export([PAIR, {**PAIR, "external_id": "A2", "title": None}, {**PAIR, "external_id": "A3", "price": "40-60 €"}])
    run(store, words, NIGHT)
    tables = ("listing", "sighting", "reject", "twin")
    before = [frame(store, f"FROM {table} ORDER BY ALL") for table in tables]
    run(store, words, NIGHT)
    assert [
        frame(store, f"FROM {table} ORDER BY ALL").equals(old) for table, old in zip(tables, before, strict=True)
    ] == [True] * len(tables)


def test_a_bad_value_is_rejected_and_the_listing_lives_on(store: Connection, export: Export, words: Words) -> None:
    export([{**PAIR, "price": "40-60 €", "size": "41, 42, 44", "url": "ftp://x", "photo_count": "many"}])
    run(store, words, NIGHT)
    found = frame(store, "SELECT field, code, value, scope FROM reject ORDER BY field").rows()
    assert found == [
        ("kind", "lot-of-one-price", PAIR["title"], "value"),
        ("photo_count", "no-count", "many", "value"),
        ("price", "several-numbers", "40-60 €", "value"),
        ("size", "several-sizes", "41, 42, 44", "value"),
        ("url", "no-web-address", "ftp://x", "value"),
    ]
    assert (listing(store)["price_minor"], listing(store)["url"], listing(store)["photo_count"]) == (None, None, None)


def test_photos_are_counted_from_numbers_lists_and_addresses(store: Connection, export: Export, words: Words) -> None:
    lists = [
        "7",
        "3.0",
        "[]",
        '["a.jpg", "b.jpg"]',
        '[{"url": "a"}, {"url": "b"}, {"url": "c"}]',
        "https://x.example/1 https://x.example/2",
    ]
    rows = [{**PAIR, "external_id": f"A{n}", "photo_count": None, "images": cell} for n, cell in enumerate(lists)]
    export(rows)
    run(store, words, NIGHT)
    found = frame(store, "SELECT photo_count FROM listing ORDER BY listing_id")["photo_count"].to_list()
    assert found == [7, 3, 0, 2, 3, 2]


def test_a_place_that_cannot_be_read_is_not_taken_for_the_feeds_own_country(
    store: Connection, export: Export, words: Words
) -> None:
    places = [
        "Atlantis",
        "Los Angeles, CA",
        "Wien, Österreich",
        "AT",
        "uk",
        "U.S.A.",
        "Japan",
        "日本",
        "Lyon (France)",
        "UA",
    ]
    export([{**PAIR, "external_id": f"A{n}", "ships_from": place} for n, place in enumerate(places)])
    run(store, words, NIGHT)
    found = frame(store, "SELECT ships_from FROM listing ORDER BY listing_id")["ships_from"].to_list()
    # without the regions, "CA" is not taken for Canada
    assert found == [None, None, "AT", "AT", "GB", "US", "JP", "JP", "FR", "UA"]
    assert set(frame(store, "SELECT field, code FROM reject").rows()) == {("ships_from", "unknown-country")}


def test_a_listing_shows_its_latest_night_and_keeps_every_price(
    store: Connection, export: Export, words: Words
) -> None:
    export([{**PAIR, "price": "150"}])
    run(store, words, NIGHT)
    export([{**PAIR, "price": "180"}], BEFORE)  # an older export read later
    run(store, words, NIGHT)
    found = listing(store)
    assert (found["price_minor"], found["first_seen"], found["last_seen"]) == (15000, BEFORE, NIGHT)
    path = frame(store, "SELECT seen_on, price_minor, first FROM sighting ORDER BY seen_on").rows()
    assert path == [(BEFORE, 18000, True), (NIGHT, 15000, False)]


def test_a_listing_missing_from_a_whole_export_is_gone(store: Connection, export: Export, words: Words) -> None:
    export([PAIR, {**PAIR, "external_id": "A2", "status": "verkauft"}, {**PAIR, "external_id": "A3"}], BEFORE)
    export([{**PAIR, "external_id": "A3"}])
    run(store, words, NIGHT)
    status = dict(frame(store, "SELECT external_id, status FROM listing").rows())
    assert status == {"A1": "gone", "A2": "sold", "A3": "open"}


def test_a_listing_missing_from_a_partial_export_stays_open(store: Connection, export: Export, words: Words) -> None:
    export([PAIR, {**PAIR, "external_id": "A3"}], BEFORE, snapshot=False)
    export([{**PAIR, "external_id": "A3"}], snapshot=False)
    run(store, words, NIGHT)
    assert dict(frame(store, "SELECT external_id, status FROM listing").rows()) == {"A1": "open", "A3": "open"}


def test_a_row_without_an_id_is_known_again_by_seller_title_and_size(
    store: Connection, export: Export, words: Words
) -> None:
    nameless = {key: value for key, value in PAIR.items() if key != "external_id"}
    export([{**nameless, "price": "180"}], BEFORE)
    export([{**nameless, "price": "160"}])
    run(store, words, NIGHT)
    assert frame(store, "SELECT count(*), min(external_id) FROM listing").rows()[0][0] == 1
    assert listing(store)["external_id"].startswith("h")
    assert listing(store)["price_minor"] == 16000


def test_html_entities_and_mojibake_are_undone(store: Connection, export: Export, words: Words) -> None:
    body = "<p>SchÃ¶ne Schuhe &amp; Karton</p><script>var x = 'never worn';</script><br>Gr&ouml;&szlig;e 43"
    export([{**PAIR, "body": body}])
    run(store, words, NIGHT)
    assert listing(store)["body"] == "Schöne Schuhe & Karton\nGröße 43"


def test_a_description_that_ends_in_mid_sentence_is_marked(store: Connection, export: Export, words: Words) -> None:
    bodies = ["Nie getragen, mit Karton …", "The soles are yellowed and", "Worn twice, see photos", "Nie getragen."]
    export([{**PAIR, "external_id": f"A{n}", "body": body} for n, body in enumerate(bodies)])
    run(store, words, NIGHT)
    cut = frame(store, "SELECT text_cut FROM listing ORDER BY listing_id")["text_cut"].to_list()
    assert cut == [True, True, False, False]


def test_one_seller_listing_a_pair_again_is_a_relist_with_reasons(
    store: Connection, export: Export, words: Words
) -> None:
    export([PAIR], BEFORE)
    export([{**PAIR, "external_id": "B7", "price": "150"}])
    run(store, words, NIGHT)
    twins = frame(store, "SELECT listing_id, twin_id, kind, probability, why FROM twin ORDER BY listing_id")
    assert twins["listing_id"].to_list() == ["attic board/A1", "attic board/B7"]
    assert twins["twin_id"].to_list() == ["attic board/B7", "attic board/A1"]
    assert set(twins["kind"]) == {"relist"}
    assert min(twins["probability"]) > 0.9
    assert "same seller" in twins["why"][0]


def test_a_night_that_ended_before_twins_were_looked_for_leaves_that_to_the_next(
    store: Connection, export: Export, words: Words
) -> None:
    export([PAIR], BEFORE)
    copied = {**PAIR, "external_id": "C1"}
    export([copied], BEFORE, source="ridge club")
    run(store, words, BEFORE)
    assert frame(store, "FROM twin").height == 2
    again = export([{**PAIR, "external_id": "B7", "price": "150"}])
    sort_out(store, Reading(words), [again])
    run(store, words, NIGHT)
    assert set(frame(store, "FROM twin")["listing_id"]) == {"attic board/A1", "attic board/B7", "ridge club/C1"}


def test_two_listings_open_on_the_same_night_are_no_relist(store: Connection, export: Export, words: Words) -> None:
    export([PAIR, {**PAIR, "external_id": "B7"}])
    run(store, words, NIGHT)
    assert frame(store, "FROM twin").is_empty()


def test_photos_are_known_by_the_last_part_of_their_address(store: Connection, export: Export, words: Words) -> None:
    cells = {
        '["https://img.example/u/77/IMG_20260914_183211.JPG?w=800", "https://img.example/a/b/Foto-1_800x600.jpeg"]':
            "foto-1 img_20260914_183211",
        "https://cdn.example/7/8f3a991277650b/ , p2.jpg": "8f3a991277650b p2",
        '[{"url": "https:\\/\\/cdn.example\\/x_thumb.webp", "width": 800}]': "x",
        "shoe@2x.png|shoe-large.png": "shoe",
        "7": None,
        "[]": None,
    }  # fmt: skip
    export([{**PAIR, "external_id": f"A{n}", "images": cell} for n, cell in enumerate(cells)])
    run(store, words, NIGHT)
    found = frame(store, "SELECT image_names FROM listing ORDER BY listing_id")["image_names"].to_list()
    assert found == list(cells.values())


def test_what_a_category_calls_something_else_is_no_pair(store: Connection, export: Export, words: Words) -> None:
    cells = {
        "Poster": "accessory", "Kleidung > Jacken": "accessory", "靴下": "accessory", "Jacken & Schuhe": "pair",
        "Sportschuhe": "pair", "Herrenmode": "pair", "靴/スニーカー": "pair",
    }  # fmt: skip
    export([{**PAIR, "external_id": f"A{n}", "category": cell} for n, cell in enumerate(cells)])
    run(store, words, NIGHT)
    assert frame(store, "SELECT kind FROM listing ORDER BY listing_id")["kind"].to_list() == list(cells.values())


def test_words_beside_a_price_say_that_its_postage_is_in_it(store: Connection, export: Export, words: Words) -> None:
    cells = ["80 € inkl. Versand", "80 € shipped", "80 € zzgl. Versand", "80 €"]
    export([{**PAIR, "external_id": f"A{n}", "price": cell, "shipping": None} for n, cell in enumerate(cells)])
    run(store, words, NIGHT)
    found = frame(store, "SELECT price_minor, shipping_minor FROM listing ORDER BY listing_id").rows()
    assert found == [(8000, 0), (8000, 0), (8000, None), (8000, None)]


def test_a_premium_is_read_from_its_column_and_from_the_text(store: Connection, export: Export, words: Words) -> None:
    rows = [{"premium": "18 %"}, {"body": "Zzgl. 20 % Aufgeld."}, {"premium": "viel"}, {}]
    export([{**PAIR, "external_id": f"A{n}", **row} for n, row in enumerate(rows)])
    run(store, words, NIGHT)
    assert frame(store, "SELECT premium_rate FROM listing ORDER BY listing_id")["premium_rate"].to_list() == [
        0.18, 0.2, None, None,
    ]  # fmt: skip
    assert frame(store, "SELECT field, code, value FROM reject").rows() == [("premium", "no-percentage", "viel")]
