"""What is believed of every fitted number before anything was found: the ranges of ``rules/`` as normal beliefs.

A refit always starts from the belief held before the first one, kept in ``fitted.csv`` beside the numbers: starting
from the last refit's numbers would count the same inspections twice.
"""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np
import polars as pl

from triage.catalogue import Catalogue
from triage.catalogue.documents import read_csv
from triage.catalogue.learning import Learning
from triage.catalogue.signs import Sign, Weight
from triage.errors import Problem, TriageError
from triage.learning.fitting import Belief
from triage.learning.likelihood import Numbers
from triage.prognosis.ageing import Array, log_sd

RECORD = "fitted.csv"
COLUMNS = ("file", "number", "before", "fitted", "evidence", "as_of")
MATERIALS = "ageing/materials.toml"
# 80 % of belief lies within so many sds on both sides together.
SDS_OF_RANGE = 2.563
LEAST_SD = 1e-6

Figures = tuple[float, ...]


class Place(NamedTuple):
    """Where a number stands: file below the rules folder, and its dotted key in it."""

    file: str
    number: str


class Kept(NamedTuple):
    """A line of ``fitted.csv``: the number before any fit, as it was fitted, by how much evidence and when."""

    before: Figures
    fitted: Figures
    evidence: str
    as_of: str


def read_record(folder: Path) -> dict[Place, Kept]:
    """Return what earlier refits changed in a rules folder; empty where none did.

    Raises:
        TriageError: The file lacks a column, or holds what is no number.
    """
    path = folder / RECORD
    if not path.exists():
        return {}
    problems: list[Problem] = []
    kept = {}
    for line, row in read_csv(path, COLUMNS, problems):
        try:
            figures = (figures_of(row["before"]), figures_of(row["fitted"]))
        except ValueError:
            found = f"before is {row['before']!r}, fitted is {row['fitted']!r}"
            problems.append(Problem(f"{path}:{line}", found, "numbers with blanks between them"))
        else:
            kept[Place(row["file"], row["number"])] = Kept(*figures, row["evidence"], row["as_of"])
    if problems:
        raise TriageError(problems)
    return kept


def figures_of(text: str) -> Figures:
    """Return the numbers of a cell."""
    return tuple(float(word) for word in text.split())


def first_belief(record: Mapping[Place, Kept], place: Place, now: Figures) -> Figures:
    """Return a number as it was before any fit; one that somebody changed since then is that one's new belief."""
    kept = record.get(place)
    return kept.before if kept is not None and kept.fitted == now else now


def place_of_weight(sign: str, said_by: str, side: str) -> Place:
    """Return where a sign's weight stands."""
    return Place(f"signs/{sign}.toml", f"weight.{said_by}.{side}")


def first_signs(signs: Mapping[str, Sign], record: Mapping[Place, Kept]) -> dict[str, Sign]:
    """Return signs with the weights they had before any fit: what counts as the strongest must not follow the fit."""
    return {key: sign.model_copy(update={"weight": _first_weights(sign, record)}) for key, sign in signs.items()}


def _first_weights(sign: Sign, record: Mapping[Place, Kept]) -> dict[str, Weight]:
    return {
        said_by: weight.model_copy(
            update={
                side: first_belief(record, place_of_weight(sign.id, said_by, side), (getattr(weight, side),))[0]
                for side in ("if_true", "if_false")
            }
        )
        for said_by, weight in sign.weight.items()
    }


def belief_of(
    catalogue: Catalogue, keys: Sequence[str], weights: pl.DataFrame, record: Mapping[Place, Kept]
) -> Belief:  # fmt: skip
    """Return the belief in the lives of materials and the weights of signs.

    Args:
        keys: Materials, in the order of the numbers.
        weights: sign, said_by, side, in the order of the numbers.
        record: As ``read_record`` returns it.
    """
    eta, beta = (
        np.array(
            [
                first_belief(record, Place(MATERIALS, f"{key}.{name}"), getattr(catalogue.materials[key], name))
                for key in keys
            ]
        )
        for name in ("eta_years", "beta")
    )
    named = list(weights.select("sign", "said_by", "side").iter_rows())
    signs = first_signs(catalogue.signs, record)
    middle = [getattr(signs[sign].weight[said_by], side) for sign, said_by, side in named]
    widths = [width_of(signs[sign], said_by, side, catalogue.learning) for sign, said_by, side in named]
    return Belief(
        Numbers(np.log(eta[:, 1]), np.log(beta[:, 1]), np.array(middle, dtype=np.float64)),
        Numbers(_sd(eta), _sd(beta), np.maximum(np.array(widths, dtype=np.float64), LEAST_SD)),
    )


def _sd(ranges: Array) -> Array:
    return np.maximum(log_sd(ranges[:, 0], ranges[:, 2]), LEAST_SD)


def width_of(sign: Sign, said_by: str, side: str, learning: Learning) -> float:
    """Return the sd of a weight, decibans: from its own range, or one before it scaled, or its share of the weight."""
    weight = abs(getattr(sign.weight[said_by], side))  # type: ignore[index]
    nearest = {"listing": ("listing",), "answer": ("answer", "listing"), "buyer": ("buyer", "answer", "listing")}
    for speaker in nearest[said_by]:
        other = sign.weight[speaker]  # type: ignore[index]
        bounds = getattr(other, f"{side.removeprefix('if_')}_range_db")
        if bounds is not None:
            return float((bounds[1] - bounds[0]) / SDS_OF_RANGE * weight / abs(getattr(other, side)))
    return float(max(learning.weight_sd_least_db, learning.weight_sd_share * weight))
