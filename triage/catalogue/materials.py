"""``rules/ageing/materials.toml``: how each material ages, with ranges, units and source."""

from pathlib import Path
from typing import Annotated, Literal

from pydantic import AfterValidator, Field

from triage.catalogue.documents import Document, read_toml, validated
from triage.errors import Problem

PARTS = ("midsole", "outsole", "cushion", "bond", "trim", "coating", "upper", "lining")

Mode = Literal[
    "hydrolysis", "oxidation", "set", "haze", "plasticiser", "embrittlement", "tack", "peel", "bond", "drying",
    "none",
]  # fmt: skip


def _rising(values: tuple[float, float, float]) -> tuple[float, float, float]:
    if not values[0] <= values[1] <= values[2]:
        raise ValueError("three numbers lo <= mid <= hi")
    return values


Positive = Annotated[float, Field(gt=0)]
Range = Annotated[tuple[Positive, Positive, Positive], AfterValidator(_rising)]
Energy = Annotated[float, Field(ge=10_000, le=200_000)]
Exponent = Annotated[float, Field(ge=0, le=2)]


class Material(Document):
    """One material: Weibull life at 20 °C and 50 % RH, and how heat and damp speed it up.

    Every range is (lo, mid, hi), about 80 % belief. ``ea_j_mol`` is in J/mol, not kJ/mol.
    """

    name: str
    short: str
    mode: Mode
    fails: str
    beta: Range
    eta_years: Range
    ea_j_mol: Annotated[tuple[Energy, Energy, Energy], AfterValidator(_rising)]
    rh_exponent: Annotated[tuple[Exponent, Exponent, Exponent], AfterValidator(_rising)]
    box_rate: Range
    load_bearing: bool
    basis: Annotated[str, Field(min_length=3)]


def load_materials(path: Path, problems: list[Problem]) -> dict[str, Material]:
    """Return every material of the file by key; a faulty one is a problem and left out."""
    found = {}
    for key, values in (read_toml(path, problems) or {}).items():
        material = validated(Material, values, path, problems, at=key)
        if material is not None:
            found[key] = material
    return found


class UnknownMix(Document):
    """Part to material to chance, for parts whose material is not known."""

    mix: dict[str, dict[str, float]]
    source: Annotated[str, Field(min_length=3)]


def load_unknown(path: Path, materials: frozenset[str], problems: list[Problem]) -> UnknownMix | None:
    """Return what unknown parts are likely made of; chances must sum to 1."""
    values = read_toml(path, problems)
    found = validated(UnknownMix, values, path, problems) if values is not None else None
    for part, mix in (found.mix if found else {}).items():
        if part not in PARTS:
            problems.append(Problem(str(path), f"part {part!r}", f"one of {', '.join(PARTS)}"))
        if abs(sum(mix.values()) - 1) > 1e-9:
            problems.append(Problem(str(path), f"{part} sums to {sum(mix.values()):g}", "chances that sum to 1"))
        for key in set(mix) - materials:
            problems.append(Problem(str(path), f"material {key!r}", "a key of materials.toml"))
    return found
