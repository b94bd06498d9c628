"""Everything under ``rules/``, read, typed and checked before any data is touched."""

import hashlib
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

from triage.catalogue.buyers import Buyer, Outlook, load_buyers
from triage.catalogue.climates import Climates, load_climates
from triage.catalogue.constructions import Constructions, load_constructions
from triage.catalogue.costs import Costs, Route, load_parcels, load_routes
from triage.catalogue.documents import line_of
from triage.catalogue.facts import Fact, load_facts
from triage.catalogue.feeds import FeedCatalogue, load_feeds
from triage.catalogue.inspection import Inspection, load_inspection
from triage.catalogue.learning import Learning, load_learning
from triage.catalogue.look import Look, load_look
from triage.catalogue.matching import MatchWeights, load_match_weights
from triage.catalogue.materials import Material, UnknownMix, load_materials, load_unknown
from triage.catalogue.penalties import Rule, load_rules
from triage.catalogue.repairs import Repair, load_repairs
from triage.catalogue.signs import Sign, Signs, load_signs
from triage.catalogue.sources import Source, load_sources
from triage.catalogue.values import Values, load_values
from triage.catalogue.words import Words, load_words
from triage.errors import Problem, TriageError, fail
from triage.once import once

__all__ = ["Catalogue", "load", "own_rules"]

# Signs that say how the pair was used or mended: they act through its age, never through a weight.
AGEING_SIGNS = frozenset({"sole_swapped", "worn_recently_ok"})


@dataclass(frozen=True)
class Catalogue:
    """All knowledge of a run: what stage reads what is in the names."""

    folder: Path
    sha256: str
    sha256_without_buyers: str
    feeds: FeedCatalogue
    words: Words
    constructions: Constructions
    match_weights: MatchWeights
    reading: Signs
    look: Mapping[str, Look]
    materials: Mapping[str, Material]
    unknown: UnknownMix
    climates: Climates
    facts: Mapping[str, Fact]
    rules: Sequence[Rule]
    repairs: Mapping[str, Repair]
    routes: tuple[Route, ...]
    parcel_g: Mapping[str, int]
    values: Values
    buyers: Mapping[str, Buyer]
    inspection: Inspection
    sources: Mapping[str, Source]
    learning: Learning

    @property
    def signs(self) -> Mapping[str, Sign]:
        """Every sign by id."""
        return self.reading.by_id

    @property
    def costs(self) -> Costs:
        """The routes with the weights of what goes along them."""
        return Costs(self.routes, self.parcel_g)

    @property
    def outlooks(self) -> list[Outlook]:
        """The outlooks of the buyers, shortest first."""
        return sorted({buyer.outlook for buyer in self.buyers.values()})

    @property
    def ageing_signs(self) -> frozenset[str]:
        """Signs that act through the age of the parts and so carry no decibans of their own."""
        return _ageing_signs(self.climates)


@once
def _ageing_signs(climates: Climates) -> frozenset[str]:
    return AGEING_SIGNS | frozenset(climates.storage)


def own_rules() -> Path:
    """Return the rules that come with the program: in a wheel beside the code, in a checkout above it."""
    packed = Path(str(files("triage"))) / "rules_data"
    return packed if packed.is_dir() else packed.parent.parent / "rules"


