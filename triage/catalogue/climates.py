"""Storage climates: which climate a country has, and what stated storage changes."""

from pathlib import Path
from typing import Annotated

from pydantic import Field

from triage.catalogue.documents import Document, read_csv, read_toml, validated
from triage.errors import Problem

UNKNOWN = "unknown"


class Climate(Document):
    """Indoor storage in one climate: yearly mean room, and how far single homes lie from it."""

    climate: str
    name: str
    temp_c: Annotated[float, Field(ge=-40, le=80)]
    rh_pct: Annotated[float, Field(gt=0, le=100)]
    log_sd: Annotated[float, Field(ge=0.30, le=2)]
    source: Annotated[str, Field(min_length=3)]


class Storage(Document):
    """What a sign of storage changes: shifts in °C and % RH, and a factor on the ageing rate."""

    temp_shift_c: Annotated[float, Field(ge=-30, le=30)] = 0.0
    rh_shift_pct: Annotated[float, Field(ge=-60, le=60)] = 0.0
    rate_factor: Annotated[float, Field(gt=0, le=5)] = 1.0
    source: Annotated[str, Field(min_length=3)]


class Climates(Document):
    """Climates by key, countries to climates, and storage signs to what they change."""

    climates: dict[str, Climate]
    countries: dict[str, str]
    storage: dict[str, Storage]

    def of_country(self, code: str | None) -> Climate:
        """Return the climate of an ISO 3166-1 alpha-2 country, or the unknown one."""
        return self.climates[self.countries.get(code or "", UNKNOWN)]


def load_climates(folder: Path, problems: list[Problem]) -> Climates:
    """Return ``climates.csv``, ``countries.csv`` and ``storage.toml`` of a rules folder."""
    climates = {}
    path = folder / "climates.csv"
    for line, row in read_csv(path, ("climate", "temp_c", "rh_pct", "log_sd", "source"), problems):
        climate = validated(Climate, row, path, problems, at=f"line {line}")
        if climate is not None:
            climates[climate.climate] = climate
    if UNKNOWN not in climates:
        problems.append(Problem(str(path), "no climate 'unknown'", "a row for sellers who name no country"))
    countries = {}
    place = folder / "countries.csv"
    for line, row in read_csv(place, ("country", "climate"), problems):
        if row["climate"] not in climates:
            problems.append(Problem(f"{place}:{line}", f"climate is {row['climate']!r}", "a climate of climates.csv"))
        countries[row["country"]] = row["climate"]
    storage = {}
    toml = folder / "storage.toml"
    for key, values in (read_toml(toml, problems) or {}).items():
        stated = validated(Storage, values, toml, problems, at=key)
        if stated is not None:
            storage[key] = stated
    return Climates(climates=climates, countries=countries, storage=storage)
