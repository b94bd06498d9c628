"""Traps of the trade, one by one: the same word, another meaning. Common practice, no source."""

import pytest

from tests.observation.conftest import Read

RISK_OF_SOFT = {"midsole_spongy_keeps_dent", "outsole_sticky"}


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("The rubber is soft.", {"outsole_flexible": "affirmed"}),
        ("The leather is soft.", {"upper_good": "affirmed"}),
        ("The foam is soft.", {}),
        ("The rubber is hard.", {"outsole_hard": "affirmed"}),
        ("The foam is hard.", {"midsole_hard": "affirmed"}),
        ("The leather is hard.", {"upper_leather_dry": "affirmed"}),
        ("The plastic is hard.", {}),
        ("Soles hard.", {"outsole_hard": "affirmed"}),
        ("The rubber is sticky.", {"outsole_sticky": "affirmed"}),
        ("The paint is sticky.", {"coating_sticky": "affirmed"}),
        ("Sticky rubber climbing shoe.", {}),
        ("There is sticky residue on the box.", {}),
        ("The rubber is dry.", {"outsole_hard": "affirmed"}),
        ("The leather is dry.", {"upper_leather_dry": "affirmed"}),
        ("Kept dry.", {"stored_controlled": "affirmed"}),
        ("The soles are solid.", {"bond_solid": "affirmed"}),
        ("The foam is solid.", {}),
        ("New soles.", {"sole_swapped": "affirmed"}),
        ("New laces.", {}),
        ("New to me.", {}),
        ("New.", {"deadstock_unworn": "affirmed"}),
        ("Like new.", {}),
        ("The rubber is shiny.", {"outsole_shiny": "affirmed"}),
        ("The leather is shiny.", {}),
    ],
)
def test_the_same_word_means_another_thing_of_another_part(read: Read, text: str, wanted: dict[str, str]) -> None:
    assert read(text) == wanted


@pytest.mark.parametrize(
    ("text", "language"),
    [
        ("My other pair crumbled.", "en"),
        ("These usually crumble.", "en"),
        ("If the sole comes off I will refund you.", "en"),
        ("Do the soles crumble?", "en"),
        ("Bei diesem Modell löst sich oft die Sohle.", "de"),
        ("Falls die Sohle bricht, nehme ich sie zurück.", "de"),
        ("Sur ce modèle la semelle se décolle souvent.", "fr"),
        ("In questo modello la suola di solito si scolla.", "it"),
        ("¿Está agrietada la suela?", "es"),
        ("もしソールが剥がれた場合は返金します。", "ja"),
        ("ひび割れはありますか?", "ja"),
        ("Used, great condition, smoke free home.", "en"),
        ("100% rep, sample size 9, style code 4431.", "en"),
        ("Looking for a new home.", "en"),
        ("Left shoe has a mark. Comes with 2 pairs of laces.", "en"),
        ("One of a kind.", "en"),
    ],
)
def test_other_shoes_conditions_questions_and_idle_words_say_nothing(read: Read, text: str, language: str) -> None:
    assert read(text, language) == {}


@pytest.mark.parametrize(
    ("text", "language", "wanted"),
    [
        ("Are there cracks? No.", "en", {"midsole_cracked": "denied"}),
        ("Any yellowing? Yes, a little.", "en", {"midsole_yellowed": "affirmed"}),
        ("Gibt es Risse? Nein.", "de", {"midsole_cracked": "denied"}),
        ("Y a-t-il des fissures ? Non.", "fr", {"midsole_cracked": "denied"}),
        ("Ci sono crepe? No.", "it", {"midsole_cracked": "denied"}),
        ("¿Tienen grietas? No.", "es", {"midsole_cracked": "denied"}),
        ("ひび割れはありますか?ありません。", "ja", {"midsole_cracked": "denied"}),
    ],
)
def test_a_question_that_the_seller_answers_counts(
    read: Read, text: str, language: str, wanted: dict[str, str]
) -> None:
    assert read(text, language) == wanted


