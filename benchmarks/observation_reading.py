"""Print how well the labelled listings are read, both halves and the sixty later ones, each language.

    python benchmarks/observation_reading.py

The halves are fixed by a hash of the id. The tuning half was read listing by listing while the word lists
grew; of the held-out half only these figures were looked at. The later ones were tuned on after a first count.
"""

import sys
from pathlib import Path

import polars as pl

from triage.catalogue.signs import load_signs
from triage.observation.lexicon import lexicon

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent / "tests/observation"))

from test_labelled_listings import LANGUAGES, expected, figures, labelled, readings  # noqa: E402


def main() -> None:
    """Print one line a half and language: signs, precision, recall, F1, states taken for their opposite."""
    listings = labelled()
    words = lexicon(load_signs(HERE.parent / "rules/signs", []))
    both = expected(listings).join(readings(listings, words), on=["id", "sign"], how="full", coalesce=True)
    both = both.join(listings.select("id", "language", "half"), on="id")
    print("half   language  signs  precision  recall     F1  turned")
    for name in ("tune", "held", "later"):
        for language in ("all", *LANGUAGES):
            part = both.filter(pl.col("half") == name)
            part = part if language == "all" else part.filter(pl.col("language") == language)
            precision, recall, f1 = figures(part)
            turned = part.filter(pl.col("wanted") != pl.col("got")).height
            signs = part["wanted"].drop_nulls().len()
            print(f"{name:5}  {language:8}  {signs:5}      {precision:.3f}   {recall:.3f}  {f1:.3f}  {turned:6}")


if __name__ == "__main__":
    main()
