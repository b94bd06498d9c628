"""``rules/signs/``: what a text, a photo or an answer can affirm or deny, and the words it is read from.

One file a sign: meaning, weights, question and what it is read from. One file a language under
``reading/``: its words for parts, conditions and the small words that deny, doubt or point elsewhere.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from triage.catalogue.documents import Document, id_is_file_name, read_toml, toml_files, validated
from triage.errors import Problem

LANGUAGES = ("en", "de", "fr", "it", "es", "ja")

State = Literal["affirmed", "denied"]
Speaker = Literal["listing", "answer", "buyer"]
Language = Literal["en", "de", "fr", "it", "es", "ja"]
Text = Annotated[str, Field(min_length=1)]
Part = Literal[
    "midsole", "outsole", "cushion", "bond", "trim", "coating", "upper", "lining",
    "whole", "identity", "terms", "not_a_shoe", "size",
]  # fmt: skip
WEIGHED = frozenset(Part.__args__[:9])  # type: ignore[attr-defined]


class Weight(Document):
    """Decibans towards unfit when a sign is affirmed and when it is denied, by one kind of speaker."""

    if_true: float
    if_false: float

    @model_validator(mode="after")
    def opposite(self) -> Self:
        """Refuse two weights on one side: an answer would then move belief whatever it says."""
        if self.if_true * self.if_false >= 0:
            raise ValueError("if_true and if_false of opposite signs, neither of them 0")
        return self


class Question(Document):
    """How a sign is asked for, in each language; ``good`` is the answer a buyer hopes for."""

    good: State
    photo: bool
    en: Text
    de: Text
    fr: Text
    it: Text
    es: Text
    ja: Text

    def text(self, language: str | None) -> str:
        """Return the question in a language; in English where there is no such text."""
        return str(getattr(self, language)) if language in LANGUAGES else self.en


class Sign(Document):
    """One thing that can be affirmed or denied of a pair, with its weight and its source."""

    id: str
    part: Part
    polarity: Literal["risk", "safe", "info"]
    group: Text
    meaning: Text
    affirmed: Text
    denied: Text
    source: Text
    traps: str = ""
    reasoning: str = ""
    silence: str = ""
    weight: dict[Speaker, Weight] = Field(default_factory=dict)
    question: Question | None = None
    phrases: dict[Language, tuple[Text, ...]] = Field(default_factory=dict)
    denials: dict[Language, tuple[Text, ...]] = Field(default_factory=dict)

    @model_validator(mode="after")
    def weights_fit(self) -> Self:
        """Refuse weights where no part could carry them, a missing speaker and a turned polarity."""
        if self.weight and self.part not in WEIGHED:
            raise ValueError(f"no weight: part {self.part} is not weighed")
        if self.weight and len(self.weight) < 3:
            raise ValueError("a weight for each of listing, answer and buyer, or none")
        towards_unfit = {weight.if_true > 0 for weight in self.weight.values()}
        if towards_unfit and towards_unfit != {self.polarity != "safe"}:
            raise ValueError("if_true above 0 for a risk, below 0 for a safe sign, with every speaker")
        return self


@dataclass(frozen=True)
class Signs:
    """All signs by id."""

    by_id: Mapping[str, Sign] = field(default_factory=dict)

    def __iter__(self) -> Iterator[Sign]:
        return iter(self.by_id.values())

    def __len__(self) -> int:
        return len(self.by_id)

    def __contains__(self, sign_id: object) -> bool:
        return sign_id in self.by_id

    def __getitem__(self, sign_id: str) -> Sign:
        return self.by_id[sign_id]


def load_signs(folder: Path, problems: list[Problem]) -> Signs:
    """Return the signs of ``rules/signs`` by id; every fault of every file becomes a problem."""
    signs = {}
    for path in toml_files(folder, problems):
        values = read_toml(path, problems)
        sign = None if values is None else validated(Sign, values, path, problems)
        if sign is not None:
            id_is_file_name(sign.id, path, problems)
            signs[sign.id] = sign
    return Signs(signs)
