"""The signs and the lexicon of ``rules/``, read once for all tests of this folder."""

from collections.abc import Callable
from pathlib import Path

import polars as pl
import pytest

from triage.catalogue.signs import Signs, load_signs
from triage.errors import Problem
from triage.observation.lexicon import Lexicon, lexicon
from triage.observation.read import mentions
from triage.observation.weigh import weighed

RULES = Path(__file__).parents[2] / "rules" / "signs"
Read = Callable[..., dict[str, str]]


@pytest.fixture(scope="session")
def signs() -> Signs:
    problems: list[Problem] = []
    loaded = load_signs(RULES, problems)
    assert problems == []
    return loaded


@pytest.fixture(scope="session")
def words(signs: Signs) -> Lexicon:
    return lexicon(signs)


@pytest.fixture(scope="session")
def read(words: Lexicon) -> Read:
    """Return a reader: text and language in, {sign: affirmed or denied} of what counts out."""

    def reader(text: str, language: str = "en") -> dict[str, str]:
        counted = read_all([text], [language], words).filter("counts")
        return dict(counted.select("sign", "state").iter_rows())

    return reader


def read_all(texts: list[str], languages: list[str], words: Lexicon) -> pl.DataFrame:
    """Return the weighed mentions of texts; listing_id is the text's place in the list."""
    frame = pl.DataFrame({"tid": range(len(texts)), "text": texts, "hint": languages})
    found = mentions(frame, words).with_columns(
        listing_id=pl.col("tid"), said_by=pl.lit("listing"), field=pl.lit("body"), habit=pl.lit(False)
    )
    return weighed(found, words)
