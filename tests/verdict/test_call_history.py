"""The history of calls: a row when a call changed, with why, and never another for the same night."""

from dataclasses import replace
from datetime import date, timedelta

import polars as pl
import pytest

from triage import batch, store
from triage.store import Connection
from triage.verdict import history
from triage.writeup.terminal import explain

NIGHT = date(2026, 11, 24)
FOAM = "Haldrassen Torquellan High HDN-12-1914"


def offered(**given: object) -> dict[str, object]:
    """Return a listing's row; what is not given is plain."""
    row = {
        "listing_id": "p", "source": "t", "external_id": "p", "title": FOAM, "body": "Worn last week without problems.",
        "price_kind": "fixed", "price_minor": 5000, "currency": "EUR", "price_base_minor": 5000,
        "shipping_minor": 600, "shipping_base_minor": 600, "ships_from": "DE", "language": "en",
        "condition": "worn_lightly", "kind": "pair", "first_seen": NIGHT, "last_seen": NIGHT, "status": "open",
    }  # fmt: skip
    return row | given


@pytest.fixture
def night(known):
    """Return a store with one pair, and a function that weighs it for the bench alone."""
    one = replace(known, buyers={"bench": known.buyers["bench"]})
    connection = store.connect()
    store.append(connection, "listing", pl.DataFrame([offered()], infer_schema_length=None))

    def weigh(day: date = NIGHT, rules: object = one) -> list[dict]:
        batch.weigh(connection, rules, day)
        query = "SELECT * EXCLUDE (p_unfit) FROM call_history ORDER BY place"
        return store.frame(connection, query).to_dicts()

    return connection, weigh, one


def answer(connection: Connection, sign: str, state: str, said_by: str = "answer", day: date = NIGHT) -> None:
    connection.execute("INSERT INTO answer VALUES ('p', ?, ?, ?, ?, NULL)", [sign, day, said_by, state])


def test_the_first_night_writes_what_was_believed_and_the_same_night_again_writes_nothing(night):
    connection, weigh, _ = night
    (first,) = weigh()
    assert (first["place"], first["because"], first["as_of"]) == (1, "first weighed", NIGHT)
    verdict = store.frame(connection, "SELECT * FROM verdict").to_dicts()[0]
    for name in ("call", "plan", "offer_minor", "surplus_minor", "p_wearable", "p_after_plan", "reason", "value_minor"):
        assert first[name] == verdict[name], name
    believed = connection.execute("SELECT p_unfit['midsole'] FROM call_history").fetchall()[0][0]
    assert believed == connection.execute("SELECT p_unfit FROM posterior WHERE part = 'midsole'").fetchall()[0][0]
    assert weigh() == [first]


def test_an_answer_that_turns_the_call_is_named_with_who_gave_it(night):
    connection, weigh, _ = night
    (first,) = weigh()
    answer(connection, "midsole_springy", "denied")
    answer(connection, "midsole_spongy_keeps_dent", "affirmed", "buyer")
    first_again, second = weigh()
    assert first_again == first
    assert second["because"] == (
        "the seller says the foam does not spring back; seen in the photos: the foam is mushy and keeps a dent"
    )
    assert second["offer_minor"] < first["offer_minor"]
    assert weigh() == [first, second]


@pytest.mark.parametrize(
    ("change", "because"),
    [
        ("price_minor = 19000, price_base_minor = 19000", "the price rose from EUR 50 to EUR 190"),
        ("price_base_minor = 19000", "the exchange rate moved"),
        (
            "price_minor = 30000, currency = 'JPY', price_base_minor = 19000",
            "the price went from EUR 50 to JPY 30000",
        ),
        ("body = 'Worn last week without problems. The sole crumbles.'", "the text now says: the foam crumbles"),
        ("shipping_minor = 9000, shipping_base_minor = 9000", "the postage changed"),
        ("price_minor = NULL, price_base_minor = NULL", "no price is stated any more"),
    ],
)
def test_what_changed_is_read_off_the_stored_inputs(night, change, because):
    connection, weigh, _ = night
    weigh()
    connection.execute(f"UPDATE listing SET {change}")
    rows = weigh(NIGHT + timedelta(days=1))
    assert [row["because"] for row in rows[1:]] == [because]


def test_a_skip_that_becomes_a_buy_as_its_price_falls_says_so(night):
    connection, weigh, _ = night
    connection.execute("UPDATE listing SET price_minor = 19000, price_base_minor = 19000")
    (first,) = weigh()
    connection.execute("UPDATE listing SET price_minor = 5000, price_base_minor = 5000")
    _, second = weigh(NIGHT + timedelta(days=1))
    assert (first["call"], second["call"]) == ("skip", "buy")
    assert second["because"] == "the price fell from EUR 190 to EUR 50"


