"""``rules/buyers/``: who buys, for what, at which price, and what asking costs them."""

from hashlib import sha256
from pathlib import Path
from typing import Annotated, Literal, NamedTuple

from pydantic import Field

from triage.catalogue.documents import Document, id_is_file_name, read_toml, toml_files, validated
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
    """What the buyer would pay for a pair: the narrowest of construction, model and category applies."""

    construction: str | None = None
    model: str | None = None
    category: str | None = None
    sound_minor: Minor
    display_minor: Minor | None = None
    parts_minor: Minor | None = None


class Buyer(Document):
    """One buyer's purposes, size, money and patience. Money is in minor units of ``currency``."""

    id: str
    name: str
    about: str = ""
    purposes: Annotated[tuple[Purpose, ...], Field(min_length=1)]
    foot_mm: Annotated[float, Field(gt=100, lt=400)] | None = None
    foot_tolerance_mm: Annotated[float, Field(ge=0, le=20)] = 3.0
    country: Annotated[str, Field(pattern="^[A-Z]{2}$")]
    currency: Annotated[str, Field(pattern="^[A-Z]{3}$")]
    budget_minor: Minor
    horizon_years: Annotated[float, Field(ge=0, le=20)] = 2.0
    climate: str = "unknown"
    margin_minor: Minor = 1000
    wearable_floor: Share = 0.7
    haggle_share: Share = 0.15
    ask_cost_minor: Minor = 200
    reply_chance: Share = 0.6
    loss_chance: Share = 0.2
    return_chance: Share = 0.7
    return_post_minor: Minor = 1000
    repair_tolerance: Tolerance = "cobbler"
    does_own_repairs: bool = False
    hour_minor: Minor = 0
    hard_noes: tuple[str, ...] = ()
    style_years: tuple[int, int] | None = None
    categories: tuple[str, ...] = ()
    want: tuple[Want, ...] = ()

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
    for path in files:
        values = read_toml(path, problems)
        buyer = validated(Buyer, values, path, problems) if values is not None else None
        if buyer is None:
            continue
        id_is_file_name(buyer.id, path, problems)
        if buyer.currency != base_currency:
            problems.append(
                Problem(f"{path}:1", f"currency is {buyer.currency}", f"the base currency, {base_currency}")
            )
        found[buyer.id] = buyer
    if not found and not problems:
        problems.append(Problem(str(folder), "no buyer", "at least one file with a buyer"))
    return found
