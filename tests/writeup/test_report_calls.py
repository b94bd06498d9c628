"""Which listings get a ticket: one each, in the best call of any buyer."""

from types import SimpleNamespace
from typing import Any

import polars as pl
from made_night import AS_OF, listing, verdict

from triage.writeup.calls import Calls, best_calls

BUYERS = {"wren": SimpleNamespace(name="Wren"), "otto": SimpleNamespace(name="Otto")}


def calls_of(listings: list[dict[str, Any]], verdicts: list[dict[str, Any]]) -> Calls:
    frame = pl.DataFrame(listings, infer_schema_length=None)
    return best_calls(frame, pl.DataFrame(verdicts, infer_schema_length=None), BUYERS)


def test_a_buy_for_one_buyer_beats_an_ask_and_a_skip_for_others() -> None:
    calls = calls_of(
        [listing(listing_id="a/1")],
        [verdict(listing_id="a/1", call="skip"), verdict(listing_id="a/1", buyer="otto", call="buy")],
    )
    assert calls.buy["listing_id"].to_list() == ["a/1"]
    assert calls.buy["buyer"].to_list() == ["otto"]
    assert calls.buy["buyers"].to_list() == [["Otto"]]
    assert calls.skip.is_empty()


def test_the_buyer_with_most_to_gain_leads_a_shared_ticket() -> None:
    calls = calls_of(
        [listing(listing_id="a/1")],
        [
            verdict(listing_id="a/1", surplus_minor=100),
            verdict(listing_id="a/1", buyer="otto", surplus_minor=900),
        ],
    )
    assert calls.buy["buyer"].to_list() == ["otto"]
    assert calls.buy["buyers"].to_list() == [["Otto", "Wren"]]


def test_buys_go_by_what_is_left_over_and_asks_by_what_asking_gains() -> None:
    calls = calls_of(
        [listing(listing_id=f"a/{n}") for n in range(1, 5)],
        [
            verdict(listing_id="a/1", surplus_minor=100),
            verdict(listing_id="a/2", surplus_minor=5000),
            verdict(listing_id="a/3", call="ask", surplus_minor=-1, ask_gain_minor=900),
            verdict(listing_id="a/4", call="ask", surplus_minor=-9000, ask_gain_minor=2000),
        ],
    )
    assert calls.tickets["listing_id"].to_list() == ["a/2", "a/1", "a/4", "a/3"]


def test_a_listing_that_is_sold_or_gone_gets_no_ticket() -> None:
    gone = listing(listing_id="a/1", status="gone", last_seen=AS_OF)
    calls = calls_of([gone, listing(listing_id="a/2")], [verdict(listing_id="a/1"), verdict(listing_id="a/2")])
    assert calls.buy["listing_id"].to_list() == ["a/2"]


def test_a_skip_is_a_near_miss_when_half_its_price_would_be_sensible() -> None:
    offers = {"a/1": 3500, "a/2": 3499, "a/3": 0}
    calls = calls_of(
        [listing(listing_id=key, price_base_minor=7000) for key in offers],
        [verdict(listing_id=key, call="skip", offer_minor=offer) for key, offer in offers.items()],
    )
    assert calls.near["listing_id"].to_list() == ["a/1"]
    assert calls.skip["listing_id"].to_list() == ["a/2", "a/3"]


def test_a_skip_without_a_price_is_no_near_miss() -> None:
    priceless = listing(listing_id="a/1", price_minor=None, price_base_minor=None)
    other = listing(listing_id="a/2")
    calls = calls_of([priceless, other], [verdict(listing_id="a/1", call="skip"), verdict(listing_id="a/2")])
    assert calls.near.is_empty()
    assert calls.skip["listing_id"].to_list() == ["a/1"]


def test_a_pair_that_cannot_fit_is_no_near_miss_at_any_price() -> None:
    calls = calls_of(
        [listing(listing_id="a/1"), listing(listing_id="a/2")],
        [
            verdict(listing_id="a/1", call="skip", offer_minor=6900, p_fits=0.0),
            verdict(listing_id="a/2", call="skip", offer_minor=6900, p_fits=0.1),
        ],
    )
    assert calls.near["listing_id"].to_list() == ["a/2"]


def test_the_buyer_a_skip_was_nearest_to_gives_its_reason() -> None:
    calls = calls_of(
        [listing(listing_id="a/1")],
        [
            verdict(listing_id="a/1", call="skip", offer_minor=0, surplus_minor=9000, p_fits=0.0),
            verdict(listing_id="a/1", buyer="otto", call="skip", offer_minor=5000, surplus_minor=-100),
        ],
    )
    assert calls.near["buyer"].to_list() == ["otto"]
