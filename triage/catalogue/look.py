"""``rules/look.toml``: what can be seen in a listing's photos, in the order of a walk round the pair."""

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated

from pydantic import Field

from triage.catalogue.documents import Document, line_of, read_toml, validated
from triage.catalogue.signs import Sign
from triage.errors import Problem

Said = Annotated[str, Field(min_length=3)]


class Look(Document):
    """One thing to look for: which view shows it, and the question; a yes affirms the sign it is named by."""

    where: Said
    ask: Said
    source: Said


def load_look(path: Path, signs: Mapping[str, Sign], problems: list[Problem]) -> dict[str, Look]:
    """Return the file by sign, in its order; a sign that weighs nothing for a buyer's look is a problem."""
    found = {}
    for name, values in (read_toml(path, problems) or {}).items():
        look = validated(Look, values, path, problems, at=name)
        if look is not None:
            found[name] = look
        if signs and (name not in signs or "buyer" not in signs[name].weight):
            line = line_of(path.read_text("utf-8"), name)
            problems.append(Problem(f"{path}:{line}", f"sign {name!r}", "a file in signs/ with a weight.buyer"))
    return found
