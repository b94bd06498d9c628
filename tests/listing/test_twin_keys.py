"""What texts hash to is kept from night to night, and is never another text's."""

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta

import polars as pl

from triage.catalogue.words import Words
from triage.listing import run
from triage.listing.twins import KEYED, LISTINGS, find_twins, text_keys
from triage.store import Connection, frame

NIGHT = date(2026, 11, 25)
PAIR = {
    "external_id": "A1",
    "seller": "kellerfund",
    "title": "Pellavane Morrivelle 180 Gr. 43 Original 1991",
    "body": "Dachbodenfund, nie getragen, mit Karton. Nur an Selbstabholer oder gut verpackt mit der Post.",
    "price": "180,00 €",
}
Export = Callable[..., str]


def kept(store: Connection) -> pl.DataFrame:
    return frame(store, "SELECT * EXCLUDE (made_by) FROM twin_key ORDER BY listing_id")


def anew(store: Connection, words: Words) -> pl.DataFrame:
    return text_keys(frame(store, LISTINGS).select("listing_id", "title", "body"), words.twin)


def test_keys_follow_the_text_through_the_nights(store: Connection, export: Export, words: Words) -> None:
    nights = [
        {"A1": {}, "A2": {"title": "Ostrevik Holmkrag 44 getragen"}, "A3": {"body": None}},
        {"A1": {"body": "Getragen, ohne Karton, Sohle löst sich."}, "A2": {"title": "Ostrevik Holmkrag 44"}, "A3": {}},
        {"A1": {"price": "150"}, "A3": {"title": "Zephrune 1984 neu Gr. 42", "body": None}, "A4": {}},
    ]
    for number, rows in enumerate(nights):
        seen_on = NIGHT + timedelta(days=number)
        export([{**PAIR, "external_id": name, **cells} for name, cells in rows.items()], seen_on)
        run(store, words, seen_on)
        assert kept(store).equals(anew(store, words))
        twins = frame(store, "FROM twin ORDER BY listing_id, twin_id")
        assert twins.equals(find_twins(frame(store, LISTINGS), words.twin))


def test_a_couple_is_told_by_the_words_of_tonight(store: Connection, export: Export, words: Words) -> None:
    later = {**PAIR, "external_id": "A2", "title": "Zephrune Hochland 44", "size": "44", "body": "Getragen."}
    export([PAIR], NIGHT)
    export([later], NIGHT + timedelta(days=1))
    run(store, words, NIGHT + timedelta(days=1))
    assert frame(store, "FROM twin").is_empty()
    export([{**PAIR, "external_id": "A2"}], NIGHT + timedelta(days=2))
    run(store, words, NIGHT + timedelta(days=2))
    assert frame(store, "SELECT DISTINCT kind FROM twin").rows() == [("relist",)]


def test_what_is_no_pair_any_more_has_no_keys(store: Connection, export: Export, words: Words) -> None:
    export([PAIR, {**PAIR, "external_id": "A2"}])
    run(store, words, NIGHT)
    assert kept(store)["listing_id"].to_list() == ["attic board/A1", "attic board/A2"]
    export(
        [PAIR, {**PAIR, "external_id": "A2", "title": "Suche Pellavane Morrivelle 180 Gr. 43"}], NIGHT + timedelta(1)
    )
    run(store, words, NIGHT + timedelta(1))
    kinds = frame(store, "SELECT kind FROM listing ORDER BY listing_id")["kind"].to_list()
    assert kinds[0] == "pair"
    assert kinds[1] != "pair"
    assert kept(store)["listing_id"].to_list() == ["attic board/A1"]


def test_other_noise_words_make_all_keys_anew(store: Connection, export: Export, words: Words) -> None:
    export([PAIR, {**PAIR, "external_id": "A2"}])
    run(store, words, NIGHT)
    before = kept(store)
    noise = words.twin.noise.model_copy(update={"words": [*words.twin.noise.words, "morrivelle"]})
    others = replace(words, twin=words.twin.model_copy(update={"noise": noise}))
    export([PAIR], NIGHT + timedelta(days=1))
    run(store, others, NIGHT + timedelta(days=1))
    assert kept(store).equals(anew(store, others))
    assert (kept(store)["name"] != before["name"]).all()
    assert (kept(store)["pattern"] == before["pattern"]).all()


def test_listings_come_without_their_texts(store: Connection, export: Export, words: Words) -> None:
    export([PAIR])
    run(store, words, NIGHT)
    assert json.dumps(frame(store, KEYED).to_dicts(), default=str).find("Dachbodenfund") < 0
