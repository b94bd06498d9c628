"""What holds for any table and any text."""

import polars as pl
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.match.conftest import FOLDER, as_listings
from triage.catalogue.constructions import SCHEMA, Constructions
from triage.catalogue.matching import MatchWeights
from triage.match import link
from triage.match.reading import read
from triage.match.score import planned_pairs, signatures
from triage.match.table import build_index

TITLES = pl.read_csv(FOLDER / "titles.csv", infer_schema=False)["title"].to_list()
WORDS = [
    "brelloway", "zephrune", "torquellan", "high", "classic", "180", "not", "similar to", "og", "retro", "1991", "'91",
    "size 9", "HDN-00-0914", "84/914", "rust", "stitched sole", "復刻", "パラヴァン", "モリヴェル", "43", "2", "R",
]  # fmt: skip
ANY_TITLE = st.lists(st.sampled_from(WORDS) | st.text(max_size=8), max_size=9).map(" ".join)
few = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


def rows(frame: pl.DataFrame) -> list[tuple[object, ...]]:
    return frame.sort(pl.all()).rows()


@few
@given(titles=st.lists(ANY_TITLE, min_size=1, max_size=6))
def test_the_places_of_any_text_sum_to_one(
    titles: list[str], constructions: Constructions, weights: MatchWeights
) -> None:
    found = link(as_listings(titles), constructions, weights).match
    sums = found.group_by("listing_id").agg(pl.col("probability").sum(), places=pl.col("place").sort())
    assert sums.height == len(titles)
    assert sums["probability"].is_between(1 - 1e-9, 1 + 1e-9).all()
    assert all(places == list(range(1, len(places) + 1)) and len(places) <= 4 for places in sums["places"].to_list())


@few
@given(order=st.permutations(range(24)), seed=st.integers(0, 2**31))
def test_the_order_of_listings_and_of_the_table_changes_nothing(
    order: list[int], seed: int, constructions: Constructions, weights: MatchWeights
) -> None:
    listings = as_listings(TITLES[::23])
    shuffled = Constructions(
        constructions.table.sample(fraction=1, shuffle=True, seed=seed),
        constructions.generic.sample(fraction=1, shuffle=True, seed=seed),
    )
    first = link(listings, constructions, weights)
    second = link(listings[order], shuffled, weights)
    assert first.match.equals(second.match)
    assert first.evidence.equals(second.evidence)


def test_the_evidence_adds_up_to_the_odds_between_releases(constructions: Constructions, weights: MatchWeights) -> None:
    found = link(as_listings(TITLES), constructions, weights)
    order = ["listing_id", "construction_id", "weight", "field"]
    assert found.evidence.equals(found.evidence.sort(order, descending=[False, False, True, False]))
    bits = found.evidence.group_by("listing_id", "construction_id").agg(pl.col("weight").sum())
    both = found.match.join(bits, on=["listing_id", "construction_id"]).sort("listing_id", "place")
    first = both.unique("listing_id", keep="first", maintain_order=True)
    pairs = both.join(first.select("listing_id", first_p="probability", first_bits="weight"), on="listing_id")
    odds = (pairs["probability"] / pairs["first_p"]).log(2)
    assert pairs.height > 600
    assert ((odds - (pairs["weight"] - pairs["first_bits"])).abs() < 1e-6).all()


def test_the_pairs_planned_are_the_pairs_made(constructions: Constructions, weights: MatchWeights) -> None:
    index = build_index(constructions, weights)
    names = read(as_listings(TITLES).with_row_index("item"), index, weights).names
    tokens = signatures(names)[1]
    words = tokens.filter((pl.col("kind") == "model") & ~pl.col("against")).unique(["sig", "token"])
    made = words.join(index.postings, left_on="token", right_on="word")
    assert planned_pairs(tokens, index) == made.height > 0


