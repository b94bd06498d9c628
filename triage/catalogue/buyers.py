"""``rules/buyers/``: who buys, for what, at which price, and what asking costs them."""

from datetime import date, datetime
from hashlib import sha256
from pathlib import Path
from typing import Annotated, Literal, NamedTuple

from pydantic import AfterValidator, Field, PlainValidator, model_validator
from pydantic_core import PydanticCustomError

from triage.catalogue.documents import Document, Identified, documents, toml_files
from triage.errors import Problem

Purpose = Literal["wear", "restore", "display", "resell"]
Tolerance = Literal["none", "glue", "cobbler", "transplant"]
TOLERANCES: tuple[Tolerance, ...] = ("none", "glue", "cobbler", "transplant")

Share = Annotated[float, Field(ge=0, le=1)]
Minor = Annotated[int, Field(ge=0)]


class Outlook(NamedTuple):
    """How long a pair must still last, and in which climate (a key of ``climates.csv``) those years go by."""

    horizon_years: float
    climate: str


class Want(Document):
    """What a pair is worth to the buyer: the narrowest of construction, model and category applies."""

    construction: Annotated[str | None, Field(description="release, its model_id in the construction table")] = None
    model: Annotated[str | None, Field(description="model, as the construction table names it")] = None
    category: Annotated[str | None, Field(description="category of the construction table")] = None
    sound_minor: Annotated[Minor, Field(description="worth when whole in every part")]
    display_minor: Annotated[
        Minor | None, Field(description="worth when good to look at; left out: comparables and values.toml")
    ] = None
    parts_minor: Annotated[Minor | None, Field(description="worth for its parts; left out: values.toml")] = None

    @model_validator(mode="after")
    def _names_something(self) -> "Want":
        if (self.construction is None) + (self.model is None) + (self.category is None) != 2:
            raise PydanticCustomError("want", "one of construction, model and category, and no other")
        return self


def _deadline(value: object) -> date | int:
    if isinstance(value, date) and not isinstance(value, datetime):
        return value
    if isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= 3650:
        return value
    raise PydanticCustomError("deadline", "a date YYYY-MM-DD without quotes, or a number of days up to 3650")


def _rising_years(years: tuple[int, int]) -> tuple[int, int]:
    if years[0] > years[1]:
        raise PydanticCustomError("years", "two years, the first not after the last")
    return years


class Buyer(Identified):
    """One buyer's purposes, size, money and patience. Money is in minor units of ``currency``."""

    id: Annotated[str, Field(description="the file's name; stands in reports")]
    name: Annotated[str, Field(description="how reports call the buyer")]
    about: Annotated[str, Field(description="a line for people")] = ""
    purposes: Annotated[
        tuple[Purpose, ...], Field(min_length=1, description="what for: wear, restore, display, resell; one or more")
    ]
    foot_mm: Annotated[float | None, Field(gt=100, lt=400, description="foot length, mm; left out: any size")] = None
    foot_tolerance_mm: Annotated[
        float, Field(ge=0, le=20, description="how far a pair's length may lie from foot_mm, mm")
    ] = 3.0
    country: Annotated[str, Field(pattern="^[A-Z]{2}$", description="where the parcel goes, ISO 3166-1 alpha-2")]
    currency: Annotated[str, Field(pattern="^[A-Z]{3}$", description="ISO 4217 code; must be the base currency")]
    budget_minor: Annotated[Minor, Field(description="most for one pair, all in: price, post, duty, tax, repair")]
    purse_minor: Annotated[
        Minor | None,
        Field(description="most for all buys together; the shortlist then names the set that brings most within it"),
    ] = None
    horizon_years: Annotated[float, Field(ge=0, le=20, description="how long a pair shall last in ordinary wear")] = 2.0
    climate: Annotated[str, Field(description="where it will live from now on, a key of climates.csv")] = "unknown"
    deadline: Annotated[
        date | int | None,
        PlainValidator(_deadline),
        Field(description="by when it must be on the feet: a date, or days from the as-of date; left out: no hurry"),
    ] = None
    margin_minor: Annotated[Minor, Field(description="least that must be left over")] = 1000
    wearable_floor: Annotated[
        Share, Field(description="least chance of wearable, after the plan, of a pair to wear")
    ] = 0.7
    haggle_share: Annotated[Share, Field(description="how far below the price an offer still makes sense")] = 0.15
    ask_cost_minor: Annotated[Minor, Field(description="what one message costs in minutes and goodwill")] = 200
    reply_chance: Annotated[Share, Field(description="chance of a usable answer in time")] = 0.6
    reply_days: Annotated[float, Field(ge=0, le=365, description="days an answer takes; counts for a deadline")] = 2.0
    loss_chance: Annotated[Share, Field(description="chance that the pair goes while waiting for it")] = 0.2
    return_chance: Annotated[Share, Field(description="chance that a promised return is honoured")] = 0.7
    return_post_minor: Annotated[Minor, Field(description="postage of sending a pair back")] = 1000
    repair_tolerance: Annotated[
        Tolerance, Field(description="most they would have done: none, glue, cobbler, transplant")
    ] = "cobbler"
    does_own_repairs: Annotated[
        bool, Field(description="true: material and own hours where that is cheaper; false: the workshop is paid")
    ] = False
    hour_minor: Annotated[Minor, Field(description="what an own hour is worth")] = 0
    hard_noes: Annotated[tuple[str, ...], Field(description="signs that rule a pair out when affirmed")] = ()
    style_years: Annotated[
        tuple[int, int] | None,
        AfterValidator(lambda years: years and _rising_years(years)),
        Field(description="years of the design that are wanted, both included; left out: all"),
    ] = None
    categories: Annotated[tuple[str, ...], Field(description="categories that are wanted; left out: all")] = ()
    want: Annotated[tuple[Want, ...], Field(description="what pairs are worth to this buyer, one table each")] = ()

    def days_left(self, as_of: date) -> int | None:
        """Return the days until the deadline, below 0 when it has passed; None without one."""
        return (self.deadline - as_of).days if isinstance(self.deadline, date) else self.deadline

    @property
    def outlook(self) -> Outlook:
        """What the pair must still go through with this buyer."""
        return Outlook(self.horizon_years, self.climate)

    @property
    def sha256(self) -> str:
        """Hash of all of the buyer's figures."""
        return sha256(self.model_dump_json().encode()).hexdigest()


def load_buyers(folder: Path, extra: tuple[Path, ...], base_currency: str, problems: list[Problem]) -> dict[str, Buyer]:
    """Return the buyers of a folder and of further files, by id.

    When further files are given they are the only buyers: the folder's are examples then.
    """
    files = extra or tuple(toml_files(folder, problems))
    found: dict[str, Buyer] = {}
    for path, buyer in documents(Buyer, files, problems):
        if buyer.currency != base_currency:
            problems.append(
                Problem(f"{path}:1", f"currency is {buyer.currency}", f"the base currency, {base_currency}")
            )
        found[buyer.id] = buyer
    if not found and not problems:
        problems.append(Problem(str(folder), "no buyer", "at least one file with a buyer"))
    return found
