"""The demo's listings with the reading an experienced buyer gives them."""

from pathlib import Path

import polars as pl
import pytest
from test_labelled_listings import expected, readings

from triage.observation.lexicon import Lexicon

LISTINGS = pl.read_csv(Path(__file__).parent / "demo_listings.csv")


@pytest.mark.parametrize("name", LISTINGS["id"].to_list())
def test_a_demo_listing_is_read_as_a_buyer_would(name: str, words: Lexicon) -> None:
    listing = LISTINGS.filter(pl.col("id") == name)
    wanted = dict(expected(listing).select("sign", "wanted").iter_rows())
    assert dict(readings(listing, words).select("sign", "got").iter_rows()) == wanted
