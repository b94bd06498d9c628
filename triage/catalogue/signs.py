"""``rules/signs/``: what a text, a photo or an answer can affirm or deny, and the words it is read from.

One file a sign: meaning, weights, question and what it is read from. One file a language under
``reading/``: its words for parts, conditions and the small words that deny, doubt or point elsewhere.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import product
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from triage.catalogue.documents import Document, id_is_file_name, read_toml, toml_files, validated
from triage.errors import Problem

YEAR = "year"  # a thing of every language: a year in four digits
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
    """Decibans towards unfit when a sign is affirmed and when it is denied, by one kind of speaker.

    The ranges, lo and hi at about 80 % belief, say how firm a weight is when it is fitted again to what was found.
    """

    if_true: float
    if_false: float
    true_range_db: tuple[float, float] | None = None
    false_range_db: tuple[float, float] | None = None

    @model_validator(mode="after")
    def opposite(self) -> Self:
        """Refuse two weights on one side: an answer would then move belief whatever it says."""
        if self.if_true * self.if_false >= 0:
            raise ValueError("if_true and if_false of opposite signs, neither of them 0")
        for bounds in (self.true_range_db, self.false_range_db):
            if bounds is not None and not bounds[0] < bounds[1]:
                raise ValueError("a range lo, hi with lo below hi")
        return self


class Question(Document):
    """How a sign is asked for, in each language; ``good`` is the answer a buyer hopes for.

    ``only_if``: parts with the material keys (or "?", not known) of which a likely release must have one.
    """

    good: State
    photo: bool
    only_if: dict[Part, Annotated[tuple[Text, ...], Field(min_length=1)]] = {}
    en: Text
    de: Text
    fr: Text
    it: Text
    es: Text
    ja: Text

    def text(self, language: str | None) -> str:
        """Return the question in a language; in English where there is no such text."""
        return str(getattr(self, language)) if language in LANGUAGES else self.en


class Reading(Document):
    """A condition said of a thing that makes a sign; thing "" stands for no thing named at all.

    Without ``said`` a denied condition denies the sign. With it, the reading holds only for a condition
    that is affirmed or only for one that is denied, and ``state`` is then the sign's state.
    """

    thing: tuple[str, ...] = ("",)
    condition: Annotated[tuple[str, ...], Field(min_length=1)]
    said: State | None = None
    state: State = "affirmed"
    within: int = 90
    """How many characters apart at most, joints counted: 2 means side by side."""
    here: bool = False
    """The thing must stand in the same sentence; none is carried over from the one before."""
    prefer: bool = False
    """Wins over a nearer thing: "worn twice this month" is about the month."""


class Sign(Document):
    """One thing that can be affirmed or denied of a pair, with its weight and its source."""

    id: str
    part: Part
    polarity: Literal["risk", "good", "info"]
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
    reads: tuple[Reading, ...] = ()
    value: Literal["year"] | None = None
    phrases: dict[Language, tuple[Text, ...]] = Field(default_factory=dict)
    denials: dict[Language, tuple[Text, ...]] = Field(default_factory=dict)
    explained: dict[Language, tuple[Text, ...]] = Field(default_factory=dict)
    """Phrases that say what the sign's own word means here: "OG colourway" takes a bare "OG" along."""

    @model_validator(mode="after")
    def weights_fit(self) -> Self:
        """Refuse weights where no part could carry them, a missing speaker and a turned polarity."""
        if self.weight and self.part not in WEIGHED:
            raise ValueError(f"no weight: part {self.part} is not weighed")
        if self.weight and len(self.weight) < 3:
            raise ValueError("a weight for each of listing, answer and buyer, or none")
        towards_unfit = {weight.if_true > 0 for weight in self.weight.values()}
        if towards_unfit and towards_unfit != {self.polarity != "good"}:
            raise ValueError("if_true above 0 for a risk, below 0 for a good one, with every speaker")
        return self


class Condition(Document):
    """The words of one condition: ``noun`` can stand in a list after "no", ``word`` is any other form."""

    noun: tuple[Text, ...] = ()
    word: tuple[Text, ...] = ()


