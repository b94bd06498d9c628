"""``rules/costs/``: dated tables of what lies between the price and the door."""

from datetime import date
from pathlib import Path
from typing import Annotated

from pydantic import Field

from triage.catalogue.documents import Identified, documents, toml_files
from triage.errors import Problem

Rate = Annotated[float, Field(ge=0, le=2)]
Minor = Annotated[int, Field(ge=0)]


class Route(Identified):
    """What applies from ``valid_from`` to goods sent from one country to another.

    ``duty_rate`` applies to goods worth ``duty_free_below_minor`` or more; ``flat_minor`` to goods
    below ``flat_below_minor``. Money in minor units of the base currency; a rate is a share.
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
    source: Annotated[str, Field(min_length=3)]

    def valid_on(self, day: date) -> bool:
        """Return whether the table holds on a day; both ends included."""
        return self.valid_from <= day and (self.valid_to is None or day <= self.valid_to)


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