def test_a_price_that_moves_nothing_visible_writes_nothing(night):
    connection, weigh, _ = night
    weigh()
    connection.execute("UPDATE listing SET price_minor = 4900, price_base_minor = 4900")
    assert len(weigh(NIGHT + timedelta(days=1))) == 1


def test_rules_and_a_buyers_own_figures_are_told_apart(night):
    _, weigh, one = night
    weigh()
    bench = one.buyers["bench"]
    dearer = replace(one, buyers={"bench": bench.model_copy(update={"margin_minor": bench.margin_minor + 3000})})
    assert weigh(NIGHT, dearer)[-1]["because"] == "this buyer's own figures changed"
    values = one.values.model_copy(update={"sound_share": dict.fromkeys(one.values.sound_share, 0.4)})
    other = replace(dearer, values=values, sha256_without_buyers="other")
    assert weigh(NIGHT, other)[-1]["because"] == "the rules or tables changed"


def test_comparable_pairs_that_move_the_worth_are_named(known):
    plain = known.buyers["bench"].model_copy(update={"want": ()})
    one = replace(known, buyers={"bench": plain})
    connection = store.connect()
    eva = {"title": "Haldrassen Torquellan High HDN-12-1914", "body": "Worn last week without problems."}
    rows = [offered(**eva)] + [
        offered(**eva, listing_id=f"q{n}", external_id=f"q{n}", price_minor=39000, price_base_minor=39000)
        for n in range(6)
    ]
    store.append(connection, "listing", pl.DataFrame(rows[:1], infer_schema_length=None))
    batch.weigh(connection, one, NIGHT)
    store.append(connection, "listing", pl.DataFrame(rows[1:], infer_schema_length=None))
    batch.weigh(connection, one, NIGHT + timedelta(days=1))
    query = "SELECT because FROM call_history WHERE listing_id = 'p' ORDER BY place"
    told = [row[0] for row in connection.execute(query).fetchall()]
    assert len(told) == 2
    assert "comparable pairs moved its worth when sound from EUR " in told[1]


def test_a_night_done_again_after_later_ones_leaves_the_history_alone(night):
    connection, weigh, _ = night
    weigh(NIGHT + timedelta(days=1))
    connection.execute("UPDATE listing SET price_minor = 19000, price_base_minor = 19000")
    assert len(weigh(NIGHT)) == 1
    assert len(weigh(NIGHT + timedelta(days=1))) == 2


def test_age_alone_is_told_when_nothing_else_is_new(night):
    _, weigh, _ = night
    weigh()
    one, two = weigh(NIGHT + timedelta(days=2500))
    # The years make a rule of thumb hold that did not.
    assert two["because"].endswith("years")
    assert set(two["held"]) > set(one["held"])
    three = weigh(NIGHT + timedelta(days=5000))[-1]
    assert three["because"] == "2500 days older, nothing else is new"


def test_the_chain_shows_every_call_so_far(night):
    connection, weigh, one = night
    weigh()
    answer(connection, "midsole_crumbling", "affirmed")
    weigh(NIGHT + timedelta(days=1))
    told = explain(connection, one, "p").replace("\u00a0", " ")
    section = told.split("Calls so far\n")[1].split("\n\n")[0]
    assert "24 Nov 2026" in section
    assert "first weighed" in section
    assert "because the seller says the foam crumbles" in section


@pytest.mark.parametrize(
    ("change", "rows"),
    [
        ("plan = 'display'", 2),
        ("offer_minor = offer_minor + 90", 1),
        ("offer_minor = offer_minor + CAST(0.04 * offer_minor AS BIGINT)", 1),
        ("offer_minor = offer_minor + CAST(0.06 * offer_minor AS BIGINT)", 2),
        ("offer_minor = offer_minor - CAST(0.06 * offer_minor AS BIGINT)", 2),
        ("surplus_minor = surplus_minor + 5000", 1),
    ],
)
def test_a_row_is_written_for_another_call_plan_or_visibly_other_offer_and_nothing_else(night, change, rows):
    connection, weigh, one = night
    (first,) = weigh()
    assert first["offer_minor"] > 3000
    connection.execute(f"UPDATE verdict SET {change}")
    for _ in range(2):
        history.record(connection, one, NIGHT + timedelta(days=1))
        assert connection.execute("SELECT count(*) FROM call_history").fetchall() == [(rows,)]


def test_small_steps_of_the_offer_add_up_to_a_visible_one(night):
    connection, weigh, one = night
    weigh()
    told = []
    for step in range(12):
        connection.execute("UPDATE verdict SET offer_minor = offer_minor + 100")
        history.record(connection, one, NIGHT + timedelta(days=1 + step))
        told.append(connection.execute("SELECT count(*) FROM call_history").fetchall()[0][0])
    assert told[0] == 1
    assert 2 <= told[-1] <= 4


def test_what_is_no_pair_has_no_history(night):
    connection, weigh, _ = night
    connection.execute("UPDATE listing SET kind = 'lot'")
    assert weigh() == []
