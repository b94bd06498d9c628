"""``rules/match/*.toml``: the weights and the words that decide which release a listing is."""

from pathlib import Path
from typing import Any

from pydantic import Field

from triage.catalogue.documents import Document, read_toml, validated
from triage.errors import Problem


class Prior(Document):
    """Bits for the two ways a pair can be in no table, against one release of the table."""

    unrelated: float
    sibling: float
    sibling_facts: float = Field(ge=0, le=1)


class Name(Document):
    """Bits of the words of a model's name."""

    reference_releases: float = Field(gt=0)
    word_agrees_share: float = Field(gt=0, lt=1)
    word_bits_most: float
    word_missing: float
    word_extra: float
    unnamed: float
    typo_per_letter: float


class Maker(Document):
    """Bits of the maker's name."""

    agrees: float
    missing: float
    other: float


class InName(Document):
    """Bits of a number or a qualifier in a model's name."""

    agrees: float
    missing: float
    extra: float


class Qualifier(InName):
    """Bits of a qualifier; of words that may describe the shoe as well, the ones unexplained weigh less."""

    descriptor_extra: float


class StyleNumber(Document):
    """Bits of a style number, by how much of it is there."""

    exact: float
    partial: float
    stem: float
    other: float
    unknown: float


class Year(Document):
    """Shares that say which years sellers name for a release."""

    background_years: float = Field(gt=0)
    in_production: float = Field(gt=0, lt=1)
    style_year_of_reissue: float = Field(gt=0, lt=1)
    stray: float = Field(gt=0, lt=1)
    purchase_grace: int = Field(ge=0)


class Colour(Document):
    """Bits of colour words."""

    shade_agrees: float
    shade_other: float
    family_agrees: float
    family_other: float


class Edition(Document):
    """Bits of "original" and "reissue" words, by the edition of the release."""

    original_word_original: float
    original_word_reissue: float
    original_word_revision: float
    reissue_word_original: float
    reissue_word_reissue: float
    reissue_word_revision: float


class Agreement(Document):
    """Bits for a fact that agrees or conflicts."""

    agrees: float
    conflicts: float


class Audience(Document):
    """Bits of words for whom the pair is made."""

    kids: float


class Compared(Document):
    """Bits for a model that is only named for comparison."""

    word: float


class Scale(Document):
    """What each kind of evidence is multiplied by; 1 until refitted on confirmed matches."""

    model: float = Field(ge=0)
    maker: float = Field(ge=0)
    number: float = Field(ge=0)
    qualifier: float = Field(ge=0)
    compared: float = Field(ge=0)
    style_number: float = Field(ge=0)
    year: float = Field(ge=0)
    colour: float = Field(ge=0)
    edition: float = Field(ge=0)
    construction: float = Field(ge=0)
    category: float = Field(ge=0)
    audience: float = Field(ge=0)


class Decide(Document):
    """How bits become probabilities and when a release is named for sure."""

    accept_at: float = Field(gt=0.5, lt=1)
    keep: int = Field(ge=1)
    candidates_most: int = Field(ge=1)


class Weights(Document):
    """``weights.toml``."""

    version: int
    prior: Prior
    name: Name
    maker: Maker
    number_in_name: InName
    qualifier: Qualifier
    style_number: StyleNumber
    year: Year
    colour: Colour
    edition: Edition
    construction: Agreement
    category: Agreement
    audience: Audience
    compared: Compared
    scale: Scale
    decide: Decide


class EditionWords(Document):
    """Words for the first edition and for later ones."""

    original: list[str]
    reissue: list[str]


class CompareWords(Document):
    """Words that make the model beside them a comparison."""

    before: list[str]
    after: list[str]
    joined: list[str]
    filler: list[str]
    not_style_before: list[str]


class YearWords(Document):
    """Words that say a year is no year of make."""

    event: list[str]
    event_after: list[str]
    purchase: list[str]


class SizeWords(Document):
    """Words beside a size."""

    before: list[str]
    after: list[str]


class ConstructionWords(Document):
    """Words that say what a part is made of, or with ``present = false`` is not made of."""

    part: str
    materials: list[str]
    words: list[str]
    present: bool = True


class MatchWords(Document):
    """``words.toml``."""

    common: list[str]
    qualifiers: list[str]
    descriptors: list[str]
    same: dict[str, str]
    describes: dict[str, list[str]]
    edition: EditionWords
    compare: CompareWords
    year: YearWords
    size: SizeWords
    colour: dict[str, list[str]]
    category: dict[str, list[str]]
    audience: dict[str, list[str]]
    construction: list[ConstructionWords]


class MatchWeights(Document):
    """Both files together."""

    weights: Weights
    words: MatchWords


def load_match_weights(folder: Path, problems: list[Problem]) -> MatchWeights | None:
    """Return the weights and words of a folder; None, with a problem for every fault, when a file is wrong."""
    weights = _read(Weights, folder / "weights.toml", problems)
    words = _read(MatchWords, folder / "words.toml", problems)
    return MatchWeights(weights=weights, words=words) if weights and words else None


def _read(model: type[Any], path: Path, problems: list[Problem]) -> Any:
    values = read_toml(path, problems)
    return None if values is None else validated(model, values, path, problems)
