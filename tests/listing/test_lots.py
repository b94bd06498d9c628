"""Lots: pairs with a price of their own become listings, all others are set aside with a reason.

How sellers write lots: common practice, no source.
"""

from collections.abc import Callable
from datetime import date
from pathlib import Path

from triage.catalogue.words import Words
from triage.listing import run
from triage.listing.lots import REFUSALS
from triage.store import Connection, frame

Export = Callable[..., str]
NIGHT, BEFORE = date(2026, 11, 25), date(2026, 11, 24)
LOT = {
    "external_id": "L1", "seller": "kellerfund", "title": "Konvolut Schuhe", "condition": "gebraucht",
    "body": "Alles trocken gelagert.\nTorquellan High Gr. 43 1991 80 €\nHalvorett Gr. 42 120 €", "price": "200 €",
}  # fmt: skip
PARTS = "SELECT * FROM listing WHERE lot_id IS NOT NULL ORDER BY price_minor, listing_id"


def table() -> list[list[str]]:
    lines = (Path(__file__).parent / "lots.txt").read_text("utf-8").splitlines()
    return [line.rsplit(" => ", 1) for line in lines if line and not line.startswith("#")]


def test_every_lot_of_the_table_is_parted_or_left_as_a_person_would(
    store: Connection, export: Export, words: Words
) -> None:
    rows = []
    for number, (cells, _) in enumerate(table()):
        stated = [None if cell == "-" else cell.replace("¶", "\n") for cell in cells.split(" // ")]
        given = zip(("title", "body", "price", "size"), stated, strict=True)
        rows.append({"external_id": f"L{number:03}", **dict(given)})
    export(rows)
    run(store, words, NIGHT)
    found = dict(frame(store, "SELECT external_id, kind FROM listing WHERE lot_id IS NULL").rows())
    assert set(found.values()) == {"lot"}
    parts = "SELECT lot_id, string_agg(title || ' = ' || listing.price_minor, '; ' ORDER BY part) FROM listing "
    parts += "JOIN sighting USING (listing_id) WHERE lot_id IS NOT NULL GROUP BY lot_id"
    read = dict(frame(store, parts).rows())
    reasons = "SELECT 'attic board/L' || printf('%03d', row_no - 1), code FROM reject WHERE field = 'kind'"
    assert not set(read) & set(dict(frame(store, reasons).rows()))
    read |= dict(frame(store, reasons).rows())
    wrong = [
        (cells, expected, read.get(f"attic board/L{number:03}"))
        for number, (cells, expected) in enumerate(table())
        if read.get(f"attic board/L{number:03}") != expected
    ]
    assert not wrong, "\n".join(map(str, wrong))
    assert {expected for _, expected in table()} & set(REFUSALS)


def test_each_pair_of_a_lot_is_read_like_a_listing_of_its_own(store: Connection, export: Export, words: Words) -> None:
    export([LOT])
    run(store, words, NIGHT)
    one, other = frame(store, PARTS).rows(named=True)
    assert one["listing_id"].startswith("attic board/L1#")
    assert (one["lot_id"], one["kind"], one["title"]) == ("attic board/L1", "pair", "Torquellan High Gr. 43 1991")
    assert (one["price_minor"], one["currency"], one["stated_year_lo"]) == (8000, "EUR", 1991)
    assert (one["foot_mm_lo"], other["foot_mm_lo"]) == (266.7, 260.0)
    assert (one["condition"], one["seller"], one["body"]) == ("worn", "kellerfund", "Alles trocken gelagert")
    assert frame(store, "SELECT kind, lot_id FROM listing WHERE external_id = 'L1'").rows() == [("lot", None)]


def test_the_sizes_of_a_lot_go_to_its_pairs(store: Connection, export: Export, words: Words) -> None:
    export([{**LOT, "title": "Torquellan, mehrere Paare", "body": "60 € pro Paar", "size": "41, 42, 44"}])
    run(store, words, NIGHT)
    assert sorted(frame(store, PARTS)["size_text"]) == ["41", "42", "44"]


def test_a_pair_of_a_lot_keeps_its_id_when_the_others_change(store: Connection, export: Export, words: Words) -> None:
    export([LOT], BEFORE)
    export([{**LOT, "body": "Halvorett Gr. 42 100 €\nBrannhelm Gr. 44 70 €", "price": None}])
    run(store, words, NIGHT)
    found = {row["title"]: row for row in frame(store, PARTS).to_dicts()}
    halvorett = found["Halvorett Gr. 42"]
    assert (halvorett["price_minor"], halvorett["first_seen"], halvorett["status"]) == (10_000, BEFORE, "open")
    assert found["Torquellan High Gr. 43 1991"]["status"] == "gone"
    path = "SELECT seen_on, price_minor, first FROM sighting WHERE listing_id = ? ORDER BY seen_on"
    assert frame(store, path, [halvorett["listing_id"]]).rows() == [(BEFORE, 12_000, True), (NIGHT, 10_000, False)]


def test_a_row_counts_once_however_many_pairs_it_holds(store: Connection, export: Export, words: Words) -> None:
    export([LOT, {**LOT, "external_id": None}, {**LOT, "external_id": "L3", "body": "Ohne Preise."}])
    run(store, words, NIGHT)
    assert frame(store, "SELECT count(*) FROM sighting WHERE part = 0").rows() == [(3,)]
    assert frame(store, PARTS).height == 4
    assert set(frame(store, "SELECT lot_id FROM listing WHERE lot_id IS NOT NULL")["lot_id"]) <= set(
        frame(store, "SELECT listing_id FROM listing WHERE kind = 'lot'")["listing_id"]
    )


def test_a_lot_at_auction_stays_whole(store: Connection, export: Export, words: Words) -> None:
    export([{**LOT, "price_kind": "Auktion"}])
    run(store, words, NIGHT)
    assert frame(store, PARTS).is_empty()
    assert frame(store, "SELECT code, hint FROM reject").rows() == [("lot-at-auction", REFUSALS["lot-at-auction"])]


def test_the_pairs_of_one_lot_are_no_twins_of_one_another(store: Connection, export: Export, words: Words) -> None:
    export([{**LOT, "title": "3 Paar Torquellan High 43", "body": "60 € pro Paar, Sohle fest, mit Karton."}])
    run(store, words, NIGHT)
    assert frame(store, PARTS).height == 3
    assert frame(store, "FROM twin").is_empty()
