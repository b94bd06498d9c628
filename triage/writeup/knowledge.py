"""The part of the catalogue the write-up reads: the words for signs, materials, repairs and buyers."""

from collections.abc import Mapping, Sequence
from typing import Protocol


class Question(Protocol):
    """How a sign is asked for."""

    @property
    def en(self) -> str: ...


class Fact(Protocol):
    """What can be known of a listing beside the signs, and how to ask for it by language."""

    @property
    def short(self) -> str: ...
    @property
    def about(self) -> str: ...
    @property
    def ask(self) -> Mapping[str, str]: ...


class Sign(Protocol):
    """What a text can affirm or deny of a part, in short words."""

    @property
    def part(self) -> str: ...
    @property
    def affirmed(self) -> str: ...
    @property
    def denied(self) -> str: ...
    @property
    def question(self) -> Question | None: ...


class Buyer(Protocol):
    """For whom a listing is weighed."""

    @property
    def name(self) -> str: ...
    @property
    def currency(self) -> str: ...
    @property
    def horizon_years(self) -> float: ...
    @property
    def climate(self) -> str: ...


class Repair(Protocol):
    """What can be mended, and what to beware of."""

    @property
    def name(self) -> str: ...
    @property
    def cautions(self) -> Sequence[str]: ...
    @property
    def cost_minor(self) -> Sequence[float]: ...


class Material(Protocol):
    """What a part is made of, and how it fails."""

    @property
    def name(self) -> str: ...
    @property
    def short(self) -> str: ...
    @property
    def fails(self) -> str: ...
    @property
    def beta(self) -> Sequence[float]: ...
    @property
    def eta_years(self) -> Sequence[float]: ...


class Catalogue(Protocol):
    """Everything in ``rules/`` that a report puts into words."""

    @property
    def signs(self) -> Mapping[str, Sign]: ...
    @property
    def facts(self) -> Mapping[str, Fact]: ...
    @property
    def buyers(self) -> Mapping[str, Buyer]: ...
    @property
    def repairs(self) -> Mapping[str, Repair]: ...
    @property
    def materials(self) -> Mapping[str, Material]: ...