def test_no_longer_denies_and_starting_to_affirms(read: Read) -> None:
    assert read("The toe is no longer sticky.") == {"coating_sticky": "denied"}
    assert read("The foam is starting to crumble.") == {"midsole_crumbling": "affirmed"}


def test_three_pairs_of_signs_are_one_sign_with_two_states(read: Read) -> None:
    assert read("No crumbling, no cracks, no hydrolysis.") == {
        "midsole_crumbling": "denied",
        "midsole_cracked": "denied",
        "midsole_hydrolysis_named": "denied",
    }


def test_not_wearable_is_kept_in_one_form(read: Read) -> None:
    assert read("Not wearable.") == {"not_wearable_display_only": "affirmed"}


def test_no_returns_and_no_offers_deny_the_good_sign(read: Read) -> None:
    assert read("No returns, no offers.") == {"returns_ok": "denied", "offers_open": "denied"}


def test_a_disclosure_beats_praise_wherever_it_stands(read: Read) -> None:
    first = "No crumbling. The left midsole is crumbling at the heel."
    then = "The left midsole is crumbling at the heel. No crumbling."
    assert read(first)["midsole_crumbling"] == read(then)["midsole_crumbling"] == "affirmed"


def test_a_denial_reaches_over_its_list_and_stops_at_a_turn(read: Read) -> None:
    assert read("No cracks, peeling paint or separation.") == {
        "midsole_cracked": "denied",
        "coating_peeling": "denied",
        "sole_separation": "denied",
    }
    assert read("No cracks but some separation.") == {"midsole_cracked": "denied", "sole_separation": "affirmed"}


def test_a_doubt_is_a_doubt_and_a_degree_is_none(read: Read, words: object) -> None:
    from tests.observation.conftest import read_all

    found = read_all(["I think the foam is crumbling.", "The foam is crumbling slightly."], ["en", "en"], words)
    assert dict(found.sort("listing_id").select("listing_id", "hedged").iter_rows()) == {0: True, 1: False}


@pytest.mark.parametrize("typed", ["crumblng", "crumbbling", "crubmling", "crambling"])
def test_a_slip_in_a_long_word_is_read(read: Read, typed: str) -> None:
    assert read(f"The midsole is {typed}.") == {"midsole_crumbling": "affirmed"}


@pytest.mark.parametrize("typed", ["selling", "sift", "hart", "dray", "nee"])
def test_a_slip_in_a_short_word_is_another_word(read: Read, typed: str) -> None:
    assert read(f"The rubber is {typed}.") == {}


def test_og_of_a_colour_takes_a_bare_og_along(words: object) -> None:
    from tests.observation.conftest import read_all

    found = read_all(["Dalvenne OG plum. OG colourway.", "Dalvenne OG plum."], ["en", "en"], words)
    assert found["listing_id"].to_list() == [1]


@pytest.mark.parametrize(
    ("text", "language", "wanted"),
    [
        ("Midsole crumbling at the heel, needs a sole swap.", "en", "needs_repair"),
        ("Braucht eine neue Sohle.", "de", "needs_repair"),
        ("Semelle à remplacer.", "fr", "needs_repair"),
        ("Servono nuove suole.", "it", "needs_repair"),
        ("Necesitan un cambio de suela.", "es", "needs_repair"),
        ("ソール交換が必要です。", "ja", "needs_repair"),
        ("Sole swap done in 2023 with a new EVA sole unit.", "en", "sole_swapped"),
        ("New EVA midsole fitted.", "en", "sole_swapped"),
    ],
)
def test_a_pair_that_needs_a_sole_has_none_yet_and_a_new_sole_makes_no_new_pair(
    read: Read, text: str, language: str, wanted: str
) -> None:
    found = read(text, language)
    assert found[wanted] == "affirmed"
    assert not ({"needs_repair", "sole_swapped", "deadstock_unworn"} - {wanted}) & set(found)
