"""Messages to sellers: in their language, short, polite, at most three questions."""

from types import SimpleNamespace
from typing import Any

import pytest
from made_night import listing, verdict

from triage.writeup.message import LANGUAGE, messages_of
from triage.writeup.page import languages

GREETING = {
    "en": "Hello,",
    "de": "Guten Tag,",
    "fr": "Bonjour,",
    "it": "Buongiorno,",
    "es": "Hola:",
    "ja": "はじめまして。",
}
THANKS = {"en": "Thank you", "de": "Vielen Dank", "fr": "Merci", "it": "Grazie", "es": "Gracias", "ja": "お願い"}


def question(place: int, language: str, **given: Any) -> dict[str, Any]:
    return dict(
        listing_id="a/1", buyer="wren", place=place, sign=None, fact="made_year", text=f"Q{place}?", language=language,
        gain_minor=100, if_yes="buy", if_no="skip",
    ) | given  # fmt: skip


def offered(**given: Any) -> dict[str, Any]:
    row = listing(listing_id="a/1", title="Lindravo <b>S</b>", **given)
    return {k: v for k, v in row.items() if k != "currency"} | {"price_currency": row["currency"]}


def test_every_language_of_the_questions_has_a_message() -> None:
    assert languages() == set(LANGUAGE)


@pytest.mark.parametrize("language", sorted(LANGUAGE))
@pytest.mark.parametrize("plan", ["wear", "restore", "display", "parts", "none"])
def test_a_message_greets_says_why_numbers_its_questions_and_thanks(
    language: str, plan: str, catalogue: SimpleNamespace
) -> None:
    asks = [question(place, language) for place in (1, 2, 3)]
    lead = verdict(listing_id="a/1", call="ask", plan=plan)
    (message,) = messages_of(offered(), [lead], asks, catalogue)
    lines = message.text.splitlines()
    assert lines[0] == GREETING[language]
    assert "Lindravo <b>S</b>" in lines[2]
    assert [line for line in lines if line[:1].isdigit()] == ["1. Q1?", "2. Q2?", "3. Q3?"]
    assert THANKS[language] in lines[-1]
    assert len(lines) <= 12


@pytest.mark.parametrize("language", sorted(LANGUAGE))
def test_an_ask_without_a_question_makes_the_offer_in_the_sellers_money(
    language: str, catalogue: SimpleNamespace
) -> None:
    row = offered(language=language, currency="USD", price_minor=11000, price_base_minor=10000)
    lead = verdict(listing_id="a/1", call="ask", offer_minor=9090)
    (message,) = messages_of(row, [lead], [], catalogue)
    assert "USD\u00a099" in message.text  # 90.90 EUR at 1.10, rounded down
    assert message.language == language


def test_a_question_for_the_price_is_put_as_the_offer(catalogue: SimpleNamespace) -> None:
    price = question(1, "en", fact="price_minor", text="What price do you have in mind?")
    lead = verdict(listing_id="a/1", call="ask", offer_minor=6500)
    (message,) = messages_of(offered(), [lead], [price], catalogue)
    assert "Would you accept EUR\u00a065?" in message.text
    assert "have in mind" not in message.text
    assert message.questions[0].about == "the offer of EUR\u00a065"


def test_a_question_for_the_price_stays_one_where_there_is_none(catalogue: SimpleNamespace) -> None:
    price = question(1, "en", fact="price_minor", text="What price do you have in mind?")
    row = offered(price_kind="request", price_minor=None, price_base_minor=None)
    (message,) = messages_of(row, [verdict(listing_id="a/1", call="ask", offer_minor=6500)], [price], catalogue)
    assert "1. What price do you have in mind?" in message.text


def test_an_offer_can_follow_other_questions(catalogue: SimpleNamespace) -> None:
    asks = [question(1, "de"), question(2, "de", fact="price_minor")]
    lead = verdict(listing_id="a/1", call="ask", offer_minor=6500)
    (message,) = messages_of(offered(), [lead], asks, catalogue)
    assert "1. Q1?\nWären Sie mit EUR\u00a065 einverstanden?" in message.text


@pytest.mark.parametrize("kind", ["bid", "swap", "request", "free"])
def test_no_offer_is_made_where_none_can_be_taken(kind: str, catalogue: SimpleNamespace) -> None:
    lead = verdict(listing_id="a/1", call="ask", offer_minor=9000)
    assert messages_of(offered(price_kind=kind), [lead], [], catalogue) == ()


def test_an_offer_is_never_above_the_price(catalogue: SimpleNamespace) -> None:
    lead = verdict(listing_id="a/1", call="ask", offer_minor=9999)
    (message,) = messages_of(offered(price_minor=5000, price_base_minor=5000), [lead], [], catalogue)
    assert "EUR\u00a050" in message.text


def test_a_language_without_a_template_is_written_to_in_english(catalogue: SimpleNamespace) -> None:
    lead = verdict(listing_id="a/1", call="ask")
    (message,) = messages_of(offered(), [lead], [question(1, "pt")], catalogue)
    assert message.language == "en"


def test_buyers_who_ask_the_same_share_a_message_and_others_do_not(catalogue: SimpleNamespace) -> None:
    leads = [verdict(listing_id="a/1", buyer=buyer, call="ask") for buyer in ("wren", "otto")]
    same = [question(1, "en"), question(1, "en", buyer="otto")]
    assert [m.buyers for m in messages_of(offered(), leads, same, catalogue)] == [("Wren", "Otto")]
    differ = [question(1, "en"), question(1, "en", buyer="otto", text="Other?")]
    assert [m.buyers for m in messages_of(offered(), leads, differ, catalogue)] == [("Wren",), ("Otto",)]
