"""What stages hand to those behind them: tables as several read them, of a few pairs without reading them back."""

from collections.abc import Collection
from dataclasses import dataclass

import polars as pl

from triage.catalogue.buyers import Outlook
from triage.order import ordered
from triage.store import Connection, frame

# Whose word holds against whose: the last one's.
SPEAKERS = ("listing", "answer", "buyer", "inspection")
SAID = """
SELECT listing_id, sign, said_by, state, hedged, counts, TRY_CAST(value AS INTEGER) AS year
FROM observation
WHERE listing_id IN (SELECT listing_id FROM {of}) AND {which}
"""


def read_said(store: Connection, of: str = "todo", signs: Collection[str] | None = None) -> pl.DataFrame:
    """Return what was said of some listings, by listing and sign, the word that holds last.

    Args:
        of: Table of the listings.
        signs: Signs that are looked at; all when left out.

    Returns:
        listing_id, sign, said_by, state, hedged, counts, and ``year``, what was stated as a whole number.
    """
    if signs is None:
        said = frame(store, SAID.format(of=of, which="TRUE"))
    else:
        said = frame(store, SAID.format(of=of, which="list_contains($1::VARCHAR[], sign)"), [sorted(signs)])
    # Where only one speaks nobody's word comes before another's.
    if said["said_by"].is_sorted() and said["said_by"].first() == said["said_by"].last():
        return ordered(said, "listing_id", "sign")
    rank = pl.col("said_by").replace_strict(SPEAKERS, range(len(SPEAKERS)), return_dtype=pl.Int8)
    return ordered(said.with_columns(rank=rank), "listing_id", "sign", "rank").drop("rank")


def holding(counted: pl.DataFrame) -> pl.DataFrame:
    """Return the word that holds of each listing and sign: the last, as ``read_said`` has them together.

    Args:
        counted: What counts, as ``read_said`` returns it.
    """
    other = [pl.col(key) != pl.col(key).shift(-1) for key in ("listing_id", "sign")]
    return counted.filter(pl.any_horizontal(other).fill_null(True))


@dataclass(frozen=True)
class Lives:
    """How few listings have aged: rows of ``life_led``, and of ``life_part`` by life, outlook and part."""

    led: pl.DataFrame
    parts: pl.DataFrame

    def of(self, outlook: Outlook) -> "Lives":
        """Return the parts in one outlook."""
        years, climate = outlook
        return Lives(self.led, self.parts.filter(horizon_years=years, climate=climate))

    def of_first_outlook(self) -> "Lives":
        """Return the parts in the outlook that comes first."""
        return Lives(self.led, self.parts.join(self.parts.head(1), on=["horizon_years", "climate"], how="semi"))
