"""Storage climates: which climates the people of a place live in, and what stated storage changes."""

from pathlib import Path
from typing import Annotated

from pydantic import Field

from triage.catalogue.documents import Document, read_csv, read_toml, validated
from triage.catalogue.materials import Sourced
from triage.catalogue.places import Country, Region, load_countries, load_regions
from triage.errors import Problem

UNKNOWN = "unknown"


# Sd of the logarithm of an ageing rate; nobody knows a pair's storage better than the least.
LEAST_SD = 0.30
Spread = Annotated[float, Field(ge=LEAST_SD, le=2)]


class Climate(Document):
    """Storage in one climate: the room and the unheated shed that age as a year in them does, and the homes' spread.

    ``classes`` are the Köppen-Geiger classes it stands for, joined by ;.
    """

    climate: str
    classes: str = ""
    name: str
    temp_c: Annotated[float, Field(ge=-40, le=80)]
    # In %: a share of 0 to 1 is refused.
    rh_pct: Annotated[float, Field(ge=5, le=100)]
    log_sd: Spread
    shed_temp_c: Annotated[float, Field(ge=-40, le=80)]
    shed_rh_pct: Annotated[float, Field(ge=5, le=100)]
    source: Sourced


class Storage(Document):
    """What a sign of storage changes: shifts in °C and % RH, a factor on the ageing rate, and the spread.

    ``unheated`` takes the climate's shed in place of its room.
    """

    temp_shift_c: Annotated[float, Field(ge=-30, le=30)] = 0.0
    rh_shift_pct: Annotated[float, Field(ge=-60, le=60)] = 0.0
    rate_factor: Annotated[float, Field(gt=0, le=5)] = 1.0
    unheated: bool = False
    log_sd: Spread = LEAST_SD
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
    for line, row in read_csv(
        path, ("climate", "temp_c", "rh_pct", "log_sd", "shed_temp_c", "shed_rh_pct", "source"), problems
    ):
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
