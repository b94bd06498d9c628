"""The facts rules look at: documented as the view has them, and asked for shortly and politely in six languages."""

import re

import pytest

from triage import catalogue, store
from triage.catalogue.facts import LANGUAGES, load_facts
from triage.rules.facts import read_facts

KNOWN = catalogue.load()
ASKED = sorted(name for name, fact in KNOWN.facts.items() if fact.ask)
QUESTIONS = [(name, language) for name in ASKED for language in LANGUAGES]

# Small words hardly any question can do without, and none of them in the language beside it.
MARKERS = {
    "en": r"\b(the|they|what|which|have|where|been|could|you)\b",
    "de": r"\b(wurden|welche[rsmn]?|stellen|steht|könnten|wo|sie|und|auf dem)\b",
    "fr": r"\b(quelle?|où|pourriez|souhaitez|vous|la petite|ont-elles|combien)\b",
    "it": r"\b(che cosa|che anno|che prezzo|quale|dove|potrebbe|sono|della?|quante)\b",
    "es": r"¿",
    "ja": r"[ぁ-ん]",
}
# Speaking to a stranger: no form of address among friends.
FAMILIAR = {
    "en": r"\b(hey|mate|bro)\b",
    "de": r"\b(du|dir|dich|dein\w*|hast|kannst|könntest)\b",
    "fr": r"\b(tu|te|toi|ton|tes|peux|pourrais)\b",
    "it": r"\b(tu|ti|tuo\w*|hai|puoi|potresti)\b",
    "es": r"\b(tú|te|tu|tus|tienes|puedes|podrías)\b",
    "ja": r"(くれ|教えて$|ある？)",
}
POLITE_JAPANESE = re.compile(r"(ます|です|でしょう|ください|ました)")


def test_there_are_questions_for_age_release_wear_storage_photos_size_and_price():
    assert set(ASKED) >= {"made_year", "construction_id", "deadstock", "storage_years", "photo_count", "size_system",
                          "stated_year_lo", "price_minor"}  # fmt: skip


@pytest.mark.parametrize(("name", "language"), QUESTIONS)
def test_a_fact_is_asked_for_shortly_politely_and_in_its_language(name, language):
    text = KNOWN.facts[name].ask[language]
    # As long as fits one message beside a greeting: 25 words, or 70 characters of Japanese.
    assert len(text) <= 70 if language == "ja" else len(text.split()) <= 25
    assert text.endswith("。" if language == "ja" else "?")
    assert re.search(MARKERS[language], text.lower())
    assert not re.search(FAMILIAR[language], text.lower())
    assert "!" not in text
    if language == "ja":
        assert POLITE_JAPANESE.search(text)
        return
    assert not re.search(r"[ぁ-んァ-ン一-龥]", text)
    strangers = {other for other, words in MARKERS.items() if other != language and re.search(words, text.lower())}
    own = len(re.findall(MARKERS[language], text.lower()))
    assert all(len(re.findall(MARKERS[other], text.lower())) < own for other in strangers - {"ja"})


@pytest.mark.parametrize("name", ASKED)
def test_a_question_is_worded_anew_in_each_language(name):
    assert len(set(KNOWN.facts[name].ask.values())) == len(LANGUAGES)


def test_every_fact_is_documented_with_its_type_and_no_other_is():
    connection = store.connect()
    connection.execute("CREATE TEMP TABLE todo (listing_id VARCHAR)")
    with store.registered(connection, "facts", read_facts(connection, KNOWN.signs)):
        has = dict(connection.execute("SELECT column_name, column_type FROM (DESCRIBE facts)").fetchall())
    connection.close()
    plain = {name: kind for name, kind in has.items() if name not in KNOWN.signs}
    assert plain == {name: fact.type for name, fact in KNOWN.facts.items()}
    assert {has[sign] for sign in KNOWN.signs} == {"BOOLEAN"}


def test_every_fact_says_what_null_means_and_which_stage_makes_it():
    stages = {"ingest", "listing", "match", "observation", "prognosis", "rules"}
    for name, fact in KNOWN.facts.items():
        assert fact.made_by in stages, name
        assert fact.null_means, name


def test_a_question_that_lacks_a_language_is_a_fault_with_file_and_line(tmp_path):
    path = tmp_path / "facts.toml"
    path.write_text(
        '[age_years]\ntype = "DOUBLE"\nabout = "years"\nnull_means = "no date"\nmade_by = "rules"\n'
        'ask = {en = "How old are they?"}\n',
        "utf-8",
    )
    problems: list = []
    assert load_facts(path, problems) == {}
    assert str(problems[0]).startswith(f"{path}:")
    assert "a question in each of en, de, fr, it, es, ja" in str(problems[0])
