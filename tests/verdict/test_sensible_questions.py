"""Questions are asked only where some likely release has what they are about."""

from triage import batch
from triage.verdict.asking import suits

PAIR = {"title": "Brelloway", "body": "In good shape.", "price_minor": 9000, "price_base_minor": 9000}


def asked_of(known, weigh, title: str) -> set[str]:
    found = weigh(one={**PAIR, "title": title})
    rows = found.connection.execute("SELECT DISTINCT sign FROM question WHERE sign IS NOT NULL").fetchall()
    return {row[0] for row in rows}


def test_a_question_suits_a_construction_that_has_one_of_its_materials_or_that_nobody_knows(known):
    questions = {question.sign: question for question in batch.ground(known).questions()}
    asked = [questions[name] for name in ("stitched_sole", "midsole_crumbling", "midsole_springy")]
    cemented = {"bond": "bond_cement", "midsole": "eva_structural"}
    unsure = {"bond": "?", "midsole": "eva_structural"}
    wedged = {"bond": "bond_cement", "midsole": "eva_structural;pu_ester_midsole"}
    assert suits(asked, [cemented, unsure, wedged, None]).tolist() == [
        [False, False, True],
        [True, False, True],
        [False, True, True],
        [True, True, True],
    ]


def test_nobody_is_asked_whether_a_cemented_sole_is_stitched_or_eva_crumbles(known, weigh):
    table = known.constructions.table
    signs = set()
    for row in table.filter(table["bond"] == "bond_cement", table["midsole"] == "eva_structural").head(12).to_dicts():
        signs |= asked_of(known, weigh, f"{row['maker']} {row['model']} {(row['style_numbers'] or [''])[0]}")
    assert not signs & {"stitched_sole", "midsole_crumbling", "foam_crumbs_in_box"}
