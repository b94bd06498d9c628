"""Landed cost by the tables that hold on the day, with the tables' postage where none is stated."""

from dataclasses import replace
from datetime import date

import pytest

from triage.catalogue.costs import Costs, route_for
from triage.errors import TriageError

RUNNER = {"title": "Haldrassen Torquellan High HDN-12-1914"}
BOOT = {"title": "Ostrevik Holmkrag Light OV4118C", "foot_mm_lo": 279.0, "foot_mm_hi": 283.0}
NO_POSTAGE = {"shipping_minor": None, "shipping_base_minor": None}
BEFORE, AFTER = date(2021, 10, 15), date(2026, 11, 25)


def landed(found, listing: str) -> tuple[int, bool]:
    query = "SELECT landed_minor, shipping_assumed FROM verdict WHERE listing_id = ? AND buyer = 'bench'"
    return found.one(query, listing)


@pytest.mark.parametrize(
    ("as_of", "price", "by_hand"),
    [
        # 2021: under 150 no duty: (100 + 20) x 1.19 + 6.
        (BEFORE, 10_000, 120.00 * 1.19 + 6),
        # 2026: a flat charge of 3 instead: (100 + 20 + 3) x 1.19 + 6.
        (AFTER, 10_000, 123.00 * 1.19 + 6),
        # From 150 on duty of 16.9 % on both days: (200 + 20) x 1.169 x 1.19 + 6.
        (BEFORE, 20_000, 220.00 * 1.169 * 1.19 + 6),
        (AFTER, 20_000, 220.00 * 1.169 * 1.19 + 6),
    ],
)
def test_the_rates_are_those_of_the_day(weigh, as_of, price, by_hand):
    abroad = {"ships_from": "US", "price_base_minor": price, "shipping_base_minor": 2000}
    found = weigh(as_of, pair={**RUNNER, **abroad})
    assert landed(found, "pair") == (round(by_hand * 100), False)


def test_both_ends_of_a_table_are_included(known):
    last, first = date(2026, 6, 30), date(2026, 7, 1)
    for country, name in (("US", "us"), ("GB", "uk"), ("JP", "jp"), ("BR", "other"), (None, "other")):
        assert route_for(known.routes, country, "DE", last).id == f"{name}-to-de-2021"
        assert route_for(known.routes, country, "DE", first).id == f"{name}-to-de-2026"


def test_a_day_that_no_table_covers_is_a_fault_of_the_tables(weigh):
    with pytest.raises(TriageError, match="no route from US to DE valid on 2019-05-01") as error:
        weigh(date(2019, 5, 1), pair={**RUNNER, "ships_from": "US"})
    assert error.value.exit_code == 3


def test_a_missing_postage_is_the_tables_for_route_and_weight_and_marked(weigh, known):
    found = weigh(
        light={**RUNNER, **NO_POSTAGE},
        heavy={**BOOT, **NO_POSTAGE},
        light_gb={**RUNNER, **NO_POSTAGE, "ships_from": "GB"},
        heavy_gb={**BOOT, **NO_POSTAGE, "ships_from": "GB"},
        stated={**BOOT, "shipping_base_minor": 0},
    )
    assert (known.costs.weight_of("running"), known.costs.weight_of("boots")) == (1200, 2400)
    # Price 50: inside the country 7 for a light parcel, 10 above 2 kg; from GB 19 and 25, then tax and fees.
    assert landed(found, "light") == (5700, True)
    assert landed(found, "heavy") == (6000, True)
    assert landed(found, "light_gb") == (round(((50 + 19 + 3) * 1.19 + 6) * 100), True)
    assert landed(found, "heavy_gb") == (round(((50 + 25 + 3) * 1.19 + 6) * 100), True)
    assert landed(found, "stated") == (5000, False)


def test_every_category_of_the_tables_has_a_weight_and_no_parcel_gets_cheaper_as_it_gets_heavier(known):
    tables = known.constructions
    for table in (tables.table, tables.generic):
        assert set(table["category"].drop_nulls()) <= set(known.parcel_g)
    for route in known.routes:
        postage = [route.postage_of(weight) for weight in range(500, 11_000, 250)]
        assert postage == sorted(postage)
        assert postage[0] == route.shipping_assumed_minor
        assert postage[-1] == route.shipping_above[-1][1]


def test_a_category_without_a_weight_of_its_own_goes_by_the_default(known):
    costs = Costs(known.routes, {"": 900, "boots": 2400})
    assert (costs.weight_of(None), costs.weight_of("clogs"), costs.weight_of("boots")) == (900, 900, 2400)
    assert replace(costs, weight_g={"": 1}).weight_of("boots") == 1
