"""``rules/values.toml``: what a pair of a category is worth where nothing better is known."""

from pathlib import Path
from typing import Annotated

from pydantic import Field

from triage.catalogue.documents import Document, read_toml, validated
from triage.errors import Problem

CONDITIONS = ("deadstock", "tried_on", "worn_lightly", "worn", "worn_heavily", "unknown")

Minor = Annotated[int, Field(ge=0)]
Share = Annotated[float, Field(ge=0, le=1)]


class CategoryValue(Document):
    """Value of a sound pair to wear, as a display piece and in parts; minor units, base currency."""

    sound_minor: Minor
    display_minor: Minor
    parts_minor: Minor


class Doubt(Document):
    """How far a figure may be off either way, as a share of it."""

    own: Share
    comparable: Share
    usual: Share
    shipping: Share


class Values(Document):
    """Category values, what wear and faults take off, and how far comparables are trusted.

    ``sound_share`` and ``display_share`` go by how much a pair was worn (``listing.condition``).
    """

    category: dict[str, CategoryValue]
    unfit_share: dict[str, Share]
    sound_share: dict[str, Share]
    display_share: dict[str, Share]
    doubt: Doubt
    display_loss: Share = 0.5
    reissue_display_share: Share = 0.5
    sound_from: Share = 0.5
    comparable_prior: Annotated[float, Field(gt=0)] = 4.0
    asked_share: Share = 0.85
    restored_share: Share = 0.9
    source: Annotated[str, Field(min_length=3)]

    def of_category(self, category: str | None) -> CategoryValue:
        """Return the values of a category, or the default ones."""
        return self.category.get(category or "", self.category[""])


def load_values(path: Path, problems: list[Problem]) -> Values | None:
    """Return the values file; a missing default category is a problem."""
    values = read_toml(path, problems)
    if values is None:
        return None
    found = validated(Values, values, path, problems)
    if found is not None and "" not in found.category:
        problems.append(Problem(f"{path}:1", "no category ''", "a default for everything that has no category"))
    for share in ("sound_share", "display_share"):
        for condition in CONDITIONS:
            if found is not None and condition not in getattr(found, share):
                problems.append(Problem(f"{path}:1", f"no {share} for {condition}", "a share for each condition"))
    return found