def load(folder: Path | None = None, constructions: Sequence[Path] = (), buyers: Sequence[Path] = ()) -> Catalogue:
    """Return everything under a rules folder and in the files given beside it.

    Args:
        folder: The rules; the program's own when left out.
        constructions: Further construction tables.
        buyers: Buyer files; when given they replace the folder's buyers.

    Raises:
        TriageError: Something is wrong; every problem of every file is listed.
    """
    place = own_rules() if folder is None else folder
    if not place.is_dir():
        fail(f"--rules {place}", "no such folder", "a folder of rules")
    if not (place / "sources.toml").exists():
        fail(f"--rules {place}", "no sources.toml in it", "a folder of rules, laid out as the program's own")
    problems: list[Problem] = []
    materials = load_materials(place / "ageing" / "materials.toml", problems)
    keys = frozenset(materials)
    tables = (*sorted((place / "constructions").glob("*.csv")), *constructions)
    climates = load_climates(place, problems)
    words = load_words(place / "words", problems)
    reading = load_signs(place / "signs", problems, keys)
    parts = {
        "feeds": load_feeds(place / "feeds", problems),
        "words": words,
        "constructions": load_constructions(tables, problems, keys),
        "match_weights": load_match_weights(place / "match", problems),
        "reading": reading,
        "look": load_look(place / "look.toml", reading.by_id, problems),
        "materials": materials,
        "unknown": load_unknown(place / "ageing" / "unknown.toml", keys, problems),
        "climates": climates,
        "facts": load_facts(place / "facts.toml", problems),
        "rules": load_rules(place / "penalties", problems),
        "repairs": load_repairs(place / "repairs", keys, problems),
        "routes": load_routes(place / "costs", problems),
        "parcel_g": load_parcels(place / "parcels.toml", problems),
        "values": load_values(place / "values.toml", problems),
        "buyers": load_buyers(place / "buyers", tuple(buyers), base_currency(words), problems),
        "inspection": load_inspection(place / "inspection.toml", reading.by_id, problems),
        "sources": load_sources(place / "sources.toml", problems),
        "learning": load_learning(place / "learning.toml", problems),
    }
    problems.extend(_unserved(parts["buyers"], parts["routes"]))  # type: ignore[arg-type]
    problems.extend(_unknown_to(parts, place, buyers))
    if problems:
        raise TriageError(problems)
    return Catalogue(
        folder=place,
        sha256=digest(place, (*constructions, *buyers)),
        sha256_without_buyers=digest(place, constructions, leave_out="buyers"),
        **parts,  # type: ignore[arg-type]
    )


def base_currency(words: Words | None) -> str:
    """Return the currency in which everything is compared."""
    return "EUR" if words is None else words.money.base_currency


def _unserved(buyers: Mapping[str, Buyer], routes: tuple[Route, ...]) -> list[Problem]:
    """Return a problem for every buyer whose country no route from anywhere leads to."""
    served = {country for route in routes if "*" in route.from_ for country in route.to}
    return [
        Problem(
            f"buyer {buyer.id}", f"country is {buyer.country}", "a country that a route from '*' in costs/ leads to"
        )
        for buyer in buyers.values()
        if buyer.country not in served
    ]


def _unknown_to(parts: Mapping[str, Any], place: Path, files_beside: Sequence[Path]) -> Iterator[Problem]:
    """Yield a problem, with its line, for every climate, sign or category that a buyer names and no rule knows."""
    tables, values = parts["constructions"], parts["values"]
    if not (parts["climates"] and parts["reading"].by_id and values):
        return  # Unreadable themselves: one problem there, not one for each buyer.
    categories = {*values.category, *tables.table["category"], *tables.generic["category"]}
    paths = {path.stem: path for path in files_beside or (place / "buyers").glob("*.toml")}
    for buyer in parts["buyers"].values():
        path = paths.get(buyer.id, place)
        known: tuple[tuple[str, Sequence[str], Collection[str], str], ...] = (
            ("climate", [buyer.climate], parts["climates"].climates, "a key of climates.csv"),
            ("hard_noes", buyer.hard_noes, parts["reading"].by_id, "ids of files in signs/"),
            ("categories", buyer.categories, categories, "categories of the construction tables"),
        )
        for field, named, all_known, expected in known:
            for name in named:
                if name not in all_known:
                    line = line_of(path.read_text("utf-8"), field) if path.is_file() else 1
                    yield Problem(f"{path}:{line}", f"{field} has {name!r}", expected)


def digest(folder: Path, files_beside: Sequence[Path], leave_out: str = "") -> str:
    """Return the SHA-256 of every file of the rules, names and bytes, and of the files beside them.

    Args:
        leave_out: Folder of the rules that does not count.
    """
    total = hashlib.sha256()
    counted = (path for path in folder.rglob("*") if path.is_file() and path.relative_to(folder).parts[0] != leave_out)
    for path in sorted(counted):
        total.update(str(path.relative_to(folder)).encode() + b"\0" + path.read_bytes() + b"\0")
    for path in files_beside:
        total.update(path.name.encode() + b"\0" + path.read_bytes() + b"\0")
    return total.hexdigest()
