"""Weights fitted again to confirmed matches: better on them, near the shipped ones when they are few."""

import numpy as np
import polars as pl
import pytest
from scipy.stats import binomtest

from tests.match.conftest import FOLDER, as_listings
from triage.catalogue.constructions import Constructions
from triage.catalogue.matching import MatchWeights
from triage.match.refit import calibration_error, refit, wilson_lo

TITLES = pl.read_csv(FOLDER / "titles.csv", infer_schema=False).with_columns(pl.col("releases").fill_null(""))
LISTINGS = as_listings(TITLES["title"].to_list())
CONFIRMED = pl.DataFrame({"listing_id": LISTINGS["listing_id"], "model_id": TITLES["releases"]}).filter(
    ~pl.col("model_id").str.contains(";")
)


def distorted(weights: MatchWeights, **scale: float) -> MatchWeights:
    changed = weights.weights.model_copy(update={"scale": weights.weights.scale.model_copy(update=scale)})
    return weights.model_copy(update={"weights": changed})


def test_confirmed_matches_make_the_weights_better(constructions: Constructions, weights: MatchWeights) -> None:
    found = refit(LISTINGS, CONFIRMED, constructions, weights)
    assert found.before.matches == CONFIRMED.height
    assert found.after.log_loss < found.before.log_loss
    assert found.after.accepted_right / found.after.accepted >= 0.99


def test_a_wrong_weight_is_drawn_back(constructions: Constructions, weights: MatchWeights) -> None:
    wrong = distorted(weights, year=3.0, number=0.3)
    scale = refit(LISTINGS, CONFIRMED, constructions, wrong).weights.weights.scale
    assert scale.year < 2.5
    assert scale.number > 0.4


def test_one_confirmed_match_moves_the_weights_little(constructions: Constructions, weights: MatchWeights) -> None:
    scale = refit(LISTINGS, CONFIRMED[:1], constructions, weights).weights.weights.scale
    assert all(abs(value - 1) < 0.02 for value in scale.model_dump().values())


def test_a_second_fit_starts_from_the_weights_before_the_first(
    constructions: Constructions, weights: MatchWeights
) -> None:
    once = refit(LISTINGS, CONFIRMED, constructions, weights)
    twice = refit(LISTINGS, CONFIRMED, constructions, once.weights, first=weights)
    assert twice.weights.weights.scale == once.weights.weights.scale
    assert twice.before == once.after
    # Started from its own result it would go on in the same direction, counting every match twice.
    again = refit(LISTINGS, CONFIRMED, constructions, once.weights).weights.weights.scale
    assert (
        max(
            abs(a - b)
            for a, b in zip(again.model_dump().values(), once.weights.weights.scale.model_dump().values(), strict=True)
        )
        > 0.01
    )


def test_more_matches_make_the_weights_surer(constructions: Constructions, weights: MatchWeights) -> None:
    few, all_of_them = (refit(LISTINGS, rows, constructions, weights).sd for rows in (CONFIRMED[:20], CONFIRMED))
    assert set(few) == {f"scale.{name}" for name in weights.weights.scale.model_dump()} | {
        "prior.unrelated", "prior.sibling",
    }  # fmt: skip
    assert all(all_of_them[name] <= few[name] + 1e-9 for name in few)
    assert 0 < all_of_them["scale.year"] < 0.3 * weights.weights.scale.year


def test_calibration_error_is_the_mean_gap_between_chance_and_share() -> None:
    chance = np.array([0.9, 0.9, 0.9, 0.9, 0.2, 0.2])
    right = np.array([1, 1, 1, 0, 0, 1])
    assert calibration_error(chance, right) == pytest.approx((4 * abs(0.9 - 0.75) + 2 * abs(0.2 - 0.5)) / 6)
    assert calibration_error(np.ones(3), np.ones(3)) == 0


@pytest.mark.parametrize(("right", "of"), [(344, 345), (0, 5), (7, 7), (50, 80)])
def test_the_lower_bound_is_wilsons(right: int, of: int) -> None:
    interval = binomtest(right, of, alternative="greater").proportion_ci(0.95, method="wilson")
    assert wilson_lo(right, of, z=1.6448536269514722) == pytest.approx(interval.low, abs=1e-12)
