"""Value when sound: read off other pairs, never off the pair itself or its twin, and shown with what it rests on."""

from dataclasses import replace
from datetime import date
from itertools import product
from statistics import median

import numpy as np
import polars as pl
import pytest

from triage import batch, store
from triage.verdict.worth import COMPARABLES, MOST_COMPARABLES, POOLED

DAY = date(2026, 11, 25)
EVA = {"title": "Haldrassen Torquellan High HDN-12-1914", "body": "Worn last week without problems."}


@pytest.fixture(scope="module")
def worth(known):
    """Return a function from listings (and twins) to value and basis of the pair ``it``, for a buyer without wants."""
    plain = replace(known, buyers={"bench": known.buyers["bench"].model_copy(update={"want": ()})})

    def found(twins: tuple[str, ...] = (), **listings: dict) -> tuple[int, str]:
        connection = store.connect()
        for name, given in listings.items():
            row = {
                "listing_id": name, "source": "t", "external_id": name, "price_kind": "fixed", "ships_from": "DE",
                "price_base_minor": 10_000, "condition": "worn_lightly", "kind": "pair", "first_seen": DAY,
                "last_seen": DAY, "status": "open", "foot_mm_lo": 266.0, "foot_mm_hi": 270.0, **given,
            }  # fmt: skip
            store.append(connection, "listing", pl.DataFrame([row]))
        for twin in twins:
            for one, other in (("it", twin), (twin, "it")):
                connection.execute("INSERT INTO twin VALUES (?, ?, 'copy', 0.95, 'same photos')", [one, other])
        batch.weigh(connection, plain, DAY)
        query = "SELECT value_minor, value_basis FROM verdict WHERE listing_id = 'it'"
        return connection.execute(query).fetchall()[0]

    return found


def test_alone_a_pair_is_worth_what_its_category_is_whatever_it_asks(worth, known):
    usual = known.values.of_category("basketball").sound_minor
    for price in (1000, 10_000, 90_000):
        assert worth(it={**EVA, "price_base_minor": price}) == (usual, "usual for its category")


def test_a_twin_says_nothing_of_what_a_pair_is_worth(worth):
    alone = worth(it=EVA)
    assert worth(("copy",), it=EVA, copy={**EVA, "price_base_minor": 30_000}) == alone
    assert worth(it=EVA, copy={**EVA, "price_base_minor": 30_000}) != alone


def test_count_range_sold_and_date_are_shown_and_the_shrunk_median_is_the_value(worth, known):
    others = {
        "a": {**EVA, "price_base_minor": 20_000, "status": "sold", "last_seen": date(2026, 11, 20)},
        "b": {**EVA, "price_base_minor": 20_000, "last_seen": date(2026, 11, 24)},
        "c": {**EVA, "price_base_minor": 30_000, "last_seen": date(2026, 11, 22)},
    }
    others = {name: {**row, "first_seen": date(2026, 11, 1)} for name, row in others.items()}
    value, basis = worth(("twin",), it=EVA, twin={**EVA, "price_base_minor": 90_000}, **others)
    assert basis == (
        "3 comparable pairs of this release, 200 to 300, 1 of them sold, latest 2026-11; "
        "drawn towards model and category"
    )
    # Asked prices count 0.85: worth 200, 170 and 255, median 200; three against four parts of the category's.
    usual = known.values.of_category("basketball").sound_minor
    assert known.values.asked_share == 0.85
    assert value == round((3 * 20_000 + 4 * usual) / 7)


def test_a_pair_that_is_likely_unsound_is_no_measure_of_a_sound_one(worth):
    alone = worth(it=EVA)
    assert worth(it=EVA, rotten={**EVA, "body": "The foam crumbles.", "price_base_minor": 30_000}) == alone


LISTINGS, RELEASES = [f"p{number:03}" for number in range(260)], ["A", "B", "C"]


@pytest.mark.parametrize("seed", range(6))
def test_a_pair_is_held_against_the_latest_fifty_that_are_neither_itself_nor_a_twin(seed):
    rng = np.random.default_rng(seed)
    pool, cells = [], {}
    for release, same in product(RELEASES, (True, False)):
        # One pool is shorter than what is looked at, one just as long, others leave room for those that fall out.
        count = int(rng.choice([8, MOST_COMPARABLES, MOST_COMPARABLES + 1, 2 * MOST_COMPARABLES]))
        names = rng.choice(LISTINGS, count, replace=False).tolist()
        rows = [(release, same, name, float(rng.integers(50, 400)), nth + 1) for nth, name in enumerate(names)]
        pool += rows
        cells[release, same] = [(name, worth) for _, _, name, worth, _ in rows]
    # Some pairs have a twin or two, one has more of them than are looked at.
    twins = {name: set(rng.choice(LISTINGS, rng.integers(0, 3), replace=False).tolist()) for name in LISTINGS}
    twins[LISTINGS[0]] |= set(rng.choice(LISTINGS, 140, replace=False).tolist())
    tables = {
        "chunk": pl.DataFrame({"listing_id": LISTINGS}),
        "candidate": pl.DataFrame(
            list(product(LISTINGS, RELEASES)), schema=["listing_id", "construction_id"], orient="row"
        ),
        "twin": pl.DataFrame(
            [(one, other) for one, others in twins.items() for other in others],
            schema=["listing_id", "twin_id"], orient="row",
        ),
        "pool": pl.DataFrame(
            pool, schema=["construction_id", "same_release", "listing_id", "worth_minor", "nth"], orient="row"
        ).with_columns(price_minor=pl.col("worth_minor"), sold=pl.lit(False), last_seen=pl.lit(DAY)),
    }  # fmt: skip
    connection = store.open_file(None)
    for name, rows in tables.items():
        with store.registered(connection, "given", rows):
            connection.execute(f"CREATE TEMP TABLE {name} AS FROM given")
    connection.execute(POOLED)
    found = store.frame(connection, COMPARABLES)
    expected = {}
    for name, (release, same) in product(LISTINGS, cells):
        rest = [worth for other, worth in cells[release, same] if other != name and other not in twins[name]]
        if rest := rest[:MOST_COMPARABLES]:
            expected[name, release, same] = (len(rest), median(rest), min(rest), max(rest))
    figures = ("pairs", "median_minor", "least_minor", "most_minor")
    keys = ("listing_id", "construction_id", "same_release")
    assert {row[:3]: row[3:] for row in found.select(*keys, *figures).iter_rows()} == expected
