"""Where a pair will live from now on decides how it ages over the buyer's horizon."""

from dataclasses import replace
from datetime import date

import polars as pl
import pytest

from triage import batch, store

DAY = date(2026, 11, 25)
FOAM = {"title": "Haldrassen Torquellan HD-02", "body": "Foam springs back.", "condition": "worn_lightly"}


@pytest.fixture(scope="module")
def sound(known) -> dict[str, float]:
    """Return the chance of wearable by buyer: alike but for the climate, and two for the horizon too."""
    plain = known.buyers["bench"]
    homes = {
        "cool": {"climate": "cold-continental"},
        "hot": {"climate": "tropical"},
        "cool_now": {"climate": "cold-continental", "horizon_years": 0.0},
        "hot_now": {"climate": "tropical", "horizon_years": 0.0},
    }
    buyers = {name: plain.model_copy(update={"id": name, **traits}) for name, traits in homes.items()}
    connection = store.connect()
    row = {
        "listing_id": "p", "source": "t", "external_id": "p", "price_kind": "fixed", "price_base_minor": 5000,
        "kind": "pair", "status": "open", **FOAM,
    }  # fmt: skip
    store.append(connection, "listing", pl.DataFrame([{**row, "first_seen": DAY, "last_seen": DAY}]))
    batch.weigh(connection, replace(known, buyers=buyers), DAY)
    return dict(connection.execute("SELECT buyer, p_wearable FROM verdict").fetchall())


def test_a_pair_that_will_live_in_the_tropics_is_less_likely_to_last(sound):
    assert sound["hot"] < sound["cool"] - 0.005


def test_today_the_climate_to_come_has_done_nothing_yet(sound):
    assert sound["hot_now"] == pytest.approx(sound["cool_now"], abs=1e-12)
    assert sound["cool_now"] > sound["cool"]
