"""``rules/ageing/materials.toml``: how each material ages, with ranges, units and source."""

import re
from pathlib import Path
from typing import Annotated, Literal

from pydantic import AfterValidator, Field
from pydantic_core import PydanticCustomError

from triage.catalogue.documents import Document, read_toml, rising, validated
from triage.errors import Problem

PARTS = ("midsole", "outsole", "cushion", "bond", "trim", "coating", "upper", "lining")

Mode = Literal[
    "hydrolysis", "oxidation", "set", "haze", "plasticiser", "embrittlement", "tack", "peel", "bond", "drying",
    "none",
]  # fmt: skip


def _energy(value: float) -> float:
    if not 10_000 <= value <= 200_000:
        hint = "; this looks like kJ/mol" if 10 <= value <= 200 else ""
        raise PydanticCustomError("energy", f"J/mol, 10000 to 200000{hint}")
    return value


def _sourced(text: str) -> str:
    if not SOURCED.search(text):
        raise PydanticCustomError("sourced", "a key of sources.toml, our_judgement or common_practice")
    return text


# What a source or basis must hold at least once; that a key stands in sources.toml is checked with the rest of rules/.
SOURCED = re.compile(r"\b(?:[MT]-[A-Z]\d+[a-z]?|our_judgement|common_practice)\b")
Sourced = Annotated[str, AfterValidator(_sourced)]

# Below 1 a part would grow fitter with age.
Shape = Annotated[float, Field(ge=1, le=20)]
Years = Annotated[float, Field(gt=0, le=500)]
Energy = Annotated[float, AfterValidator(_energy)]
Exponent = Annotated[float, Field(ge=0, le=2)]
Factor = Annotated[float, Field(ge=0.2, le=5)]


class Material(Document):
    """One material: Weibull life at 20 °C and 50 % RH, and how heat and damp speed it up.

    Every range is (lo, mid, hi), about 80 % belief. ``ea_j_mol`` is in J/mol, not kJ/mol.
    """

    name: str
    short: str
    mode: Mode
    fails: str
    beta: Annotated[tuple[Shape, Shape, Shape], AfterValidator(rising)]
    eta_years: Annotated[tuple[Years, Years, Years], AfterValidator(rising)]
    ea_j_mol: Annotated[tuple[Energy, Energy, Energy], AfterValidator(rising)]
    rh_exponent: Annotated[tuple[Exponent, Exponent, Exponent], AfterValidator(rising)]
    box_rate: Annotated[tuple[Factor, Factor, Factor], AfterValidator(rising)]
    load_bearing: bool
    basis: Sourced


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

    mix: dict[str, dict[str, Annotated[float, Field(ge=0, le=1)]]]
    source: Sourced


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
