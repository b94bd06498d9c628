"""The published behaviour of NegEx: triggers, windows, terminators and phrases that only look like triggers.

Source: W. W. Chapman et al., A simple algorithm for identifying negated findings and diseases in discharge
summaries, J. Biomed. Inform. 34:301-310 (2001). The algorithm (pseudo-negation first, then trigger and term
within five words, before or after) is as published; the example sentences are in its manner, from memory.
Experiencer and hypothetical after ConText, J. Biomed. Inform. 42:839-851 (2009).
"""

import polars as pl
import pytest

from triage.catalogue.signs import Sign, Signs, Words
from triage.observation.lexicon import Lexicon, lexicon
from triage.observation.read import mentions

TERMS = ("pneumonia", "infiltrate", "edema", "cyanosis", "fever", "chest pain", "mass", "hemorrhage")


def term_id(term: str) -> str:
    return "finding_" + term.replace(" ", "_")


@pytest.fixture(scope="module")
def clinic() -> Lexicon:
    """Return a lexicon with clinical findings in place of shoe parts: the engine knows no words itself."""
    findings = {
        term_id(term): Sign(
            id=term_id(term), part="identity", polarity="info", group=term, meaning=term, affirmed=term,
            denied=f"no {term}", source="NegEx", phrases={"en": (term,)},
        )
        for term in TERMS
    }  # fmt: skip
    words = Words.model_validate(
        {
            "language": "en",
            "common": ["the"],
            "thing": {},
            "condition": {},
            "cue": {
                "no": ["no", "without", "denies", "no evidence of", "absence of", "no sign of", "free of"],
                "not": ["not", "never"],
                "after": ["was ruled out", "is ruled out", "unlikely", "free"],
                "pseudo": ["no increase", "not only", "gram negative", "no further", "not certain whether"],
                "but": ["but", "however", "although", "except", "apart from"],
                "or": ["or"],
                "and": ["and"],
                "if": ["if"],
                "other": ["mother had", "family history of"],
                "past": ["history of"],
            },
        }
    )
    return lexicon(Signs(findings, (words,)))


def states(text: str, clinic: Lexicon) -> dict[str, str]:
    read = mentions(pl.DataFrame({"tid": [0], "text": [text], "hint": ["en"]}), clinic)
    return {sign.removeprefix("finding_"): state for sign, state in read.select("sign", "state").iter_rows()}


@pytest.mark.parametrize(
    "text",
    [
        "The chest film shows no infiltrate.",
        "There is no evidence of infiltrate.",
        "Lungs without infiltrate.",
        "The patient denies any recent infiltrate.",
        "Absence of infiltrate.",
    ],
)
def test_a_trigger_before_the_term_negates_it(text: str, clinic: Lexicon) -> None:
    assert states(text, clinic) == {"infiltrate": "denied"}


@pytest.mark.parametrize("text", ["Pneumonia was ruled out.", "Pneumonia is unlikely."])
def test_a_trigger_after_the_term_negates_it(text: str, clinic: Lexicon) -> None:
    assert states(text, clinic) == {"pneumonia": "denied"}


def test_a_term_without_a_trigger_is_affirmed(clinic: Lexicon) -> None:
    assert states("The film shows an infiltrate.", clinic) == {"infiltrate": "affirmed"}


@pytest.mark.parametrize("between", range(6))
def test_a_trigger_reaches_over_up_to_five_words(between: int, clinic: Lexicon) -> None:
    filler = " ".join(["large", "old", "left", "lower", "lobe"][:between])
    assert states(f"No {filler} infiltrate.", clinic) == {"infiltrate": "denied"}


def test_a_trigger_does_not_reach_farther(clinic: Lexicon) -> None:
    text = "No change that anybody here has seen so far in the infiltrate."
    assert states(text, clinic) == {"infiltrate": "affirmed"}


@pytest.mark.parametrize("turn", ["but", "however", "although", "except"])
def test_a_terminator_ends_the_reach(turn: str, clinic: Lexicon) -> None:
    assert states(f"No fever {turn} edema.", clinic) == {"fever": "denied", "edema": "affirmed"}


def test_the_reach_ends_with_the_sentence(clinic: Lexicon) -> None:
    assert states("No fever. Edema.", clinic) == {"fever": "denied", "edema": "affirmed"}


@pytest.mark.parametrize(
    "text",
    ["No increase in the mass.", "Not only a mass.", "Gram negative, mass seen.", "No further growth of the mass."],
)
def test_a_phrase_that_only_looks_like_a_trigger_negates_nothing(text: str, clinic: Lexicon) -> None:
    assert states(text, clinic) == {"mass": "affirmed"}


def test_a_trigger_reaches_over_a_list(clinic: Lexicon) -> None:
    wanted = dict.fromkeys(("fever", "edema", "cyanosis"), "denied")
    assert states("No fever or edema or cyanosis.", clinic) == wanted


def test_what_is_said_of_somebody_else_or_supposed_is_no_finding(clinic: Lexicon) -> None:
    assert states("The patient's mother had pneumonia.", clinic) == {}
    assert states("Return if fever develops.", clinic) == {}


def test_a_finding_of_the_past_is_none_of_today(clinic: Lexicon) -> None:
    assert states("History of pneumonia.", clinic) == {}
