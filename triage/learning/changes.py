"""Which numbers change, from what to what, and which stay because too little was found."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
import polars as pl
from scipy.special import ndtri

from triage.catalogue import Catalogue
from triage.learning.belief import MATERIALS, Figures, Kept, Place, first_belief, place_of_weight
from triage.learning.evidence import Arrived
from triage.learning.fitting import BETA_RANGE, ETA_MOST_YEARS, LEAST_DB, Fitted, interval
from triage.learning.likelihood import WHOLE
from triage.learning.new_rules import Change
from triage.match.refit import Refit
from triage.prognosis.ageing import Array
from triage.prognosis.chances import Materials
from triage.verdict.states import PARTS

# Belief that the ranges of the table hold, and that the report's intervals hold.
RANGE_SHARE, REPORT_SHARE = 0.8, 0.9
WEIGHTS = "match/weights.toml"


class Left(NamedTuple):
    """A number that stays as it is, and what little there is of evidence."""

    place: Place
    evidence: str


def life_changes(
    catalogue: Catalogue, keys: Sequence[str], arrived: Arrived, fitted: Fitted, record: Mapping[Place, Kept]
) -> tuple[list[Change], list[Left]]:  # fmt: skip
    """Return what changes in the lives of materials, and the materials with too few inspected parts."""
    counts = arrived.parts.group_by("material").agg(
        parts=pl.col("chance").sum(), unfit=pl.col("chance").filter("unfit").sum()
    )
    seen = {material: (parts, unfit) for material, parts, unfit in counts.iter_rows()}
    ranges, reports = lives_at(fitted, RANGE_SHARE), lives_at(fitted, REPORT_SHARE)
    changes, left = [], []
    for at, key in enumerate(keys):
        if key not in seen:
            continue
        parts, unfit = seen[key]
        evidence = f"{parts:.3g} inspected parts, {unfit:.3g} unfit"
        for name in ("eta_years", "beta"):
            place, before = Place(MATERIALS, f"{key}.{name}"), getattr(catalogue.materials[key], name)
            # A count is a sum of chances: what adds up to the least is not below it.
            if parts < catalogue.learning.least_parts - 1e-6:
                left.append(Left(place, evidence))
                continue
            after, (low, _, high) = ranges[name][at], reports[name][at]
            changes.append(Change(place, before, after, (low, high), evidence, first_belief(record, place, before)))
    return changes, left


def lives_at(fitted: Fitted, share: float) -> dict[str, list[tuple[float, float, float]]]:
    """Return the fitted lives as the table has them: lo, mid and hi that hold so much of what is believed after."""
    low, high = interval(fitted, share)
    three = (low, fitted.numbers, high)
    eta = np.exp(np.stack([one.ln_eta for one in three], axis=1)).clip(1e-3, ETA_MOST_YEARS)
    beta = np.exp(np.stack([one.ln_beta for one in three], axis=1)).clip(*BETA_RANGE)
    return {"eta_years": [_three(row) for row in eta], "beta": [_three(row) for row in beta]}


def _three(values: Array) -> tuple[float, float, float]:
    low, middle, high = (float(f"{value:.3g}") for value in values)
    return low, middle, high


def weight_changes(
    catalogue: Catalogue, arrived: Arrived, fitted: Fitted, record: Mapping[Place, Kept]
) -> tuple[list[Change], list[Left]]:  # fmt: skip
    """Return what changes in the weights of signs, and the weights with too few pairs of whom they were said."""
    low, high = interval(fitted, REPORT_SHARE)
    said, found = arrived.inspected.said, arrived.inspected.found
    inspected = np.where(said.part < WHOLE, found[said.pair, said.part % WHOLE], found.max(axis=1)[said.pair])
    places = len(arrived.weights)
    counts = np.bincount(said.weight[inspected >= 0], minlength=places)
    unfit = np.bincount(said.weight[inspected > 0], minlength=places)
    changes, left = [], []
    for at, (sign, said_by, side) in enumerate(arrived.weights.select("sign", "said_by", "side").iter_rows()):
        place = place_of_weight(sign, said_by, side)
        evidence = f"said of {counts[at]} inspected pairs, {unfit[at]} unfit"
        if counts[at] < catalogue.learning.least_said:
            left.append(Left(place, evidence))
            continue
        before: Figures = (getattr(catalogue.signs[sign].weight[said_by], side),)
        # A tenth of a deciban is as fine as the table is; none is rounded to the other side or to nothing.
        value = fitted.numbers.weight_db[at]
        after = (float(np.copysign(max(round(abs(value), 1), LEAST_DB), value)),)
        ends = float(low.weight_db[at]), float(high.weight_db[at])
        changes.append(Change(place, before, after, ends, evidence, first_belief(record, place, before)))
    return changes, left


def match_changes(catalogue: Catalogue, matched: Refit, record: Mapping[Place, Kept]) -> list[Change]:
    """Return what changes in the matcher's weights."""
    changes = []
    for number, sd in matched.sd.items():
        table, name = number.split(".")
        old, new = (getattr(getattr(one.weights, table), name) for one in (catalogue.match_weights, matched.weights))
        place, before = Place(WEIGHTS, number), (float(old),)
        reach = float(ndtri((1 + REPORT_SHARE) / 2)) * sd
        evidence = f"{matched.before.matches} confirmed releases"
        first = first_belief(record, place, before)
        changes.append(Change(place, before, (float(f"{new:.4g}"),), (new - reach, new + reach), evidence, first))
    return changes


def parts_text(arrived: Arrived) -> str:
    """Return how many pairs and parts were inspected, part by part."""
    found = arrived.inspected.found
    by_part = [
        f"{name} {int((found[:, at] >= 0).sum())} ({int((found[:, at] > 0).sum())} unfit)"
        for at, name in enumerate(PARTS)
        if (found[:, at] >= 0).any()
    ]
    return f"{len(found)} inspected pairs: {', '.join(by_part)}"


def refitted(known: Materials, fitted: Fitted) -> Materials:
    """Return materials with their fitted lives, as the new rules have them."""
    lives = lives_at(fitted, RANGE_SHARE)
    moved = {
        key: known.materials[key].model_copy(update={name: lives[name][at] for name in lives})
        for at, key in enumerate(known.keys)
    }
    return replace(known, materials=moved)
