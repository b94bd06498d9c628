"""Feed maps and heading words: which heading of an export fills which listing field."""

import re
import unicodedata
from dataclasses import dataclass
from fnmatch import fnmatchcase
from functools import lru_cache
from pathlib import Path
from typing import Annotated, Literal, get_args

from pydantic import StringConstraints, field_validator

from triage.catalogue.documents import Identified, documents, line_of, read_toml, toml_files
from triage.errors import Problem

Field = Literal[
    "external_id", "url", "seller", "seller_kind", "title", "body", "price", "currency", "price_kind",
    "shipping", "premium", "ships_from", "size", "size_system", "condition", "year", "photo_count", "images",
    "language", "status", "category", "listed_on", "style_number", "maker", "model", "colour",
]  # fmt: skip
FIELDS: tuple[str, ...] = get_args(Field)

WORDS_FILE = "headings.toml"
WEAK = "weak"

_BRACKETED = re.compile(r"[(\[（【][^)\]）】]*[)\]）】]")
_NOT_WORD = re.compile(r"[\W_]+")


class FeedMap(Identified):
    """One marketplace's export: how it is written and which heading fills which listing field."""

    source: str
    match: tuple[str, ...]
    encoding: str | None = None
    # Not stripped: a tab is a delimiter.
    delimiter: Annotated[str, StringConstraints(strip_whitespace=False, min_length=1, max_length=1)] | None = None
    header: bool | None = None
    currency: Annotated[str, StringConstraints(pattern=r"^[A-Z]{3}$")] | None = None
    country: Annotated[str, StringConstraints(pattern=r"^[A-Z]{2}$")] | None = None
    language: Annotated[str, StringConstraints(pattern=r"^[a-z]{2}$")] | None = None
    decimal: Literal[",", "."] | None = None
    date_order: Literal["DMY", "MDY", "YMD"] | None = None
    snapshot: bool = False
    columns: dict[Field, str]

    @field_validator("encoding")
    @classmethod
    def _codec_exists(cls, name: str | None) -> str | None:
        if name is not None:
            try:
                "".encode(name)
            except LookupError:
                raise ValueError("a text encoding Python knows, such as cp1252") from None
        return name

    @field_validator("columns")
    @classmethod
    def _has_title(cls, columns: dict[Field, str]) -> dict[Field, str]:
        if "title" not in columns:
            raise ValueError("a heading for the title")
        return columns

    def settings(self) -> dict[str, str | bool]:
        """Return what stage 2 needs to read money, dates and places: only what the map states."""
        named = ("currency", "country", "language", "decimal", "date_order", "snapshot")
        return {name: getattr(self, name) for name in named if getattr(self, name) is not None}


@dataclass(frozen=True)
class HeadingWords:
    """Words that name a listing field, folded; weak ones count only where no other heading claims it."""

    strong: dict[str, str]
    weak: dict[str, str]
    footer: tuple[str, ...]

    def field_of(self, heading: str) -> tuple[str, bool] | None:
        """Return the listing field a heading names and whether it does so strongly; None when unknown."""
        for strong, written in self._readings(heading):
            word = fold(written)
            if word in self.strong:
                return self.strong[word], strong
            if word in self.weak:
                return self.weak[word], False
        return None

    @staticmethod
    def _readings(heading: str) -> tuple[tuple[bool, str], ...]:
        plain = _BRACKETED.sub(" ", heading)
        return ((True, heading), (True, plain), (False, plain.rsplit(".", 1)[-1]))

    def known(self, cells: tuple[str, ...] | list[str]) -> int:
        """Return how many different listing fields a row of cells names."""
        return len({claim[0] for claim in map(self.field_of, cells) if claim})


@dataclass(frozen=True)
class FeedCatalogue:
    """Every feed map, by id, and the heading words for exports without one."""

    maps: tuple[FeedMap, ...]
    words: HeadingWords

    def maps_for(self, file_name: str) -> tuple[FeedMap, ...]:
        """Return the maps whose ``match`` patterns fit a file name, upper and lower case alike."""
        name = file_name.lower()
        return tuple(m for m in self.maps if any(fnmatchcase(name, pattern.lower()) for pattern in m.match))


@lru_cache(4096)  # the first rows of an export are looked at in every way it could be parted
def fold(text: str) -> str:
    """Return a heading without case, accents, spaces and punctuation, so that spellings compare equal."""
    plain = unicodedata.normalize("NFKD", unicodedata.normalize("NFKC", text).casefold())
    return _NOT_WORD.sub("", "".join(c for c in plain if not unicodedata.combining(c)))


def load_feeds(folder: Path, problems: list[Problem]) -> FeedCatalogue:
    """Return the feed maps and heading words of a folder; every fault is added to ``problems``."""
    files = (path for path in toml_files(folder, problems) if path.name != WORDS_FILE)
    maps = tuple(feed_map for _, feed_map in documents(FeedMap, files, problems))
    return FeedCatalogue(maps, _load_words(folder / WORDS_FILE, problems))


def _load_words(path: Path, problems: list[Problem]) -> HeadingWords:
    """Return the heading words; a word that would name two fields is a problem."""
    values = read_toml(path, problems) or {}
    text = path.read_text("utf-8", errors="replace") if path.is_file() else ""
    words: dict[bool, dict[str, str]] = {True: {}, False: {}}
    footer = tuple(str(word) for word in values.pop("footer", {}).get("words", ()))
    for field, languages in values.items():
        place = f"{path}:{line_of(text, field)}"
        if field not in FIELDS or not isinstance(languages, dict):
            problems.append(Problem(place, f"table [{field}]", f"one of {', '.join(FIELDS)} or footer"))
            continue
        for language, written in languages.items():
            for word in written:
                other = words[language != WEAK].setdefault(fold(word), field)
                if other != field:
                    found = f"{word!r} names both {other} and {field}"
                    problems.append(Problem(place, found, "each heading word under one field"))
    return HeadingWords(words[True], words[False], tuple(fold(word) for word in footer))
