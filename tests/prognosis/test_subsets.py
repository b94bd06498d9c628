"""Pairs that led the same life share one row of arithmetic; nobody's figures depend on who else is weighed."""

from datetime import date

import polars as pl

from triage.prognosis import run
from triage.prognosis.clocks import LIFE, clocks_of, decimal_year, distinct_lives

CUPSOLE = {"title": "Brelloway Lindravo BW4104.02"}
WELTED = {"title": "Ostrevik Holmkrag OV4107B welted boots"}
PAIRS = {
    "a": {**CUPSOLE, "body": "Nice."},
    "b": {**CUPSOLE, "body": "Good shoes."},
    "c": {**CUPSOLE, "body": "Stored in the attic.", "ships_from": "SG"},
    "d": {**WELTED, "body": "Resoled in 2019 by a cobbler, new soles."},
    "e": {"title": "old boots", "body": "worn last week, no problems."},
}
QUERY = "SELECT * FROM prognosis WHERE listing_id = ? ORDER BY place, part, horizon_years"


def rows(found, listing: str) -> list[tuple]:
    return found.connection.execute(QUERY, [listing]).fetchall()


def test_a_pair_weighed_alone_has_the_same_figures_to_the_last_bit(weigh):
    together = weigh(**PAIRS)
    for name in ("b", "d", "e"):
        assert rows(weigh(**{name: PAIRS[name]}), name) == rows(together, name)


def test_every_key_is_written_once_and_in_the_order_of_the_listings(weigh, known):
    found = weigh(**PAIRS)
    horizons = {buyer.horizon_years for buyer in known.buyers.values()}
    led = found.connection.execute("SELECT listing_id, place FROM life_led ORDER BY rowid").fetchall()
    aged = found.connection.execute(
        "SELECT life, part, horizon_years, climate FROM life_part ORDER BY rowid"
    ).fetchall()
    for keys in (led, aged):
        assert len(keys) == len(set(keys)) > 0
        assert [key[0] for key in keys] == sorted(key[0] for key in keys)
    assert {key[2] for key in aged} == horizons


def test_lives_that_nobody_leads_any_more_go(weigh, known):
    found = weigh(**PAIRS)
    before = rows(found, "b")
    lives = "SELECT DISTINCT life FROM life_part ORDER BY life"
    first = found.connection.execute(lives).fetchall()
    found.connection.execute("CREATE OR REPLACE TEMP TABLE todo AS SELECT 'c' AS listing_id")
    run(
        found.connection, dict(known.materials), known.unknown, known.climates,
        [buyer.outlook for buyer in known.buyers.values()], date(2030, 1, 1),
    )  # fmt: skip
    after = found.connection.execute(lives).fetchall()
    led = found.connection.execute("SELECT DISTINCT life FROM life_led SEMI JOIN life_part USING (life)").fetchall()
    assert set(after) == set(led) != set(first)
    assert len(after) == len(first)
    assert rows(found, "b") == before


def test_pairs_that_agree_in_everything_age_alike(weigh):
    found = weigh(**PAIRS)
    assert [row[1:] for row in rows(found, "a")] == [row[1:] for row in rows(found, "b")]
    assert [row[1:] for row in rows(found, "a")] != [row[1:] for row in rows(found, "c")]


def test_lives_are_numbered_once_and_every_candidate_finds_its_own(known):
    as_of = date(2026, 11, 25)
    candidates = pl.DataFrame(
        {
            "listing_id": ["a", "b", "c"], "place": [1, 1, 1], "construction_id": ["r", "r", None],
            "level": ["release", "release", "none"], "made_from": [1999.0, 1999.0, None],
            "made_to": [2001.0, 2001.0, None], "life_factor": [1.0, 1.0, None],
        }
    )  # fmt: skip
    pairs = pl.DataFrame(
        {"listing_id": ["a", "b", "c"], "ships_from": ["DE", "DE", None], "region": [None] * 3,
         "stated_year_lo": [None] * 3, "stated_year_hi": [None] * 3, "stated_year_kind": [None] * 3,
         "now": [decimal_year(as_of)] * 3},
        schema_overrides={"region": pl.String, "stated_year_lo": pl.Int64, "stated_year_hi": pl.Int64,
                          "stated_year_kind": pl.String},
    )  # fmt: skip
    said = pl.DataFrame(schema={"listing_id": pl.String, "sign": pl.String, "certainty": pl.Int32, "year": pl.Int32})
    clocks = clocks_of(candidates, pairs, said, known.climates)
    lives, led = distinct_lives(clocks)
    assert lives.height == 2
    assert led["life"].to_list() == [1, 1, 2]
    back = led.join(lives, on="life").sort("listing_id").select("listing_id", "place", *LIFE)
    assert back.equals(clocks.sort("listing_id"))
