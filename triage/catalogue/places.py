"""``rules/countries.csv`` and ``rules/regions.csv``: the climates in which a place's people live, and its names."""

import re
from pathlib import Path
from typing import Annotated, Any, TypeVar

from pydantic import BeforeValidator, Field
from pydantic_core import PydanticCustomError

from triage.catalogue.documents import Document, read_csv, validated
from triage.catalogue.materials import Sourced
from triage.errors import Problem

COUNTRY = re.compile("[A-Z]{2}")
# How sure a word is: means this region alone in the world; alone in its country; another place as well.
GRADES = ("only", "inland", "beside")


def _shares(text: Any) -> Any:
    """Return ``"arid-hot 0.6; mediterranean 0.4"`` as a mapping of climate to share."""
    shares: dict[str, float] = {}
    for part in str(text).split(";"):
        climate, _, share = part.strip().rpartition(" ")
        if not climate or climate in shares or not re.fullmatch(r"[01]\.\d+", share) or not 0 < float(share) <= 1:
            raise PydanticCustomError("shares", "climates with their shares: key 0.6; key 0.4")
        shares[climate] = float(share)
    if abs(sum(shares.values()) - 1) > 1e-9:
        raise PydanticCustomError("shares", "shares that sum to 1")
    return shares


def _listed(text: Any) -> Any:
    return tuple(word for word in str(text).split(";") if word)


P = TypeVar("P", "Country", "Region")
Shares = Annotated[dict[str, float], BeforeValidator(_shares)]
Listed = Annotated[tuple[str, ...], BeforeValidator(_listed)]


class Region(Document):
    """A region of ISO 3166-2: the climates of its people, and the words sellers name it by, folded."""

    country: Annotated[str, Field(pattern="^[A-Z]{2}$")]
    region: Annotated[str, Field(pattern="^[A-Z]{2}-[A-Z0-9]{1,3}$")]
    climates: Shares
    name: str
    only: Listed = ()
    inland: Listed = ()
    beside: Listed = ()
    codes: Listed = ()
    source: Sourced


class Country(Document):
    """A country of ISO 3166-1: the climates in which its people live."""

    country: Annotated[str, Field(pattern="^[A-Z]{2}$")]
    climates: Shares
    name: str
    source: Sourced


def load_countries(path: Path, climates: frozenset[str], problems: list[Problem]) -> dict[str, Country]:
    """Return the countries by code; faults of every row are added to ``problems``."""
    found: dict[str, Country] = {}
    for line, row in read_csv(path, ("country", "climates", "name", "source"), problems):
        country = _row(Country, row, path, line, row["country"], climates, problems)
        if country is None:
            continue
        if country.country in found:
            problems.append(Problem(f"{path}:{line}", f"country {country.country} stands twice", "one row a country"))
        found[country.country] = country
    return found


def load_regions(
    path: Path, countries: frozenset[str], climates: frozenset[str], problems: list[Problem]
) -> dict[str, Region]:
    """Return the regions by code; faults of every row are added to ``problems``."""
    found: dict[str, Region] = {}
    for line, row in read_csv(path, ("country", "region", "climates", "name", *GRADES, "codes", "source"), problems):
        region, place = _row(Region, row, path, line, row["region"], climates, problems), f"{path}:{line}"
        if region is None:
            continue
        if region.region in found:
            problems.append(Problem(place, f"region {region.region} stands twice", "one row a region"))
        if region.country not in countries:
            problems.append(Problem(place, f"country is {region.country!r}", "a country of countries.csv"))
        if not region.region.startswith(f"{region.country}-"):
            problems.append(Problem(place, f"region is {region.region!r}", f"a region of {region.country}"))
        found[region.region] = region
    return found


def _row(
    model: type[P], row: dict[str, str], path: Path, line: int, at: str, climates: frozenset[str],
    problems: list[Problem],
) -> P | None:  # fmt: skip
    """Return a row as a model, with a problem for each fault and each climate that ``climates.csv`` lacks."""
    faults: list[Problem] = []
    found = validated(model, row, path, faults, at=at)
    # A table's fields stand on one line.
    problems.extend(Problem(f"{path}:{line}", fault.found, fault.expected) for fault in faults)
    for climate in sorted(set(found.climates) - climates) if found else ():
        problems.append(Problem(f"{path}:{line}", f"climate is {climate!r}", "a climate of climates.csv"))
    return found
