"""When two listings are one pair, and when they are not."""

import logging
from datetime import date
from typing import Any

import polars as pl
import pytest

from triage.catalogue.words import Words
from triage.listing.twins import find_twins

MAY, JULY, NOVEMBER = date(2026, 5, 3), date(2026, 7, 1), date(2026, 11, 24)
PAIR = {
    "source": "attic board",
    "seller": "kellerfund",
    "title": "Haldrassen Torquellan High 2013 schwarz rost Gr. 43",
    "body": "Dachbodenfund, selten getragen, Sohle federt zurück. Kleber an der Spitze leicht offen.",
    "price_base_minor": 24000,
    "foot_mm_lo": 266.7,
    "foot_mm_hi": 276.7,
}


def listings(*rows: dict[str, Any]) -> pl.DataFrame:
    """Return listings that differ from ``PAIR`` as told; ids A, B, C and so on."""
    named = [
        {"listing_id": f"{chr(65 + n)}", "last_seen": row["first_seen"], **PAIR, **row} for n, row in enumerate(rows)
    ]
    named = [{"image_names": None, **row} for row in named]
    schema = {"image_names": pl.String, "seller": pl.String, "body": pl.String, "price_base_minor": pl.Int64}
    return pl.DataFrame(named, schema_overrides={**schema, "foot_mm_lo": pl.Float64, "foot_mm_hi": pl.Float64})


def couples(found: pl.DataFrame) -> set[tuple[str, str, str]]:
    return {(one, other, kind) for one, other, kind in found.select("listing_id", "twin_id", "kind").iter_rows()}


def test_a_pair_listed_three_times_is_told_as_a_story(words: Words) -> None:
    found = find_twins(
        listings(
            {"first_seen": MAY},
            {"first_seen": JULY, "price_base_minor": 21000},
            {"first_seen": NOVEMBER, "price_base_minor": 18000},
        ),
        words.twin,
    )
    why = found.filter((pl.col("listing_id") == "C") & (pl.col("twin_id") == "A"))["why"][0]
    assert "third listing since May 2026, 240 -> 180" in why


def test_couples_are_stored_both_ways_with_one_probability(words: Words) -> None:
    found = find_twins(listings({"first_seen": MAY}, {"first_seen": JULY}), words.twin)
    assert couples(found) == {("A", "B", "relist"), ("B", "A", "relist")}
    assert found["probability"].n_unique() == 1


def test_listings_open_at_the_same_time_are_no_relist(words: Words) -> None:
    found = find_twins(listings({"first_seen": MAY, "last_seen": JULY}, {"first_seen": JULY}), words.twin)
    assert found.is_empty()


def test_another_size_is_another_pair(words: Words) -> None:
    other = {"first_seen": JULY, "foot_mm_lo": 273.3, "foot_mm_hi": 283.3}
    assert find_twins(listings({"first_seen": MAY}, other), words.twin).is_empty()


def test_another_sellers_listing_on_the_same_marketplace_is_no_relist(words: Words) -> None:
    found = find_twins(listings({"first_seen": MAY}, {"first_seen": JULY, "seller": "dachboden"}), words.twin)
    assert found.is_empty()


@pytest.mark.parametrize(
    "title",
    [
        "Haldrassen Torquellan High 2013 schwarz rost Gr. 43 REDUZIERT",
        "RAR! Haldrassen Torquellan High 2013 schwarz rost Gr. 43",
        "haldrassen torquellan high 2013 schwarz rost gr. 43",
        "Haldrasen Torquellan High 2013 schwarz rost Gr. 43",
        "Gr. 43 Haldrassen Torquellan High 2013 schwarz rost",
    ],
)
def test_a_relist_is_known_under_another_title(title: str, words: Words) -> None:
    assert couples(find_twins(listings({"first_seen": MAY}, {"first_seen": JULY, "title": title}), words.twin))


@pytest.mark.parametrize(
    "title",
    [
        "Haldrassen Torquellan High 2013 weiß blau Gr. 43",
        "Pellavane Morrivelle 180 E signal Gr. 43",
        "Haldrassen Torquellan High 1991 moos rost Gr. 43",
    ],
)
def test_another_colour_or_model_of_the_same_seller_is_another_pair(title: str, words: Words) -> None:
    other = {"first_seen": JULY, "title": title, "body": "Aus meiner Sammlung, gebraucht, siehe Bilder, bitte fragen."}
    assert find_twins(listings({"first_seen": MAY}, other), words.twin).is_empty()


def test_a_copy_on_another_marketplace_may_be_open_at_the_same_time(words: Words) -> None:
    copy = {"first_seen": MAY, "source": "harbour auction", "seller": "kf_2"}
    assert couples(find_twins(listings({"first_seen": MAY}, copy), words.twin)) == {
        ("A", "B", "copy"),
        ("B", "A", "copy"),
    }


def test_the_same_title_with_another_text_elsewhere_is_no_copy(words: Words) -> None:
    other = {
        "first_seen": MAY, "source": "harbour auction", "seller": "someone", "price_base_minor": 9000,
        "body": "Bought these in a sale years ago, worn to work, heel tab cracked, box included.",
    }  # fmt: skip
    assert find_twins(listings({"first_seen": MAY}, other), words.twin).is_empty()


