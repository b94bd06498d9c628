"""Ages at which foam and rubber are found unfit: common practice, no source.

These statements tuned the ageing table, so this is a regression check and no validation.
"""

from datetime import date

import polars as pl
import pytest

from triage import prognosis, store
from triage.catalogue.buyers import Outlook

JUDGED = date(2020, 7, 1)


@pytest.fixture(scope="module")
def unfit(known):
    connection = store.connect()
    connection.execute("CREATE TEMP TABLE todo (listing_id VARCHAR)")
    for name, part, material, made in (
        ("foam of 1999 to 2002", "midsole", "pu_ester_midsole", (1999.0, 2003.0)),
        ("foam of 2013", "midsole", "pu_ester_midsole", (2013.0, 2014.0)),
        ("cupsole of 1985", "outsole", "rubber_nr_sbr", (1985.0, 1986.0)),
    ):
        listing = {
            "listing_id": name, "source": "t", "external_id": name, "title": name, "price_kind": "fixed",
            "condition": "unknown", "kind": "pair", "first_seen": JUDGED, "last_seen": JUDGED, "status": "open",
        }  # fmt: skip
        parts = dict.fromkeys(("midsole", "outsole", "cushion", "bond", "trim", "coating", "upper", "lining"), "")
        release = {"model_id": name, "made_from": made[0], "made_to": made[1], "life_factor": 1.0, "generic": False}
        store.append(connection, "listing", pl.DataFrame([listing]))
        store.append(connection, "construction", pl.DataFrame([{**release, **parts, part: material}]))
        connection.execute("INSERT INTO match VALUES (?, 1, ?, 'release', 1, TRUE)", [name, name])
        connection.execute("INSERT INTO todo VALUES (?)", [name])
    prognosis.run(connection, dict(known.materials), known.unknown, known.climates, [Outlook(0.0, "unknown")], JUDGED)
    return dict(connection.execute("SELECT listing_id, p_unfit FROM prognosis").fetchall())


def test_ester_foam_of_1999_to_2002_is_very_dangerous_in_2020(unfit):
    assert unfit["foam of 1999 to 2002"] >= 0.78


def test_ester_foam_of_2013_is_at_the_start_of_its_risk_in_2020(unfit):
    assert 0.10 <= unfit["foam of 2013"] <= 0.25


def test_a_rubber_cupsole_of_1985_is_often_fine_in_2020(unfit):
    assert 0.3 <= unfit["cupsole of 1985"] <= 0.5
