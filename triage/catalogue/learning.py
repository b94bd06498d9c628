"""``rules/learning.toml``: how much evidence changes a number, and how firm a belief without a range is."""

from pathlib import Path
from typing import Annotated

from pydantic import Field

from triage.catalogue.documents import Document, read_toml, validated
from triage.catalogue.materials import Sourced
from triage.errors import Problem

Count = Annotated[int, Field(ge=1)]
Positive = Annotated[float, Field(gt=0)]


class Learning(Document):
    """Least evidence for changing a number, and the sd of a sign's weight that has no range."""

    least_parts: Count
    least_said: Count
    least_confirmed: Count
    weight_sd_share: Positive
    weight_sd_least_db: Positive
    source: Sourced


def load_learning(path: Path, problems: list[Problem]) -> Learning | None:
    """Return the file, or None with its faults as problems."""
    values = read_toml(path, problems)
    return validated(Learning, values, path, problems) if values is not None else None
