"""``rules/facts.toml``: every fact a rule may look at, what NULL means, and how to ask for it."""

from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from triage.catalogue.documents import Document, read_toml, validated
from triage.errors import Problem

FactType = Literal["VARCHAR", "DOUBLE", "INTEGER", "BIGINT", "BOOLEAN", "DATE"]


class Fact(Document):
    """One column of the ``facts`` view."""

    type: FactType
    unit: str = ""
    about: Annotated[str, Field(min_length=3)]
    null_means: Annotated[str, Field(min_length=3)]
    made_by: str
    ask: dict[str, str] = {}


def load_facts(path: Path, problems: list[Problem]) -> dict[str, Fact]:
    """Return the facts of the file by name."""
    found = {}
    for name, values in (read_toml(path, problems) or {}).items():
        fact = validated(Fact, values, path, problems, at=name)
        if fact is not None:
            found[name] = fact
    return found