def test_any_part_of_the_listings_gives_the_same_rows(constructions: Constructions, weights: MatchWeights) -> None:
    listings = as_listings(TITLES)
    whole = link(listings, constructions, weights)
    parts = [link(part, constructions, weights) for part in (listings[:100], listings[100:101], listings[101:])]
    assert rows(whole.match) == rows(pl.concat(part.match for part in parts))
    assert rows(whole.evidence) == rows(pl.concat(part.evidence for part in parts))


def test_a_body_that_many_sellers_use_says_of_each_listing_what_it_says_of_one(
    constructions: Constructions, weights: MatchWeights
) -> None:
    titles = ["black shoes, size 9", *TITLES[3:300:40], "Torquellan", "?"]
    told = [None, "", " ¿? ", "Not similar to Torquellan High, look-alike. Style HDN-00-0914", *TITLES[::24]]
    listings = as_listings([title for title in titles for _ in told], told * len(titles))
    whole = link(listings, constructions, weights)
    # Every title with every body, in each piece no title and no body twice; and some by themselves.
    count = len(told)
    pieces = [[i * count + (i + shift) % count for i in range(len(titles))] for shift in range(count)]
    apart = [link(listings[piece], constructions, weights) for piece in pieces]
    assert rows(whole.match) == rows(pl.concat(piece.match for piece in apart))
    assert rows(whole.evidence) == rows(pl.concat(piece.evidence for piece in apart))
    for at in range(0, listings.height, 23):
        one = link(listings[at : at + 1], constructions, weights)
        whose = pl.col("listing_id") == listings["listing_id"][at]
        assert rows(whole.match.filter(whose)) == rows(one.match)
        assert rows(whole.evidence.filter(whose)) == rows(one.evidence)
    # Bodies were read: titles that name nothing have releases by them.
    assert whole.match.join(listings.head(len(told)), on="listing_id", how="semi")["accepted"].sum() > 3


@few
@given(
    maker=st.text("qxjz", min_size=7, max_size=9), model=st.text("qxjz", min_size=7, max_size=12),
    number=st.from_regex(r"QX[0-9]{6}", fullmatch=True),
)  # fmt: skip
def test_an_unrelated_release_changes_no_match(
    maker: str, model: str, number: str, constructions: Constructions, weights: MatchWeights
) -> None:
    release = {"model_id": "ZZ-99", "maker": maker, "model": model, "style_numbers": [number], "life_factor": 1.0}
    lists = {name: [] for name, kind in SCHEMA.items() if isinstance(kind, pl.List)}
    extra = pl.DataFrame(
        [{**dict.fromkeys(constructions.table.columns), **lists, **release}], constructions.table.schema
    )
    wider = Constructions(pl.concat([constructions.table, extra]), constructions.generic)
    listings = as_listings(TITLES[::5])
    before, after = link(listings, constructions, weights).match, link(listings, wider, weights).match
    assert before.filter("accepted").height > 40
    assert before.equals(after)


def test_a_listing_that_quotes_a_style_number_gets_its_release(
    constructions: Constructions, weights: MatchWeights
) -> None:
    numbered = constructions.table.select("model_id", "maker", "model", pl.col("style_numbers").list.first())
    for maker, model in ((True, True), (True, False), (False, True), (False, False)):
        named = [pl.col("maker") if maker else pl.lit(""), pl.col("model") if model else pl.lit("")]
        titles = numbered.select(pl.concat_str(*named, "style_numbers", pl.lit("size 9"), separator=" ")).to_series()
        found = link(as_listings(titles.to_list()), constructions, weights).match
        first = found.filter(pl.col("place") == 1).sort("listing_id")
        assert first["construction_id"].to_list() == numbered["model_id"].to_list()
        assert set(first["level"]) == {"style_number"}
        if maker or model:
            assert first["accepted"].all()


def test_a_style_number_against_another_maker_and_model_is_not_accepted(
    constructions: Constructions, weights: MatchWeights
) -> None:
    found = link(as_listings(["Ostrevik Holmkrag Light GTR BW3108.07"]), constructions, weights).match
    assert not found["accepted"].any()
