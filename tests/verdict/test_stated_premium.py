"""A buyer's premium that the listing states reaches the money, whatever the cost table says of the marketplace."""

from dataclasses import replace
from datetime import date

from triage.verdict.offers import offer_to, read_offers

PAIR = {"title": "Haldrassen Torquellan High HDN-12-1914", "body": "Worn last week without problems."}


def test_a_stated_premium_is_paid_at_the_door(weigh):
    weighed = weigh(plain=PAIR, dear={**PAIR, "premium_rate": 0.18})
    landed = dict(
        weighed.connection.execute("SELECT listing_id, landed_minor FROM verdict WHERE buyer = 'bench'").fetchall()
    )
    assert landed["dear"] - landed["plain"] == 900  # 18 % of 50.00 inside the country: no duty, no import tax
    offers = dict(
        weighed.connection.execute("SELECT listing_id, offer_minor FROM verdict WHERE buyer = 'bench'").fetchall()
    )
    assert offers["dear"] < offers["plain"]


def test_a_stated_premium_of_nothing_overrides_the_tables(weigh, known):
    connection = weigh(unsaid=PAIR, none={**PAIR, "premium_rate": 0.0}, more={**PAIR, "premium_rate": 0.3}).connection
    connection.execute("CREATE OR REPLACE TEMP TABLE chunk AS SELECT listing_id FROM listing")
    routes = tuple(route.model_copy(update={"premium": {"test": 0.25}}) for route in known.costs.routes)
    costs = replace(known.costs, routes=routes)
    offer = offer_to(known.buyers["bench"], read_offers(connection), costs, date(2026, 11, 25))
    found = dict(zip(offer.rows["listing_id"], offer.terms.premium, strict=True))
    assert found == {"unsaid": 0.25, "none": 0.0, "more": 0.3}
