"""``rules/sources.toml``: every source that a file of ``rules/`` cites by its key."""

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated

from pydantic import Field

from triage.catalogue.documents import Document, read_toml, validated
from triage.errors import Problem

# A citation in a source or basis text: M-S1, T-S13 and the like.
CITED = re.compile(r"\b[MT]-[A-Z]\d+[a-z]?\b")
# The same without the letter of its list names nothing.
LISTLESS = re.compile(r"(?<![\w-])S\d+[a-z]?\b")


class Source(Document):
    """One outside source, or the mark for what has none."""

    title: Annotated[str, Field(min_length=3)]
    where: str
    kind: str


def load_sources(path: Path, problems: list[Problem]) -> dict[str, Source]:
    """Return the sources by key."""
    found = {}
    for key, values in (read_toml(path, problems) or {}).items():
        source = validated(Source, values, path, problems, at=key)
        if source is not None:
            found[key] = source
    return found


def uncited(folder: Path, sources: Mapping[str, Source]) -> list[Problem]:
    """Return a problem for every citation under ``rules/`` that ``sources.toml`` doesn't have."""
    problems: list[Problem] = []
    for path in sorted((*folder.rglob("*.toml"), *folder.rglob("*.csv"))):
        for number, line in enumerate(path.read_text("utf-8", errors="replace").splitlines(), 1):
            place = f"{path}:{number}"
            problems.extend(
                Problem(place, f"source {key} is cited", "a key of sources.toml")
                for key in CITED.findall(line)
                if key not in sources
            )
            if line.startswith(("source", "basis")):
                expected = "a key of sources.toml, as M-S1 or T-S13"
                problems.extend(Problem(place, f"source {key} is cited", expected) for key in LISTLESS.findall(line))
    return problems
