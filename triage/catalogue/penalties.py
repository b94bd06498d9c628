"""``rules/penalties/``: the rules of thumb, one TOML file a rule, with cases that show what each does."""

from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from triage.catalogue.documents import Document, id_is_file_name, line_of, read_toml, toml_files, validated
from triage.errors import Problem

Case = dict[str, str | bool | int | float]
RulePart = Literal[
    "midsole", "outsole", "cushion", "bond", "trim", "coating", "upper", "lining", "whole"
]  # fmt: skip


class Rule(Document):
    """One predicate over the facts, its weight in decibans towards unfit, and the reason.

    ``when`` TRUE adds the weight; FALSE and NULL add nothing; NULL leaves the rule open.
    ``hits``, ``clears`` and ``unknowns`` are facts that must give TRUE, FALSE and NULL.
    """

    id: str
    part: RulePart
    when: Annotated[str, Field(min_length=1, max_length=4000)]
    weight: float | Annotated[str, Field(min_length=1, max_length=4000)]
    because: Annotated[str, Field(min_length=3)]
    source: Annotated[str, Field(min_length=3)]
    misses: Annotated[str, Field(min_length=3)]
    group: str | None = None
    hits: Annotated[tuple[Case, ...], Field(min_length=1)]
    clears: Annotated[tuple[Case, ...], Field(min_length=1)]
    unknowns: Annotated[tuple[Case, ...], Field(min_length=1)]
    path: str = ""
    when_line: int = 1


def load_rules(folder: Path, problems: list[Problem]) -> tuple[Rule, ...]:
    """Return the rules of a folder by id; ``triage.rules`` checks what the expressions say."""
    found = []
    for path in toml_files(folder, problems):
        values = read_toml(path, problems)
        if values is None:
            continue
        place = {"path": str(path), "when_line": line_of(path.read_text("utf-8"), "when")}
        rule = validated(Rule, {**values, **place}, path, problems)
        if rule is not None:
            id_is_file_name(rule.id, path, problems)
            found.append(rule)
    return tuple(found)
