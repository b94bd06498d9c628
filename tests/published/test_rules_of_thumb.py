"""The rules of thumb the trade goes by, each as a test of the whole chain from words to call.

Source of every one: common practice, no source.
"""

from datetime import date

import pytest

from triage import answers
from triage.answers import Told

# Invented releases with known construction: HD-02 ester PU of 1991-92, HD-04 moulded EVA of 2012-13, PV-06 gas
# window of 1991-93, BL-01 stitched rubber cupsole of 1984-87, BL-04 reissue with a hidden PU insert of 2013-15,
# BL-05 vulcanised canvas, BL-08 clear PVC panel, HD-08 rubberised toe, OV-02 lasted boot on ester PU of 1995-2001.
PU = {"title": "Haldrassen Torquellan High HDN-91-0214"}
EVA = {"title": "Haldrassen Torquellan High HDN-12-1914"}
GAS = {"title": "Pellavane Morrivelle 180 PLV91/240"}
CUPSOLE = {"title": "Brelloway Lindravo BW4104.02"}
FOAM_REISSUE = {"title": "Brelloway Lindravo Heritage II BW9113.02"}
CLEAR_PANEL = {"title": "Brelloway Brisselby Vue BW3110.07"}
LASTED_FOAM = {"title": "Ostrevik Holmkrag Light OV4118C"}
SOFT_TOE = {"title": "Haldrassen Brannhelm R HDN-03-1041"}


def test_foam_that_keeps_a_fingerprint_will_crumble(weigh):
    found = weigh(
        silent={**EVA, "body": "Good pair."},
        dented={**EVA, "body": "I pressed the midsole with my thumb and it keeps a fingerprint."},
        spongy={**EVA, "body": "The midsole is spongy and the thumb leaves a dent."},
    )
    for name in ("dented", "spongy"):
        assert found.unfit(name, "midsole") > 3 * found.unfit("silent", "midsole")
    dented = weigh(old={**PU, "body": "The midsole keeps a fingerprint when pressed."})
    assert dented.unfit("old", "midsole") > 0.97


def test_foam_that_looks_clean_and_firm_after_twenty_years_is_still_very_risky(weigh):
    found = weigh(clean={**PU, "body": "Midsole looks clean and firm, no cracks, no crumbling. Very clean pair."})
    assert found.unfit("clean", "midsole") > 0.8


def test_some_foam_soled_reissues_are_gone_after_about_seven_years(weigh):
    seven_years_on = date(2021, 8, 1)
    found = weigh(
        as_of=seven_years_on, reissue={**FOAM_REISSUE, "body": "Nice."}, original={**CUPSOLE, "body": "Nice."}
    )
    assert found.unfit("reissue", "midsole") > 0.5
    # The reissue fails before the original it copies.
    assert found.unfit("reissue", "midsole") > found.unfit("original", "outsole")
    assert found.wearable("reissue") < found.wearable("original")


def test_a_cloudy_gas_window_means_little_life_left_but_is_no_proof(weigh):
    found = weigh(silent={**GAS, "body": "Nice."}, cloudy={**GAS, "body": "The windows have gone cloudy."})
    assert found.unfit("silent", "cushion") < found.unfit("cloudy", "cushion") < 0.99


@pytest.mark.parametrize("words", ["Rubber rock hard.", "The outsole has hardened, hard as a rock."])
def test_rubber_that_knocks_like_rock_is_hardened(weigh, words):
    found = weigh(silent={**CUPSOLE, "body": "Nice."}, hard={**CUPSOLE, "body": words})
    assert found.unfit("hard", "outsole") > found.unfit("silent", "outsole") + 0.1


def test_a_bottom_that_shines_in_the_photos_is_hardened_rubber(weigh, known):

    found = weigh(shiny={**CUPSOLE, "body": "Nice."})
    before = found.unfit("shiny", "outsole")
    told = Told("shiny", "outsole_shiny", date(2026, 11, 25), "buyer", "affirmed", None)
    answers.take(found.connection, known, [told], date(2026, 11, 25))
    assert found.unfit("shiny", "outsole") > before + 0.1


