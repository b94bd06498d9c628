"""The figures of ``benchmarks/match_scale.py`` at a size for every day: 40,000 invented titles, 5,000 releases."""

import importlib.util
import sys
from pathlib import Path

import numpy as np
import polars as pl

from triage.catalogue.matching import MatchWeights
from triage.match import link
from triage.match.refit import calibration_error

WORLD = Path(__file__).resolve().parents[2] / "benchmarks" / "match_world.py"


def test_invented_titles_at_scale_meet_what_is_promised(weights: MatchWeights) -> None:
    spec = importlib.util.spec_from_file_location("match_world", WORLD)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["match_world"] = module
    spec.loader.exec_module(module)
    world = module.make_world(40_000, 5_000, 11)
    found = link(world.listings, world.constructions, weights).match
    named = found.filter(~pl.col("level").is_in(["generic", "none"])).sort("listing_id", "place")
    best = named.unique("listing_id", keep="first", maintain_order=True)
    judged = world.truth.join(best, on="listing_id", how="left").join(
        found.filter(pl.col("place") == 1).select("listing_id", first="construction_id"), on="listing_id"
    )
    right = (pl.col("construction_id") == pl.col("release")).fill_null(False)
    accepted = pl.col("accepted").fill_null(False)
    inside, outside = judged.filter(pl.col("release") != ""), judged.filter(pl.col("release") == "")
    assert 0.15 < outside.height / judged.height < 0.25
    assert (inside["first"] == inside["release"]).fill_null(False).mean() >= 0.95
    assert judged.filter(accepted).select(right.mean()).item() >= 0.99
    assert inside.select((right & accepted).mean()).item() >= 0.70
    assert outside.select(accepted.mean()).item() <= 0.02
    chance = judged["probability"].fill_null(0.0).to_numpy()
    assert calibration_error(chance, judged.select(right.cast(pl.Int8)).to_series().to_numpy().astype(np.int64)) <= 0.02