def test_likeness_to_a_third_makes_no_couple(words: Words) -> None:
    # A is like B (title), B is like C (text), A and C share little
    a = {"first_seen": MAY, "body": "Nur Abholung in Bayern, Barzahlung, keine Garantie, kein Umtausch möglich."}
    b = {"first_seen": JULY}
    c = {
        "first_seen": NOVEMBER,
        "title": "Ostrevik Holmkrag Wanderstiefel braun Leder Gr. 43",
        "body": "Schuhe vom Opa, schwer, genäht.",
    }
    found = couples(find_twins(listings(a, b, c), words.twin))
    assert ("A", "B", "relist") in found
    assert ("A", "C", "relist") not in found


def test_a_dealers_stock_of_like_pairs_is_no_chain_of_relists(words: Words) -> None:
    stock = [{"first_seen": MAY, "last_seen": JULY}] * 6 + [{"first_seen": NOVEMBER}] * 6
    assert find_twins(listings(*stock), words.twin).is_empty()


def test_blocks_above_the_cap_are_left_out_and_said_so(words: Words, caplog: pytest.LogCaptureFixture) -> None:
    many = [{"first_seen": MAY}] * (words.twin.block_cap + 1)
    with caplog.at_level(logging.INFO, logger="triage.listing.twins"):
        assert find_twins(listings(*many), words.twin).is_empty()
    assert f"more than {words.twin.block_cap} listings left out, {len(many)} listings in them" in caplog.text


def test_a_title_of_one_word_makes_no_relist(words: Words) -> None:
    a = {"first_seen": MAY, "title": "Rare vintage! Schuhe 43", "body": None}
    assert find_twins(listings(a, {**a, "first_seen": JULY, "title": "SCHUHE Gr. 43"}), words.twin).is_empty()


def test_listings_without_seller_text_price_or_size_are_judged_without_a_fault(words: Words) -> None:
    bare = {"seller": None, "body": None, "price_base_minor": None, "foot_mm_lo": None, "foot_mm_hi": None}
    found = find_twins(listings({**bare, "first_seen": MAY}, {**bare, "first_seen": JULY}), words.twin)
    assert found.is_empty()


def told(one: dict[str, Any], other: dict[str, Any], words: Words) -> tuple[float, str]:
    """Return probability and reasons of a pair and its copy on another marketplace; 0 where there is no couple."""
    copy = {"first_seen": MAY, "source": "harbour auction", "seller": "someone", **other}
    found = find_twins(listings({"first_seen": MAY, **one}, copy), words.twin)
    return (0.0, "") if found.is_empty() else (found["probability"][0], found["why"][0])


REWORDED = {"body": "Bought these in a sale years ago, worn to work now and then, box included, collection or post."}


def test_a_photo_of_the_same_file_name_makes_a_reworded_copy_known(words: Words) -> None:
    name = "img_20260914_183211"
    assert told({}, REWORDED, words)[0] == 0
    probability, why = told({"image_names": f"{name} image1"}, {**REWORDED, "image_names": name}, words)
    assert probability > 0.5
    assert "a photo of the same file name" in why


def test_everyday_file_names_weigh_little(words: Words) -> None:
    generic = {"image_names": "image1 image2 img_0001"}
    assert told(generic, {**REWORDED, **generic}, words)[0] == 0
    plain, _ = told({}, {}, words)
    more, why = told(generic, generic, words)
    assert 0 <= more - plain < 0.05
    assert "everyday file name" in why


def test_a_photo_in_many_listings_is_a_catalogues_not_a_pairs(words: Words) -> None:
    stock = {"image_names": "shot_20260914_183211", **REWORDED}
    many = [{"first_seen": MAY, "source": f"market {n}", "seller": f"dealer {n}", **stock,
             "title": f"{PAIR['title']} Modell {n}"} for n in range(words.twin.template_uses + 1)]  # fmt: skip
    listed = listings({"first_seen": MAY, "image_names": "shot_20260914_183211"}, *many)
    assert find_twins(listed, words.twin).filter(pl.col("why").str.contains("a photo of the same file name")).is_empty()


def test_a_shared_photo_makes_no_twin_across_sizes_and_no_relist_of_two_open_at_once(words: Words) -> None:
    photo = {"image_names": "img_20260914_183211"}
    other_size = {**photo, "foot_mm_lo": 273.3, "foot_mm_hi": 283.3}
    assert told(photo, other_size, words) == (0.0, "")
    assert find_twins(listings({"first_seen": MAY, **photo}, {"first_seen": MAY, **photo}), words.twin).is_empty()


def test_other_file_names_speak_against_nothing(words: Words) -> None:
    one, other = {"image_names": "img_20260914_183211"}, {"image_names": "8f3a99127765"}
    assert told(one, other, words)[0] == told({}, {}, words)[0] > 0.5


def test_one_photo_of_a_stock_says_nothing_about_which_pair(words: Words) -> None:
    def chances(**photo: str) -> list[float]:
        stock = [{"first_seen": MAY, "last_seen": JULY, **photo}] * 3 + [{"first_seen": NOVEMBER, **photo}] * 3
        return find_twins(listings(*stock), words.twin)["probability"].to_list()

    assert chances(image_names="img_20260914_183211") == chances()
