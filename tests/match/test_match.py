"""Stage 3 on the two dozen teaching listings and on texts that set a trap."""

import json
from datetime import date
from pathlib import Path

import polars as pl
import pytest

from tests.match.conftest import as_listings
from triage.catalogue.constructions import Constructions, load_constructions
from triage.catalogue.matching import MatchWeights
from triage.match import link, run
from triage.store import connect, frame

TEACHING = [
    json.loads(line) for line in Path(__file__).with_name("teaching_listings.jsonl").read_text("utf-8").splitlines()
]
SHOES = [one for one in TEACHING if one["true_release"] != "-"]
# What the listing stage reads of the body's years: (first, last, what they are).
YEARS = {"D11": (1989, 1989, "made"), "D12": (2002, 2002, "purchase"), "D22": (2015, 2015, "purchase")}
LEFT_OPEN = {"D01", "D08", "D13", "D16"}  # the text fits several releases; see the expected reading of each


def places(title: str, constructions: Constructions, weights: MatchWeights, **more: list[str]) -> dict[str, float]:
    found = link(as_listings([title], **more), constructions, weights).match
    return dict(zip(found["construction_id"].to_list(), found["probability"].to_list(), strict=True))


@pytest.mark.parametrize("listing", SHOES, ids=[one["listing_id"] for one in SHOES])
def test_a_teaching_listing_is_its_release(
    listing: dict[str, str], constructions: Constructions, weights: MatchWeights
) -> None:
    listings = as_listings([listing["title"]], [listing["description"]], [listing["size_text"]])
    lo, hi, kind = YEARS.get(listing["listing_id"], (None, None, None))
    listings = listings.with_columns(
        stated_year_lo=pl.lit(lo, pl.Int32),
        stated_year_hi=pl.lit(hi, pl.Int32),
        stated_year_kind=pl.lit(kind, pl.String),
    )
    found = link(listings, constructions, weights).match
    first = found.row(0, named=True)
    assert first["construction_id"] == listing["true_release"]
    assert not (listing["listing_id"] in LEFT_OPEN and first["accepted"])
    assert found["probability"].sum() == pytest.approx(1, abs=1e-9)


def test_only_pairs_get_places_and_the_store_holds_one_set_of_rows(
    constructions: Constructions, weights: MatchWeights
) -> None:
    store = connect()
    for number, kind in ((1, "pair"), (2, "accessory")):
        store.execute(
            "INSERT INTO listing (listing_id, source, external_id, title, price_kind, condition, kind,"
            " first_seen, last_seen, status) VALUES (?, 'a', ?, 'Pellavane Tollareth 1995', 'fixed', 'unknown', ?,"
            " '2026-11-24', '2026-11-24', 'open')",
            [f"a/{number}", str(number), kind],
        )
    store.execute("CREATE TEMP TABLE todo AS SELECT listing_id FROM listing")
    for _ in range(2):
        run(store, constructions, weights, date(2026, 11, 25))
    rows = frame(store, "SELECT listing_id, place, construction_id FROM match ORDER BY ALL").rows()
    assert rows[0] == ("a/1", 1, "PV-11")
    assert {row[0] for row in rows} == {"a/1"}
    evidence = frame(store, "SELECT field, weight FROM match_evidence WHERE construction_id = 'PV-11' ORDER BY ALL")
    assert {"model", "maker", "year"} <= set(evidence["field"])


def test_no_listing_at_all_gives_no_rows(constructions: Constructions, weights: MatchWeights) -> None:
    found = link(as_listings([]), constructions, weights)
    assert found.match.is_empty()
    assert found.evidence.is_empty()


def test_without_any_release_or_any_generic_construction_every_listing_still_has_a_place(
    constructions: Constructions, weights: MatchWeights
) -> None:
    listings = as_listings(["Pellavane Zephrune 1985", "HDN-00-0914", ""])
    nothing = Constructions(constructions.table.clear(), constructions.generic.clear())
    assert link(listings, nothing, weights).match["level"].to_list() == ["none"] * 3
    bare = link(listings, Constructions(constructions.table, constructions.generic.clear()), weights).match
    assert bare.filter(pl.col("place") == 1)["construction_id"].to_list() == ["PV-01", "HD-03", None]


def test_a_style_number_beats_the_year_in_the_title(constructions: Constructions, weights: MatchWeights) -> None:
    for number in ("HDN-00-0914", "hdn 00 0914", "HDN000914", "HDN-0-914", "00-0914", "HDN-OO-O914"):
        found = places(f"Torquellan High black/rust 1991 {number} sz 9.5", constructions, weights)
        assert found["HD-03"] > 0.95, number


def test_a_style_number_of_the_shape_in_no_row_is_none_of_them(
    constructions: Constructions, weights: MatchWeights
) -> None:
    found = link(as_listings(["Haldrassen Torquellan High HDN-95-0777"]), constructions, weights).match
    assert found.row(0, named=True)["level"] == "generic"


