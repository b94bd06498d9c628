"""Refit worlds whose numbers are known: do intervals hold the truth as often as they say, do the chances improve?

    python -m benchmarks.refit_truth [SEEDS] [PAIRS] [--one-story]

Truth is drawn from the table's own ranges, so that an interval of 90 % is one in the sense in which it is stated: over
all the worlds the table thinks possible. A number counts as often as any pair speaks of it.
"""

import argparse
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent))

from sklearn.metrics import brier_score_loss, log_loss

from tests.learning.world import chances_of, home_of, materials, world
from triage import catalogue
from triage.learning.changes import refitted
from triage.learning.fitting import fit, interval, spoken_of
from triage.learning.likelihood import NOT_LOOKED_AT

FAMILIES = ("ln_eta", "ln_beta", "weight_db")


def one_world(known: catalogue.Catalogue, seed: int, pairs: int, one_story: bool) -> dict[str, np.ndarray]:
    """Return which numbers were held by their interval, by family, and the scores of chances out of sample."""
    here = world(known, seed, pairs, one_story=one_story)
    found = fit(here.inspected, here.belief)
    low, high = interval(found, 0.90)
    held = {}
    for name, spoken in zip(FAMILIES, spoken_of(here.inspected, here.belief.middle), strict=True):
        least, most, true = (getattr(one, name)[spoken] for one in (low, high, here.truth))
        held[name] = (least <= true) & (true <= most)
    later = world(known, 10_000 + seed, pairs, truth=here.truth, one_story=one_story).inspected
    before, after = materials(known), refitted(materials(known), found)
    seen = later.found != NOT_LOOKED_AT
    unfit = later.found[seen] == 1
    table, fitted = (
        chances_of(later, one, db, home_of(known))[seen]
        for one, db in ((before, here.belief.middle.weight_db), (after, found.numbers.weight_db))
    )
    scores = [score(unfit, chance) for chance in (table, fitted) for score in (brier_score_loss, log_loss)]
    return held | {"scores": np.array(scores)}


def main() -> None:
    """Print coverage by family and over all, and the scores."""
    asked = argparse.ArgumentParser()
    asked.add_argument("seeds", type=int, nargs="?", default=100)
    asked.add_argument("pairs", type=int, nargs="?", default=3000)
    asked.add_argument("--one-story", action="store_true")
    given = asked.parse_args()
    known = catalogue.load()
    start = time.perf_counter()
    worlds = []
    for seed in range(given.seeds):
        worlds.append(one_world(known, seed, given.pairs, given.one_story))
        print(f"{seed} {time.perf_counter() - start:.0f} s", file=sys.stderr, flush=True)
    held = {name: np.concatenate([one[name] for one in worlds]) for name in FAMILIES}
    for name, which in (held | {"all": np.concatenate(list(held.values()))}).items():
        print(f"{name}: 90 % intervals hold {which.mean():.4f} of {len(which)} true numbers")
    scores = np.array([one["scores"] for one in worlds])
    brier, loss = scores[:, 0] - scores[:, 2], scores[:, 1] - scores[:, 3]
    print(f"out of sample, table -> refitted: Brier {scores[:, 0].mean():.4f} -> {scores[:, 2].mean():.4f}, better in "
          f"{(brier > 0).sum()} of {len(worlds)}; log loss {scores[:, 1].mean():.4f} -> {scores[:, 3].mean():.4f}, "
          f"better in {(loss > 0).sum()}")  # fmt: skip


if __name__ == "__main__":
    main()
