"""What a pair's years are: manufacture before style, new soles restart, unknown materials are a mix."""

import pytest

CUPSOLE = {"title": "Brelloway Lindravo BW4104.02"}
WELTED = {"title": "Ostrevik Holmkrag OV4107B welted boots"}


def prognosis(found, listing: str, part: str) -> dict:
    query = "SELECT * FROM prognosis WHERE listing_id = ? AND part = ? AND place = 1 AND horizon_years = 2"
    relation = found.connection.execute(query, [listing, part])
    names = [column[0] for column in relation.description]
    (row,) = relation.fetchall()
    return dict(zip(names, row, strict=True))


def test_age_counts_from_manufacture_not_from_the_style_year(weigh):
    found = weigh(reissue={"title": "Haldrassen Torquellan High 1991 HDN-12-1914", "body": "Nice."})
    midsole = prognosis(found, "reissue", "midsole")
    assert 2012.5 < midsole["made_lo"] < midsole["made_hi"] <= 2014
    assert 12 < midsole["age_years"] < 14.5


def test_a_new_sole_restarts_the_clock_of_the_sole_and_of_nothing_else(weigh):
    found = weigh(
        old={**WELTED, "body": "Nice."}, resoled={**WELTED, "body": "Resoled in 2019 by a cobbler, new soles."}
    )
    assert prognosis(found, "resoled", "outsole")["age_years"] == pytest.approx(7.4, abs=0.6)
    assert prognosis(found, "resoled", "upper")["age_years"] == prognosis(found, "old", "upper")["age_years"]
    assert found.wearable("resoled") > found.wearable("old")


def test_a_range_of_manufacture_is_averaged_over_not_taken_at_one_end(weigh):
    found = weigh(pair={**WELTED, "body": "Nice."})
    outsole = prognosis(found, "pair", "outsole")
    assert outsole["made_hi"] - outsole["made_lo"] > 10
    assert outsole["p_unfit_lo"] < outsole["p_unfit"] < outsole["p_unfit_hi"]


def test_a_seller_in_the_tropics_means_more_effective_years(weigh):
    found = weigh(
        north={**CUPSOLE, "body": "Nice.", "ships_from": "NO"}, south={**CUPSOLE, "body": "Nice.", "ships_from": "SG"}
    )
    north, south = (prognosis(found, name, "outsole") for name in ("north", "south"))
    assert north["age_years"] == south["age_years"]
    assert south["effective_years"] > 1.5 * north["effective_years"]
    assert south["p_unfit"] > north["p_unfit"]


def test_a_hot_loft_ages_and_no_words_about_storage_change_nothing(weigh):
    found = weigh(silent={**CUPSOLE, "body": "Nice."}, loft={**CUPSOLE, "body": "Stored in the attic."})
    silent, loft = (prognosis(found, name, "outsole") for name in ("silent", "loft"))
    assert loft["effective_years"] > 1.1 * silent["effective_years"]


def test_storage_nodes_are_shared_by_all_parts_and_rise_with_the_storage_factor(weigh):
    found = weigh(pair={**WELTED, "body": "Nice."})
    rows = found.connection.execute("SELECT p_unfit_node, p_unfit FROM prognosis").fetchall()
    weights = [weight for (weight,) in found.connection.execute("SELECT weight FROM storage_node").fetchall()]
    assert len(rows) > 4
    assert sum(weights) == pytest.approx(1)
    for chances, mean in rows:
        assert list(chances) == sorted(chances)
        assert sum(c * w for c, w in zip(chances, weights, strict=True)) == pytest.approx(mean)
