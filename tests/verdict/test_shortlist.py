"""The short list: lines that fail in different ways, in time, and what one purse buys."""

import json
from datetime import date
from itertools import combinations

import pytest

from triage.verdict.shortlist import shortlist
from triage.writeup.shortlist_text import shortlist_json, shortlist_text, wanted

DAY = date(2026, 11, 25)
EVA = {
    "title": "Haldrassen Torquellan High HDN-12-1914",
    "body": "Worn last week without problems.",
    "condition": "worn",
}
CUPSOLE = {"title": "Brelloway Lindravo BW4104.02", "body": "Rubber still flexible, sole firm.", "condition": "worn"}
CANVAS = {"title": "Pellavane Zephrune Classic PLV84/914", "body": "Worn last week."}


@pytest.fixture(scope="module")
def market(weigh):
    """Return several pairs of several releases, cheap enough to buy."""
    return weigh(
        **{f"eva{n}": {**EVA, "price_base_minor": 1500 + 300 * n} for n in range(5)},
        **{f"cup{n}": {**CUPSOLE, "price_base_minor": 1200 + 250 * n} for n in range(4)},
        far={**CANVAS, "price_base_minor": 900, "ships_from": "US"},
        trov={
            "title": "Haldrassen Trovassen 2002",
            "body": "Worn regularly until yesterday. Cage intact.",
            "condition": "worn",
            "price_base_minor": 2400,
        },
    ).connection


def made(market, known, **traits):
    buyer = known.buyers["bench"].model_copy(update=traits)
    return buyer, shortlist(market, buyer, known.repairs, known.costs, DAY)


def test_no_two_lines_fail_for_the_same_reason_and_the_best_comes_first(market, known):
    _, found = made(market, known)
    assert 2 <= found.lines.height <= 5
    assert found.lines["fails_by"].n_unique() == found.lines.height
    assert found.lines["rank"][0] == 1
    roles = [role for role in found.lines["role"] if role]
    assert len(roles) == len(set(roles)) > 0


def test_without_a_deadline_nothing_is_left_out(market, known):
    _, found = made(market, known)
    assert found.left_out.is_empty()


def test_a_pair_that_comes_too_late_is_left_out_with_the_reason(market, known):
    buyer, found = made(market, known, deadline=10)
    told = dict(found.left_out.select("listing_id", "why").iter_rows())
    # From the US the tables say 7 to 25 days, 14 in the middle.
    assert told["far"] == "ready in 7 to 25 days from US; 10 are left"
    assert "far" not in found.lines["listing_id"].to_list()
    assert "far" not in found.together["listing_id"].to_list()
    assert "left out, as they would come too late" in shortlist_text(found, buyer, DAY)
    _, same = made(market, known, deadline=date(2026, 12, 5))
    assert same.left_out.equals(found.left_out)
    _, tight = made(market, known, deadline=14)
    assert "far" not in tight.left_out["listing_id"].to_list()
    _, passed = made(market, known, deadline=date(2026, 11, 24))
    assert passed.lines.is_empty()


def test_days_are_answer_post_and_the_longest_repair(market, known):
    buyer, found = made(market, known, purse_minor=10**9)
    rows = found.together.to_dicts() + found.lines.drop("role", "fails_by").to_dicts()
    assert {bool(row["repairs"]) for row in rows} == {True, False}
    for row in rows:
        # Postal days of the tables: inside the country 1, 2, 4; from the US 7, 14, 25.
        post = {"DE": (1, 2, 4), "US": (7, 14, 25)}[row["ships_from"]]
        mend = [max([0, *(known.repairs[name].days[end] for name in row["repairs"])]) for end in range(3)]
        asked = buyer.reply_days if row["call"] == "ask" else 0
        by_hand = [asked + way + work for way, work in zip(post, mend, strict=True)]
        assert [row["days_lo"], row["days_mid"], row["days_hi"]] == by_hand
        assert (row["spend_minor"] > row["landed_minor"]) == bool(row["repairs"])


@pytest.mark.parametrize("purse", [0, 2500, 6000, 9000, 14_000, 500_000])
def test_the_purse_buys_what_trying_every_set_finds(market, known, purse):
    _, found = made(market, known, purse_minor=purse)
    _, all_of = made(market, known, purse_minor=10**9)
    buys = all_of.together.select("spend_minor", "surplus_minor").rows()
    assert len(buys) >= 6
    best = max(
        sum(gain for _, gain in some)
        for size in range(len(buys) + 1)
        for some in combinations(buys, size)
        if sum(cost for cost, _ in some) <= purse
    )
    assert found.together["surplus_minor"].sum() == best
    assert found.together["spend_minor"].sum() <= purse


def test_two_listings_of_one_pair_never_stand_together(weigh, known):
    market = weigh(**{f"p{n}": {**EVA, "price_base_minor": 1500 + n} for n in range(3)}, q=CUPSOLE).connection
    _, free = made(market, known)
    assert {"p0", "p1", "p2"} <= set(free.together["listing_id"])
    for one, other in (("p0", "p1"), ("p1", "p0"), ("p1", "p2"), ("p2", "p1")):
        market.execute("INSERT INTO twin VALUES (?, ?, 'copy', 0.9, 'same photos')", [one, other])
    _, found = made(market, known)
    # p0 and p2 are one pair too, as both are p1; the cheapest of the three leaves most over.
    assert {"p0", "p1", "p2"} & set(found.together["listing_id"]) == {"p0"}
    assert len({"p0", "p1", "p2"} & set(found.lines["listing_id"])) <= 1


def test_without_a_purse_no_set_is_named(market, known):
    buyer, found = made(market, known, purse_minor=None)
    assert found.together is None
    assert "for all together" not in shortlist_text(found, buyer, DAY)
    assert shortlist_json(found, buyer, DAY)["together"] is None


def test_text_and_json_tell_the_same(market, known):
    buyer, found = made(market, known, purse_minor=9000, deadline=30)
    text = shortlist_text(found, buyer, DAY).replace("\u00a0", " ")
    told = json.loads(json.dumps(shortlist_json(found, buyer, DAY), default=str))
    for row in told["lines"] + told["together"]["lines"]:
        assert f"[{row['listing_id']}]" in text
    assert "with EUR 90 for all together, these bring most" in text
    assert wanted(buyer, DAY).startswith("to restore, resell, display; any size; up to EUR")
    assert "on the feet in 30 days" in text
