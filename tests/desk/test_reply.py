"""Replies: read with the words marked, corrected, and noted so that what was corrected is what counts."""

import pytest

from triage.catalogue import Catalogue
from triage.desk.change import change_line
from triage.desk.reply import corrections, noted, reply_of
from triage.desk.tonight import Standing
from triage.observation import read_text

SPRINGS, CRACKS, GAP = "midsole_springy", "midsole_cracked", "sole_separation"
REPLIES = {
    "en": "I pressed the midsole, it springs back. No cracks.",
    "de": "Habe gedrückt, die Zwischensohle federt sofort zurück. Keine Risse in der Sohle.",
    "fr": "La mousse de la semelle revient tout de suite. Pas de fissures.",
    "it": "La schiuma torna subito. Nessuna crepa.",
    "es": "La espuma vuelve enseguida. Sin grietas en la suela.",
    "ja": "ミッドソールを押すとすぐ戻ります。ひび割れなし。",
}


@pytest.mark.parametrize("language", REPLIES)
def test_a_reply_in_any_language_is_read_and_its_words_are_marked(known: Catalogue, language: str) -> None:
    reply = reply_of(REPLIES[language], None, [GAP], known)
    told = {one.sign: one.told for one in reply.heard}
    assert told[GAP] == ""  # asked, and not answered
    assert told[SPRINGS] == "yes"
    assert reply.language == language
    assert "".join(piece.text for piece in reply.pieces) == REPLIES[language]
    assert any("springs back" in label for piece in reply.pieces for label in piece.readings)


def test_what_is_left_as_read_is_noted_in_the_sellers_words_alone(known: Catalogue) -> None:
    reply = reply_of(REPLIES["en"], "en", [GAP], known)
    told = {one.sign: one.told or "not shown" for one in reply.heard}
    assert noted(reply, told) == {"text": REPLIES["en"], "signs": {}}
    assert noted(reply, {}) == {"text": REPLIES["en"], "signs": {}}


def test_a_correction_is_noted_beside_the_words_and_what_was_not_said_is_struck(known: Catalogue) -> None:
    reply = reply_of(REPLIES["en"], "en", [GAP], known)
    content = noted(reply, {SPRINGS: "no", CRACKS: "not shown", GAP: "yes"})
    assert content["signs"] == {SPRINGS: "no", GAP: "yes"}
    assert content["as_pasted"] == REPLIES["en"]
    again = read_text(content["text"], known.reading, "en")
    assert CRACKS not in again["sign"].to_list()
    assert SPRINGS in again["sign"].to_list()


def test_buttons_that_stood_for_another_text_say_nothing_of_this_one(known: Catalogue) -> None:
    reply = reply_of(REPLIES["en"], "en", [GAP], known)
    untouched = {SPRINGS: "not shown", CRACKS: "not shown", GAP: "not shown"}
    # Saved before it was read: the buttons still stand as for no text at all.
    assert corrections(reply, untouched, "") == {}
    assert corrections(reply, untouched | {GAP: "no"}, "") == {GAP: "no"}
    assert corrections(reply, untouched, reply_of("Something else", "en", [], known).mark) == {}
    assert corrections(reply, untouched, reply.mark) == untouched


def standing(**other: object) -> Standing:
    plain = {
        "buyer": "bench", "call": "ask", "number": 12, "wearable": 0.4, "offer_minor": 11_100, "surplus_minor": 100,
        "landed_minor": 9000, "currency": "EUR", "reason": "", "unfit": {"midsole": 0.6, "bond": 0.2},
    }  # fmt: skip
    return Standing(**plain | other)


def test_a_change_is_told_by_part_chance_offer_call_and_place() -> None:
    after = standing(call="buy", number=3, wearable=0.62, offer_minor=14_200, unfit={"midsole": 0.29, "bond": 0.204})
    told = change_line("the foam springs back", standing(), after).replace("\u00a0", " ").replace("\u202f", " ")
    assert told == (
        "the foam springs back: midsole +31 points; wearable about 40 % to about 62 %; "
        "offer up to EUR 142 (was EUR 111); ask becomes buy; No. 12 becomes No. 3."
    )
    assert change_line("at 90", standing(), standing()) == "at 90: changes nothing, it stays ask."
    assert change_line("sold", standing(), None) == "sold: no longer weighed."
    worse = change_line("x", standing(), standing(call="skip", number=None, offer_minor=0, unfit={"midsole": 0.9}))
    assert "midsole −30 points" in worse
    assert "no offer makes sense" in worse
    assert "No. 12 becomes below the list" in worse