def test_an_old_rubber_cupsole_without_foam_is_often_fine_but_ask(weigh):
    seams = {**CUPSOLE, "body": "Sewn sole, no gap anywhere, sole bond solid."}
    prices = {f"at{price}": {**seams, "price_base_minor": price * 100} for price in range(20, 70, 5)}
    found = weigh(cupsole={**CUPSOLE, "body": "Nice."}, **prices)
    assert 0.3 < found.unfit("cupsole", "outsole") < 0.65
    # Far better than foam of the same age; where a question decides, it is about the rubber.
    foam = weigh(foam={**PU, "body": "Nice."})
    assert found.wearable("cupsole") > 3 * foam.wearable("foam")
    asked = {sign for name in prices for sign in found.asked(name)}
    assert any(sign.startswith("outsole") for sign in asked), asked


def test_clear_plastic_on_an_old_pair_is_brittle_even_where_all_else_is_sound(weigh):
    found = weigh(panel={**CLEAR_PANEL, "body": "Midsole springs back when pressed, leather supple, sole bond solid."})
    # Likelier unfit than fit, and the foam beside it, which was pressed, is not what is wrong.
    assert found.unfit("panel", "trim") > 0.5


def test_a_rubberised_toe_goes_sticky_so_ask_whether_it_sticks(weigh, known):
    found = weigh(
        toe={**SOFT_TOE, "body": "Foam springs back when pressed."},
        sticky={**SOFT_TOE, "body": "Foam springs back when pressed. The rubberised toe is sticky."},
    )
    assert found.unfit("toe", "coating") > 0.6
    assert found.unfit("sticky", "coating") > found.unfit("toe", "coating")
    question = known.signs["coating_sticky"].question
    assert question is not None
    assert "sticky" in question.text("en")


def test_of_a_deadstock_and_a_worn_pair_of_one_age_the_worn_one_is_the_better_to_wear(weigh):
    found = weigh(
        boxed={**EVA, "body": "Deadstock, never worn, in box.", "condition": "deadstock"},
        worn={**EVA, "body": "Worn last week without problems.", "condition": "worn"},
    )
    assert found.wearable("worn") > found.wearable("boxed")
    old = weigh(
        boxed={**PU, "body": "Deadstock, never worn, in box.", "condition": "deadstock"},
        worn={**PU, "body": "Worn last week without problems.", "condition": "worn"},
    )
    assert old.unfit("worn", "midsole") < old.unfit("boxed", "midsole")


def test_nothing_softens_foam_back_to_life(known):
    # Softeners help hardened rubber up to a point, never foam: whatever makes foam fit replaces it.
    for repair in known.repairs.values():
        if "midsole" in repair.covers:
            assert repair.cost_minor[1] >= 2000, repair.id
            assert "soften" not in repair.name.lower(), repair.id


def test_an_old_foam_sole_is_replaced_before_wearing(weigh):
    found = weigh(
        foam={**LASTED_FOAM, "body": "Leather supple, upper in very good condition.", "foot_mm_lo": 279.0,
              "foot_mm_hi": 283.0, "price_minor": 3000, "price_base_minor": 3000}
    )  # fmt: skip
    query = "SELECT plan, probability, repairs FROM plan WHERE listing_id = 'foam' AND buyer = 'hills'"
    plans = {plan: (chance, repairs) for plan, chance, repairs in found.connection.execute(query).fetchall()}
    wear = plans.get("wear", (0.0, None))[0]
    assert wear < 0.05
    assert plans["restore"][0] > 5 * wear
    assert any("sole" in repair for repair in plans["restore"][1])
    assert found.one("SELECT plan FROM verdict WHERE listing_id = 'foam' AND buyer = 'hills'") == ("restore",)


def test_one_weak_part_decides_for_the_whole_pair(weigh):
    found = weigh(pair={**PU, "body": "Upper perfect, leather supple, outsole flexible and grippy, bond solid."})
    assert found.wearable("pair") <= 1 - found.unfit("pair", "midsole") + 1e-9
    assert found.one("SELECT weak_part FROM verdict WHERE listing_id = 'pair' AND buyer = 'bench'") == ("midsole",)
