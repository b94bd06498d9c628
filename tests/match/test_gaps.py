"""The construction rows a buyer's own exports ask for."""

import csv
from datetime import date

import polars as pl

from triage.catalogue.constructions import Constructions
from triage.catalogue.matching import MatchWeights
from triage.match import run
from triage.match.gaps import COLUMNS, gaps, named_gaps
from triage.store import append, connect

TITLES = [
    "Quornby Astrelo 300 running shoes 1992 size 9", "Quornby Astrelo 300 silver UK 8", "quornby astrello 300 Gr. 43",
    "Quornby Astrelo 300 deadstock", "Pellavane Vantoure 1994 running UK 9", "Pellavane Vantoure 1995 white 43",
    "Lonely Onething boots", "Pellavane Tollareth 1995",
]  # fmt: skip


def unnamed(titles: list[str]) -> pl.DataFrame:
    years = pl.Series(titles).str.extract(r"\b(19\d\d)\b").cast(pl.Int32)
    return pl.DataFrame({"listing_id": [f"a/{n}" for n in range(len(titles))], "title": titles}).with_columns(
        stated_year_lo=years, stated_year_hi=years
    )


def test_unmatched_titles_are_grouped_by_maker_and_model_with_their_slips(
    constructions: Constructions, weights: MatchWeights
) -> None:
    found = named_gaps(unnamed(TITLES[:7]), constructions, weights)
    assert found.select("listings", "maker", "model").rows() == [
        (4, "Quornby", "Astrelo 300"),
        (2, "Pellavane", "Vantoure"),
    ]
    assert found["example"][0] == TITLES[0]
    assert found.select("year_lo", "year_hi").row(1) == (1994, 1995)


def test_a_gap_comes_as_a_row_to_fill(constructions: Constructions, weights: MatchWeights) -> None:
    line = named_gaps(unnamed(TITLES[:7]), constructions, weights)["row"][0]
    row = dict(zip(COLUMNS, next(csv.reader([line])), strict=True))
    assert (row["maker"], row["model"], row["midsole"], row["model_id"]) == ("Quornby", "Astrelo 300", "?", "")


def test_the_gaps_of_a_store_are_those_of_its_unnamed_pairs(
    constructions: Constructions, weights: MatchWeights
) -> None:
    store = connect()
    rows = unnamed(TITLES).with_columns(
        source=pl.lit("a"), external_id=pl.col("listing_id"), price_kind=pl.lit("fixed"), condition=pl.lit("unknown"),
        kind=pl.lit("pair"), first_seen=date(2026, 11, 24), last_seen=date(2026, 11, 24), status=pl.lit("open"),
    )  # fmt: skip
    append(store, "listing", rows)
    store.execute("CREATE TEMP TABLE todo AS SELECT listing_id FROM listing")
    run(store, constructions, weights, date(2026, 11, 25))
    assert gaps(store, constructions, weights)["listings"].to_list() == [4, 2]
    assert gaps(store, constructions, weights, most=1).height == 1
