"""``rules/repairs/``: what can be mended, what it needs, what it costs, what to beware of."""

from pathlib import Path
from typing import Annotated, Literal

from pydantic import AfterValidator, Field

from triage.catalogue.buyers import TOLERANCES, Tolerance
from triage.catalogue.costs import Days
from triage.catalogue.documents import Identified, documents, rising, toml_files
from triage.errors import Problem

Part = Literal["midsole", "outsole", "cushion", "bond", "trim", "coating", "upper", "lining"]
Amount = Annotated[float, Field(ge=0)]


Cost = Annotated[tuple[Amount, Amount, Amount], AfterValidator(rising)]


class Repair(Identified):
    """One repair: the unfit parts it makes fit, what it needs, its cost and its cautions.

    ``only_if`` and ``not_if`` look at the construction's material keys, part by part.
    Costs are (lo, mid, hi) in minor units of the base currency; hours are a careful amateur's;
    days go by until the pair can be worn.
    """

    name: str
    covers: Annotated[tuple[Part, ...], Field(min_length=1)]
    needs_fit: tuple[Part, ...] = ()
    only_if: dict[Part, tuple[str, ...]] = {}
    not_if: dict[Part, tuple[str, ...]] = {}
    tolerance: Tolerance
    cost_minor: Cost
    diy_cost_minor: Cost | None = None
    hours: Cost = (0.0, 0.0, 0.0)
    days: Days
    keeps_original: bool = True
    cautions: Annotated[tuple[str, ...], Field(min_length=1)]
    source: Annotated[str, Field(min_length=3)]

    def allowed_by(self, tolerance: Tolerance) -> bool:
        """Return whether a buyer of this repair tolerance would have it done."""
        return TOLERANCES.index(self.tolerance) <= TOLERANCES.index(tolerance)


def load_repairs(folder: Path, materials: frozenset[str], problems: list[Problem]) -> dict[str, Repair]:
    """Return the repairs of a folder by id; unknown material keys are problems."""
    found = {}
    for path, repair in documents(Repair, toml_files(folder, problems), problems):
        named = [key for keys in (*repair.only_if.values(), *repair.not_if.values()) for key in keys]
        problems.extend(
            Problem(f"{path}:1", f"material {key!r}", "a key of ageing/materials.toml")
            for key in named
            if key not in materials
        )
        found[repair.id] = repair
    return found
