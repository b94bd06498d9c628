"""The sign files that come along, and what a faulty one is told."""

from pathlib import Path

import pytest

from triage.catalogue.signs import LANGUAGES, Sign, Signs, load_signs
from triage.errors import Problem

PLAIN = """
id = "{name}"
part = "midsole"
polarity = "risk"
group = "g"
meaning = "m"
affirmed = "a"
denied = "d"
source = "s"
"""
WEIGHTS = "".join(f"[weight.{who}]\nif_true = 3.0\nif_false = -1.0\n" for who in ("listing", "answer", "buyer"))
WORDS = """
language = "en"
common = []
[thing]
foam = ["foam"]
[condition.crumble]
noun = ["crumbling"]
[cue]
no = ["no"]
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "reading").mkdir()
    (tmp_path / "reading" / "en.toml").write_text(WORDS, "utf-8")
    return tmp_path


def faults(folder: Path, name: str, text: str) -> list[str]:
    (folder / f"{name}.toml").write_text(text, "utf-8")
    problems: list[Problem] = []
    load_signs(folder, problems)
    return [str(problem) for problem in problems]


def test_a_whole_sign_has_no_fault(folder: Path) -> None:
    reads = '[[reads]]\nthing = ["foam", ""]\ncondition = ["crumble"]\n'
    assert faults(folder, "one", PLAIN.format(name="one") + WEIGHTS + reads) == []


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (PLAIN + WEIGHTS.replace("-1.0", "1.0", 1), "opposite signs"),
        (PLAIN.replace('"midsole"', '"terms"') + WEIGHTS, "no weight: part terms is not weighed"),
        (PLAIN + WEIGHTS.replace("[weight.buyer]\nif_true = 3.0\nif_false = -1.0\n", ""), "a weight for each of"),
        (PLAIN.replace('"risk"', '"good"') + WEIGHTS, "if_true above 0 for a risk"),
        (PLAIN + 'colour = "red"\n', "colour is 'red'"),
        (PLAIN + '[[reads]]\nthing = ["cork"]\ncondition = ["crumble"]\n', "reads.thing is 'cork'"),
        (PLAIN + '[[reads]]\ncondition = ["melt"]\n', "reads.condition is 'melt'"),
        (PLAIN.replace("{name}", "other"), "id is 'other'"),
    ],
)
def test_a_faulty_sign_is_told_what_was_found_and_what_was_expected(folder: Path, text: str, said: str) -> None:
    (fault,) = faults(folder, "one", text.replace("{name}", "one"))
    assert said in fault
    assert "one.toml" in fault


def test_two_signs_cannot_read_the_same_words_of_the_same_thing(folder: Path) -> None:
    reads = '[[reads]]\nthing = ["foam"]\ncondition = ["crumble"]\n'
    assert faults(folder, "one", PLAIN.format(name="one") + reads) == []
    (fault,) = faults(folder, "two", PLAIN.format(name="two") + reads)
    assert "reads holds crumble of 'foam'" in fault


def asked(signs: Signs) -> list[Sign]:
    return [sign for sign in signs if sign.question]


def test_an_answer_weighs_no_less_than_talk_and_the_buyers_own_look_no_less_than_an_answer(signs: Signs) -> None:
    for sign in signs:
        if sign.weight:
            talk, told, seen = (sign.weight[who] for who in ("listing", "answer", "buyer"))
            assert abs(talk.if_true) <= abs(told.if_true) <= abs(seen.if_true), sign.id
            assert abs(talk.if_false) <= abs(told.if_false) <= abs(seen.if_false), sign.id


def test_every_question_is_there_in_six_languages_and_falls_back_to_english(signs: Signs) -> None:
    assert len(asked(signs)) >= 20
    for sign in asked(signs):
        assert sign.question
        assert len({sign.question.text(language) for language in LANGUAGES}) == len(LANGUAGES)
        assert sign.question.text("nl") == sign.question.text(None) == sign.question.en


def test_every_weight_says_that_it_is_a_judgement(signs: Signs) -> None:
    assert all("judgement" in sign.source for sign in signs)


def test_the_merged_signs_have_no_file(signs: Signs) -> None:
    merged = {"midsole_crumbling_denied", "midsole_hydrolysis_denied", "midsole_no_cracks"}
    assert not merged & set(signs.by_id)
    assert len(signs) >= 78


def test_a_question_is_asked_of_materials_that_there_are(folder: Path) -> None:
    texts = "".join(f'{language} = "Does it crumble?"\n' for language in LANGUAGES)
    asked = f'[question]\ngood = "denied"\nphoto = false\nonly_if.midsole = ["foam_a", "?", "foam_b"]\n{texts}'
    (folder / "one.toml").write_text(PLAIN.format(name="one") + WEIGHTS + asked, "utf-8")
    problems: list[Problem] = []
    load_signs(folder, problems, frozenset({"foam_a"}))
    told = [str(problem) for problem in problems if "only_if" in str(problem)]
    assert len(told) == 1
    assert "'foam_b'; expected a key of ageing/materials.toml or '?'" in told[0]