class Cues(Document):
    """Small words that turn what is said: each field is one way of turning."""

    no: tuple[Text, ...] = ()
    """Denies what follows, over a list: no, without."""
    not_: Annotated[tuple[Text, ...], Field(alias="not")] = ()
    """Denies the word that follows: not, isn't."""
    after: tuple[Text, ...] = ()
    """Denies what stands before it: crack-free, ~なし."""
    after_verb: tuple[Text, ...] = ()
    """Denies the verb just before it, where it denies no word just after it: nicht, pas."""
    pseudo: tuple[Text, ...] = ()
    """Holds a word that matters but says nothing: not only, new laces, sample size."""
    hedge: tuple[Text, ...] = ()
    """A doubt: I think, seems, as far as I can tell."""
    filler: tuple[Text, ...] = ()
    """Holds a turning word that turns nothing: ist aber."""
    if_: Annotated[tuple[Text, ...], Field(alias="if")] = ()
    """What follows is supposed, not said: if, in case."""
    if_after: tuple[Text, ...] = ()
    """What stands before it is supposed: ~場合."""
    other: tuple[Text, ...] = ()
    """What is said is said of other shoes: my other pair, these usually."""
    hearsay: tuple[Text, ...] = ()
    """What follows is what people say: some say."""
    this: tuple[Text, ...] = ()
    """Back to the pair on offer: these are, this pair."""
    but: tuple[Text, ...] = ()
    """Ends the reach of everything before it."""
    and_: Annotated[tuple[Text, ...], Field(alias="and")] = ()
    or_: Annotated[tuple[Text, ...], Field(alias="or")] = ()
    degree: tuple[Text, ...] = ()
    """Starts a new statement inside a list: slight, some, has."""
    affirm: tuple[Text, ...] = ()
    """Affirms what stands before it, so that a later denial stops there: ~あり."""
    past: tuple[Text, ...] = ()
    """What follows is over: used to."""
    yes: tuple[Text, ...] = ()
    """A reply that affirms what was asked."""
    reply_no: tuple[Text, ...] = ()
    """A reply that denies what was asked."""


class Words(Document):
    """The words of one language."""

    language: Language
    common: tuple[Text, ...]
    thing: dict[str, tuple[Text, ...]]
    condition: dict[str, Condition]
    cue: Cues


@dataclass(frozen=True)
class Signs:
    """All signs by id, and the words of each language."""

    by_id: Mapping[str, Sign] = field(default_factory=dict)
    words: tuple[Words, ...] = ()

    def __iter__(self) -> Iterator[Sign]:
        return iter(self.by_id.values())

    def __len__(self) -> int:
        return len(self.by_id)

    def __contains__(self, sign_id: object) -> bool:
        return sign_id in self.by_id

    def __getitem__(self, sign_id: str) -> Sign:
        return self.by_id[sign_id]


def load_signs(folder: Path, problems: list[Problem], materials: frozenset[str] | None = None) -> Signs:
    """Return the signs of ``rules/signs`` by id; every fault of every file becomes a problem.

    Args:
        materials: Keys of the materials table; None leaves those that questions name unchecked.
    """
    signs = {}
    for path in toml_files(folder, problems):
        values = read_toml(path, problems)
        sign = None if values is None else validated(Sign, values, path, problems)
        if sign is not None:
            id_is_file_name(sign.id, path, problems)
            signs[sign.id] = sign
            asked = sign.question.only_if.values() if sign.question is not None else ()
            strange = {key for keys in asked for key in keys} - {"?"} - (materials or frozenset())
            problems += [
                Problem(f"{path}:1", f"question.only_if names {key!r}", "a key of ageing/materials.toml or '?'")
                for key in sorted(strange)
                if materials is not None
            ]
    words = load_words(folder / "reading", problems)
    problems += [Problem(str(folder / f"{sign}.toml"), *fault) for sign, fault in unread(signs, words)]
    return Signs(signs, words)


def load_words(folder: Path, problems: list[Problem]) -> tuple[Words, ...]:
    """Return the words of every language of a folder."""
    found = []
    for path in toml_files(folder, problems):
        values = read_toml(path, problems)
        words = None if values is None else validated(Words, values, path, problems)
        if words is not None:
            id_is_file_name(words.language, path, problems)
            found.append(words)
    return tuple(found)


def unread(signs: Mapping[str, Sign], words: tuple[Words, ...]) -> Iterator[tuple[str, tuple[str, str]]]:
    """Yield what a sign reads that no language has words for, and what two signs both claim."""
    things = {"", YEAR, *(name for language in words for name in language.thing)}
    conditions = {*signs, *(name for language in words for name in language.condition)}
    claimed: dict[tuple[str, str, str | None], str] = {}
    for sign in signs.values():
        for reading in sign.reads:
            for name in sorted(set(reading.thing) - things):
                yield sign.id, (f"reads.thing is {name!r}", "a thing of a file under reading/")
            for name in sorted(set(reading.condition) - conditions):
                yield sign.id, (f"reads.condition is {name!r}", "a condition of a file under reading/")
            for key in product(reading.thing, reading.condition, (reading.said,)):
                if claimed.setdefault(key, sign.id) != sign.id:
                    yield sign.id, (f"reads holds {key[1]} of {key[0]!r}", f"it once; {claimed[key]} has it")