def test_a_model_named_for_comparison_is_not_what_is_sold(constructions: Constructions, weights: MatchWeights) -> None:
    titles = (
        "Running shoes similar to Pellavane Zephrune", "not Zephrune, no name runner", "Zephrune style joggers",
        "Laufschuhe wie Zephrune", "Scarpe tipo Zephrune", "ゼフルーン風スニーカー", "chaussures style Zephrune",
    )  # fmt: skip
    for title in titles:
        found = places(title, constructions, weights)
        assert not any(key and key.startswith("PV") and p > 0.05 for key, p in found.items()), title


def test_a_title_stuffed_with_names_names_none_of_them(constructions: Constructions, weights: MatchWeights) -> None:
    found = places("Lindravo Zephrune Torquellan Tollareth Holmkrag shoes size 9", constructions, weights)
    assert max(p for key, p in found.items() if key and not key.startswith("generic")) < 0.25


def test_sizes_and_years_are_not_taken_for_model_numbers(constructions: Constructions, weights: MatchWeights) -> None:
    for title in ("Brelloway Merridune size 15", "Brelloway Merridune US 15", "Brelloway Merridune 1997 42.5"):
        found = places(title, constructions, weights)
        assert found["BL-11"] > found.get("BL-12", 0), title
    assert places("Brelloway Merridune 15 size 9", constructions, weights)["BL-12"] > 0.9


def test_a_number_that_differs_is_another_model(constructions: Constructions, weights: MatchWeights) -> None:
    found = link(as_listings(["Pellavane Morrivelle 280 size 9"]), constructions, weights).match
    assert found["construction_id"][0].startswith("generic-running")


def test_slips_of_the_pen_are_put_right(constructions: Constructions, weights: MatchWeights) -> None:
    for title in ("Haldrasen Torquelan High 2012", "Haldrassen Torquellna High 2012", "haldrassen toruqellan hi 2012"):
        assert places(title, constructions, weights)["HD-04"] > 0.8, title


def test_a_childrens_version_is_not_the_release_for_adults(constructions: Constructions, weights: MatchWeights) -> None:
    for title in ("Brelloway Merridune 15 youth GS 5.5Y", "メリデューン15 キッズ 22cm", "Zephrune junior Pellavane 28"):
        found = link(as_listings([title]), constructions, weights).match
        assert found["level"][0] in ("generic", "none"), title


def test_a_maker_alone_leads_to_a_release_when_enough_else_fits(
    constructions: Constructions, weights: MatchWeights
) -> None:
    assert places("Pellavane runner, silver maroon, 2015", constructions, weights)["PV-04"] > 0.5
    vague = places("Pellavane running shoes", constructions, weights)
    assert max(p for key, p in vague.items() if key and key.startswith("PV")) < 0.2


def test_releases_that_the_text_cannot_tell_apart_share_the_probability(
    constructions: Constructions, weights: MatchWeights
) -> None:
    found = places("Pellavane Zephrune Classic silver maroon", constructions, weights)
    assert found["PV-03"] == pytest.approx(found["PV-04"], abs=1e-12)
    assert found["PV-03"] > 0.4


def test_a_tie_names_the_parts_it_settles_and_the_question_that_ends_it(
    constructions: Constructions, weights: MatchWeights
) -> None:
    found = link(
        as_listings(["Pellavane Zephrune Classic silver maroon", "Pellavane Tollareth 1995"]), constructions, weights
    )
    told = found.evidence.filter(pl.col("field").is_in(["told apart by", "the same in all"]))
    assert set(told["listing_id"]) == {"L000"}
    values = dict(told.select("field", "table_value").rows())
    assert values["told apart by"] == "style number on the size label: PLV84/412, PLV84/914"
    assert {"midsole", "outsole", "bond"} <= set(values["the same in all"].split(", "))
    assert (told["weight"] == 0).all()


def test_a_tie_without_style_numbers_asks_for_the_year_of_make(weights: MatchWeights, tmp_path: Path) -> None:
    table = tmp_path / "mine.csv"
    table.write_text(
        "model_id,maker,model,made_from,made_to,midsole\n"
        "A-1,Oddmaker,Lumvar,1990-01,1991-12,pu_ester_midsole\nA-2,Oddmaker,Lumvar,2005-01,2006-12,eva_structural\n",
        "utf-8",
    )
    found = link(as_listings(["Oddmaker Lumvar size 9"]), load_constructions([table], []), weights)
    told = found.evidence.filter(pl.col("field") == "told apart by")
    assert told["table_value"].to_list() == ["year of make on the label: 1990 to 1991, 2005 to 2006"]
    assert found.match["probability"][0] == pytest.approx(found.match["probability"][1], abs=1e-12)


def test_a_shoe_in_no_table_gets_the_construction_its_words_point_to(
    constructions: Constructions, weights: MatchWeights
) -> None:
    wanted = {
        "Nameless tennis shoes painted midsole 1992": "generic-tennis-foam-1990s",
        "Wanderstiefel zwiegenäht Leder": "generic-boots-welted",
        "Winterstiefel PU-Sohle 1995": "generic-winter-unit-pu",
        "chaussures de trail EVA 2006": "generic-trail-eva-2000s",
        "old leather thing": None,
    }
    found = link(as_listings(list(wanted)), constructions, weights).match.filter(pl.col("place") == 1)
    assert found["construction_id"].to_list() == list(wanted.values())
    assert found["level"].to_list() == ["generic"] * 4 + ["none"]
