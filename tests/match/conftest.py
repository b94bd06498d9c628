"""The demo's construction table and the shipped weights, loaded once."""

from pathlib import Path

import polars as pl
import pytest

from triage.catalogue.constructions import Constructions, load_constructions
from triage.catalogue.matching import MatchWeights, load_match_weights
from triage.errors import Problem

FOLDER = Path(__file__).parent
RULES = Path(__file__).resolve().parents[2] / "rules"


@pytest.fixture(scope="session")
def constructions() -> Constructions:
    problems: list[Problem] = []
    files = [RULES / "constructions" / name for name in ("demo.csv", "generic.csv")]
    table = load_constructions(files, problems)
    assert problems == []
    return table


@pytest.fixture(scope="session")
def weights() -> MatchWeights:
    problems: list[Problem] = []
    loaded = load_match_weights(RULES / "match", problems)
    assert problems == []
    assert loaded is not None
    return loaded


def as_listings(
    titles: list[str], bodies: list[str | None] | None = None, sizes: list[str] | None = None
) -> pl.DataFrame:
    """Return listings with these titles, ids L000, L001, ... and no years stated elsewhere."""
    empty: list[str | None] = [None] * len(titles)
    return pl.DataFrame(
        {
            "listing_id": [f"L{n:03d}" for n in range(len(titles))],
            "title": titles,
            "body": bodies or empty,
            "size_text": sizes or empty,
            "stated_year_lo": [None] * len(titles),
            "stated_year_hi": [None] * len(titles),
            "stated_year_kind": [None] * len(titles),
        },
        schema={
            "listing_id": pl.String, "title": pl.String, "body": pl.String, "size_text": pl.String,
            "stated_year_lo": pl.Int32, "stated_year_hi": pl.Int32, "stated_year_kind": pl.String,
        },
    )  # fmt: skip
