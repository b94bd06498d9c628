"""Storage climates: which climates the people of a place live in, and what stated storage changes."""

from pathlib import Path
from typing import Annotated

from pydantic import Field

from triage.catalogue.documents import Document, read_csv, read_toml, validated
from triage.catalogue.materials import Sourced
from triage.catalogue.places import Country, Region, load_countries, load_regions
from triage.errors import Problem

UNKNOWN = "unknown"


class Climate(Document):
    """Indoor storage in one climate: yearly mean room, and how far single homes lie from it.

    ``classes`` are the Köppen-Geiger classes it stands for, joined by ;.
    """

    climate: str
    classes: str = ""
    name: str
    temp_c: Annotated[float, Field(ge=-40, le=80)]
    # In %: a share of 0 to 1 is refused.
    rh_pct: Annotated[float, Field(ge=5, le=100)]
    log_sd: Annotated[float, Field(ge=0.30, le=2)]
    source: Sourced


class Storage(Document):
    """What a sign of storage changes: shifts in °C and % RH, and a factor on the ageing rate."""

    temp_shift_c: Annotated[float, Field(ge=-30, le=30)] = 0.0
    rh_shift_pct: Annotated[float, Field(ge=-60, le=60)] = 0.0
    rate_factor: Annotated[float, Field(gt=0, le=5)] = 1.0
    source: Sourced


class Climates(Document):
    """Climates by key, countries and regions by code, and storage signs to what they change."""

    climates: dict[str, Climate]
    countries: dict[str, Country]
    regions: dict[str, Region]
    storage: dict[str, Storage]

    @property
    def unknown(self) -> Climate:
        """The climate of who knows where."""
        return self.climates[UNKNOWN]


def load_climates(folder: Path, problems: list[Problem]) -> Climates:
    """Return ``climates.csv``, ``countries.csv``, ``regions.csv`` and ``storage.toml`` of a rules folder."""
    climates = _read_climates(folder / "climates.csv", problems)
    countries = load_countries(folder / "countries.csv", frozenset(climates), problems)
    regions = load_regions(folder / "regions.csv", frozenset(countries), frozenset(climates), problems)
    storage = {}
    toml = folder / "storage.toml"
    for key, values in (read_toml(toml, problems) or {}).items():
        stated = validated(Storage, values, toml, problems, at=key)
        if stated is not None:
            storage[key] = stated
    return Climates(climates=climates, countries=countries, regions=regions, storage=storage)


def _read_climates(path: Path, problems: list[Problem]) -> dict[str, Climate]:
    climates: dict[str, Climate] = {}
    classes: dict[str, str] = {}
    for line, row in read_csv(path, ("climate", "temp_c", "rh_pct", "log_sd", "source"), problems):
        found: list[Problem] = []
        climate = validated(Climate, row, path, found, at=row["climate"])
        # A table's fields stand on one line.
        problems.extend(Problem(f"{path}:{line}", fault.found, fault.expected) for fault in found)
        if climate is None:
            continue
        if climate.climate in climates:
            problems.append(Problem(f"{path}:{line}", f"climate {climate.climate} stands twice", "one row a climate"))
        for name in filter(None, climate.classes.split(";")):
            if classes.setdefault(name, climate.climate) != climate.climate:
                found_in = f"class {name} is of {classes[name]} too"
                problems.append(Problem(f"{path}:{line}", found_in, "one climate a class"))
        climates[climate.climate] = climate
    if UNKNOWN not in climates:
        problems.append(Problem(str(path), "no climate 'unknown'", "a row for sellers who name no country"))
    return climates
