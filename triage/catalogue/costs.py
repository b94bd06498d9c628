"""``rules/costs/`` and ``rules/parcels.toml``: dated tables of what lies between the price and the door."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Annotated

from pydantic import AfterValidator, Field

from triage.catalogue.documents import Document, Identified, documents, read_toml, rising, toml_files, validated
from triage.errors import WRONG_RULES, Problem, fail

Rate = Annotated[float, Field(ge=0, le=2)]
Minor = Annotated[int, Field(ge=0)]
Day = Annotated[float, Field(ge=0, le=365)]
Days = Annotated[tuple[Day, Day, Day], AfterValidator(rising)]
Gram = Annotated[int, Field(gt=0, le=30_000)]


class Route(Identified):
    """What applies from ``valid_from`` to goods sent from one country to another.

    ``duty_rate`` applies to goods worth ``duty_free_below_minor`` or more; ``flat_minor`` to goods
    below ``flat_below_minor``. Money in minor units of the base currency; a rate is a share.
    ``shipping_assumed_minor`` is the postage of a light parcel; each step of ``shipping_above`` says
    above how many grams it is how much. ``shipping_days`` are (lo, mid, hi) from payment to the door.
    """

    from_: Annotated[tuple[str, ...], Field(alias="from", min_length=1)]
    to: Annotated[tuple[str, ...], Field(min_length=1)]
    valid_from: date
    valid_to: date | None = None
    premium: dict[str, Rate] = {}
    premium_rate: Rate = 0.0
    duty_rate: Rate = 0.0
    duty_free_below_minor: Minor = 0
    flat_minor: Minor = 0
    flat_below_minor: Minor = 0
    import_tax_rate: Rate = 0.0
    fees_minor: Minor = 0
    shipping_assumed_minor: Minor
    shipping_above: tuple[tuple[Gram, Minor], ...] = ()
    shipping_days: Days
    source: Annotated[str, Field(min_length=3)]

    def valid_on(self, day: date) -> bool:
        """Return whether the table holds on a day; both ends included."""
        return self.valid_from <= day and (self.valid_to is None or day <= self.valid_to)

    def postage_of(self, weight_g: int) -> int:
        """Return the postage of a parcel where the listing states none, minor units."""
        return max([self.shipping_assumed_minor, *(minor for above, minor in self.shipping_above if weight_g > above)])


class Parcels(Document):
    """What a pair weighs ready for the post, by category; "" for everything else. Grams."""

    weight_g: dict[str, Gram]
    source: Annotated[str, Field(min_length=3)]


@dataclass(frozen=True)
class Costs:
    """The routes, and the weights of parcels that go along them."""

    routes: tuple[Route, ...]
    weight_g: Mapping[str, int]

    def weight_of(self, category: str | None) -> int:
        """Return what a pair of a category weighs ready for the post, grams."""
        return self.weight_g.get(category or "", self.weight_g[""])

    def route_of(self, origin: str | None, to: str, day: date) -> Route:
        """Return the route that holds on a day.

        Raises:
            TriageError: The tables have none for that day.
        """
        route = route_for(self.routes, origin, to, day)
        if route is None:
            fail(
                "rules/costs",
                f"no route from {origin or 'anywhere'} to {to} valid on {day}",
                "a file that covers it",
                WRONG_RULES,
            )
        return route


def load_parcels(path: Path, problems: list[Problem]) -> Mapping[str, int]:
    """Return the weights by category; a missing default is a problem."""
    values = read_toml(path, problems)
    found = validated(Parcels, values, path, problems) if values is not None else None
    if found is not None and "" not in found.weight_g:
        problems.append(Problem(f"{path}:1", "no weight for ''", "a default for everything that has no category"))
    return found.weight_g if found is not None else {}


def load_routes(folder: Path, problems: list[Problem]) -> tuple[Route, ...]:
    """Return the routes of a folder, those that name a country before those that say ``*``."""
    found = []
    for path, route in documents(Route, toml_files(folder, problems), problems):
        if route.valid_to is not None and route.valid_to < route.valid_from:
            problems.append(Problem(f"{path}:1", f"valid_to is {route.valid_to}", f"{route.valid_from} or later"))
        found.append(route)
    return tuple(sorted(found, key=lambda route: ("*" in route.from_, route.id)))


def route_for(routes: tuple[Route, ...], origin: str | None, to: str, day: date) -> Route | None:
    """Return the route that holds on a day, or None when the tables have none."""
    for route in routes:
        if to in route.to and route.valid_on(day) and ((origin or "?") in route.from_ or "*" in route.from_):
            return route
    return None
