"""Any text passes, and every quote stands where its offset says."""

import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.observation.conftest import read_all
from triage.catalogue.signs import Signs
from triage.observation import read_text
from triage.observation.lexicon import Lexicon
from triage.observation.show import marked, pieces

# After the kinds of strings that public lists of hostile input collect.
HOSTILE = [
    "",
    " ",
    "\x00",
    "\ufeff",
    "\u200b\u200e\u202e sloe gnilbmurc",
    "undefined NULL (null) nil NaN -1e309 0x0 ../../etc/passwd",
    "'; DROP TABLE observation; -- soles crumbling",
    "<script>alert('soles crumbling')</script>",
    "{{7*7}} ${soles crumbling} %s %n %x",
    "Ω≈ç√∫˜µ≤≥÷ soles crumbling åß∂ƒ©˙∆˚¬…æ",
    "ｓｏｌｅｓ ｃｒｕｍｂｌｉｎｇ",
    "ﬁne ﬂat soles ﬀ crumbling ½ ㎝ ㍿",
    "s\u0327o\u0301l\u0308e\u030as crumbling",
    "ｿｰﾙのﾍﾞﾀﾂｷあり",
    "👟👟🏽‍🦰 soles 👟crumbling👟 🇩🇪",
    "İstanbul ıssız soles crumbling ẞ ǅ",
    "שלום soles crumbling مرحبا",
    "z̸̢a̵͝l̶g̷o̸ soles crumbling",
    "." * 5000 + "soles crumbling" + "," * 5000,
    "no " * 3000 + "cracks",
    "soles crumbling" * 400,
    "ソ" * 4000 + "ールのベタつきあり",
]


@pytest.mark.parametrize("language", ["en", "ja"])
def test_hostile_texts_pass_and_their_quotes_are_in_place(language: str, words: Lexicon) -> None:
    found = read_all(HOSTILE, [language] * len(HOSTILE), words)
    for number, quote, start in found.select("listing_id", "quote", "start").iter_rows():
        assert HOSTILE[number][start : start + len(quote)] == quote
    assert found["listing_id"].n_unique() >= 12


def check_all(texts: list[str], words: Lexicon) -> pl.DataFrame:
    found = read_all(texts, ["en"] * len(texts), words)
    for number, quote, start in found.select("listing_id", "quote", "start").iter_rows():
        assert texts[number][start : start + len(quote)] == quote
        assert quote.strip()
    return found


# Many texts an example: the search tree is built anew for every call.
@settings(max_examples=5, deadline=None, suppress_health_check=list(HealthCheck))
@given(texts=st.lists(st.text(max_size=80), min_size=50, max_size=80))
def test_any_text_passes(words: Lexicon, texts: list[str]) -> None:
    check_all(texts, words)


@settings(max_examples=5, deadline=None, suppress_health_check=list(HealthCheck))
@given(around=st.lists(st.tuples(st.text(max_size=20), st.text(max_size=20)), min_size=40, max_size=60))
def test_a_sentence_is_found_in_place_between_any_two_texts(words: Lexicon, around: list[tuple[str, str]]) -> None:
    texts = [f"{before}\nThe midsole is crumbling.\n{after}" for before, after in around]
    found = check_all(texts, words)
    placed = set(found.filter(pl.col("sign") == "midsole_crumbling").select("listing_id", "start").iter_rows())
    assert placed >= {(number, len(before) + 5) for number, (before, _) in enumerate(around)}


def test_pieces_of_a_marked_text_join_to_the_text(signs: Signs) -> None:
    text = "Soles hard, no cracks! ミッドソールの崩れなし。 I think the leather is dry."
    readings = read_text(text, signs, "en")
    assert "".join(piece.text for piece in pieces(text, readings)) == text
    assert "[no cracks | midsole_cracked denied]" in marked(text, readings)
    assert "upper_leather_dry affirmed hedged" in marked(text, readings)
