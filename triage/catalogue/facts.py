"""``rules/facts.toml``: every fact a rule may look at, what NULL means, and how to ask for it."""

from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from triage.catalogue.documents import Document, read_toml, validated
from triage.errors import Problem

LANGUAGES = ("en", "de", "fr", "it", "es", "ja")
FactType = Literal["VARCHAR", "DOUBLE", "INTEGER", "BIGINT", "BOOLEAN", "DATE"]


class Fact(Document):
    """One column of the ``facts`` view: what it is, what NULL stands for, who makes it, how to ask for it."""

    type: FactType
    unit: str = ""
    short: str = ""
    about: Annotated[str, Field(min_length=3)]
    null_means: Annotated[str, Field(min_length=3)]
    made_by: str
    ask: dict[str, Annotated[str, Field(min_length=8)]] = {}

    @model_validator(mode="after")
    def asked_in_every_language(self) -> Self:
        """Refuse a question that some sellers could not be asked in their own language."""
        if self.ask and set(self.ask) != set(LANGUAGES):
            raise ValueError(f"a question in each of {', '.join(LANGUAGES)}, or none")
        return self


def load_facts(path: Path, problems: list[Problem]) -> dict[str, Fact]:
    """Return the facts of the file by name."""
    found = {}
    for name, values in (read_toml(path, problems) or {}).items():
        fact = validated(Fact, values, path, problems, at=name)
        if fact is not None:
            found[name] = fact
    return found
