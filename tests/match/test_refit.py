"""Weights fitted again to confirmed matches: better on them, near the shipped ones when they are few."""

import numpy as np
import polars as pl
import pytest
from scipy.stats import binomtest

from tests.match.conftest import FOLDER, RULES, as_listings
from triage.catalogue.constructions import Constructions
from triage.catalogue.matching import MatchWeights, load_match_weights
from triage.match.refit import calibration_error, refit, rewritten, wilson_lo

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


def test_the_file_of_weights_is_rewritten_and_reads_back(
    constructions: Constructions, weights: MatchWeights, tmp_path: object
) -> None:
    text = (RULES / "match" / "weights.toml").read_text("utf-8")
    assert rewritten(text, weights) == rewritten(rewritten(text, weights), weights)
    new = refit(LISTINGS, CONFIRMED, constructions, weights).weights
    changed = rewritten(text, new)
    kept = [line for line in changed.splitlines() if line in text.splitlines()]
    assert len(text.splitlines()) - len(kept) <= 15
    folder = RULES.__class__(str(tmp_path))
    (folder / "weights.toml").write_text(changed, "utf-8")
    (folder / "words.toml").write_text((RULES / "match" / "words.toml").read_text("utf-8"), "utf-8")
    read = load_match_weights(folder, [])
    assert read is not None
    assert read.weights.scale.year == pytest.approx(new.weights.scale.year, rel=1e-3)
    assert read.weights.prior.sibling == pytest.approx(new.weights.prior.sibling, rel=1e-3)


def test_calibration_error_is_the_mean_gap_between_chance_and_share() -> None:
    chance = np.array([0.9, 0.9, 0.9, 0.9, 0.2, 0.2])
    right = np.array([1, 1, 1, 0, 0, 1])
    assert calibration_error(chance, right) == pytest.approx((4 * abs(0.9 - 0.75) + 2 * abs(0.2 - 0.5)) / 6)
    assert calibration_error(np.ones(3), np.ones(3)) == 0


@pytest.mark.parametrize(("right", "of"), [(344, 345), (0, 5), (7, 7), (50, 80)])
def test_the_lower_bound_is_wilsons(right: int, of: int) -> None:
    interval = binomtest(right, of, alternative="greater").proportion_ci(0.95, method="wilson")
    assert wilson_lo(right, of, z=1.6448536269514722) == pytest.approx(interval.low, abs=1e-12)
