"""The patterns that are looked for, and what each means in each language."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from triage.catalogue.signs import LANGUAGES, YEAR, Cues, Signs, Words
from triage.observation.fold import spell
from triage.once import once

SHORTEST_MISSPELT = 9
EXPLAINED = "explained"
YEARS = range(1960, 2031)
KINDS = ("thing", "condition", "common", *(name.strip("_") for name in Cues.model_fields))
MEANING = ["pattern", "language", "kind", "key", "noun", "state"]
READ = ["thing", "condition", "said", "sign", "state", "within", "here", "prefer"]
FAR = 90  # characters; a thing farther away is not meant
Row = tuple[str, str, str, str, bool, str]
BREAKS = {",": "comma", ":": "colon", "(": "comma", ")": "comma", "、": "comma", " - ": "comma", "/": "or"}
SHORT_LATIN = 2  # letters of a Latin word that must stand alone in a Japanese text: OG, DS
UMLAUTS = {"ä": "ae", "ö": "oe", "ü": "ue", "ß": "ss"}
# What a condition is said of when it stands beside it, though no sign speaks of the two together.
PARTS = [
    "foam", "sole", "rubber", "trim", "clear", "upper", "leather", "synthetic", "mesh", "lining", "padding",
    "insole", "unit", "paint", "coat", "glue", "box", "object",
]  # fmt: skip
# Words of the lexicon are numbers in disguise: millions of rows carry them.
LANGUAGE = pl.Enum(LANGUAGES)
KIND = pl.Enum(list(dict.fromkeys([*KINDS, *BREAKS.values()])))
STATE = pl.Enum(["", "affirmed", "denied", EXPLAINED, *map(str, YEARS)])
AFFIRMED, DENIED = pl.lit("affirmed", STATE), pl.lit("denied", STATE)


@dataclass(frozen=True)
class Lexicon:
    """What is looked for (``patterns``), what it means (``meanings``), which pairs make a sign (``reads``).

    patterns: pattern; its row is its pid. The breaks come last. slip: the word, where it is a misspelt one.
    meanings: pid, pattern, language, kind, key, noun, state; the words that come from ``rules/`` are Enums,
        here and in ``reads``.
    reads: thing, condition, said, sign, state, within, here, prefer. A sign's own phrases are a condition
        named by its id.
    polarity: sign, polarity, dated (its words may carry a year).
    known: TRUE where a pattern (row) means something in a language (column).
    sizes: per pattern ``lead`` and ``upto``, the bytes before its first letter and up to its last;
        ``thing`` where it only names things; ``holds`` where it may hold the thing it speaks of.
    """

    patterns: pl.DataFrame
    meanings: pl.DataFrame
    reads: pl.DataFrame
    polarity: pl.DataFrame
    known: npt.NDArray[np.bool_]
    sizes: dict[str, npt.NDArray[np.int64]]


@once
def lexicon(signs: Signs) -> Lexicon:
    """Return the lexicon of all signs and languages."""
    rows = [row for words in signs.words for row in _of_language(words)]
    rows += [row for sign in signs for row in _of_phrases(sign.id, sign.phrases, "affirmed")]
    rows += [row for sign in signs for row in _of_phrases(sign.id, sign.denials, "denied")]
    rows += [row for sign in signs for row in _of_phrases(sign.id, sign.explained, EXPLAINED)]
    rows += [row for language in LANGUAGES for row in _years(language)]
    rows += list(_of_their_stems(rows))
    slips = list(_misspelt(rows))
    meanings = _once(rows + slips)
    breaks = [(mark, language, kind, "", False, "") for mark, kind in BREAKS.items() for language in LANGUAGES]
    meanings = pl.concat([meanings, pl.DataFrame(breaks, MEANING, orient="row")])
    patterns = meanings.select("pattern").unique(maintain_order=True)
    misspelt = pl.Series([row[0] for row in slips], dtype=pl.String).unique()
    is_slip = pl.col("pattern").is_in(misspelt.implode())
    patterns = patterns.with_columns(slip=pl.when(is_slip).then(pl.col("pattern").str.strip_chars()))
    meanings = meanings.join(patterns.select("pattern").with_row_index("pid"), on="pattern").with_columns(
        pl.col("pid").cast(pl.Int64)
    )
    reads: list[tuple[str, str, str | None, str, str, int, bool, bool]] = [
        (thing, condition, reading.said, sign.id, reading.state, reading.within, reading.here, reading.prefer)
        for sign in signs
        for reading in sign.reads
        for thing, condition in product(reading.thing, reading.condition)
    ]
    reads += [("", sign.id, _own(sign.id, reads), sign.id, "affirmed", FAR, False, False) for sign in signs]
    keys = pl.Enum(sorted({"", *PARTS, *meanings["key"], *signs.by_id, *(word for row in reads for word in row[:2])}))
    coded: dict[Any, pl.DataType] = {"thing": keys, "condition": keys, "sign": keys, "state": STATE, "said": STATE}
    polarities = [(sign.id, sign.polarity, sign.value == YEAR) for sign in signs]
    return Lexicon(
        patterns,
        meanings.select("pid", *MEANING).cast({"language": LANGUAGE, "kind": KIND, "key": keys, "state": STATE}),
        pl.DataFrame(reads, READ, orient="row").cast(coded),
        pl.DataFrame(polarities, ["sign", "polarity", "dated"], orient="row").cast({"sign": keys}),
        _known(meanings, patterns.height),
        _sizes(meanings, patterns),
    )


def _once(rows: list[Row]) -> pl.DataFrame:
    """Return each meaning once: a whole word that also stands as a stem is left to the stem."""
    meanings = (
        pl.DataFrame(rows, MEANING, orient="row")
        .group_by("pattern", "language", "kind", "key", "state", maintain_order=True)
        .agg(pl.col("noun").any())
        .select(MEANING)
    )
    rest = ["language", "kind", "key", "state"]
    stems = meanings.filter(~pl.col("pattern").str.ends_with(" ")).select(
        *rest, pattern=pl.col("pattern") + " ", stem=pl.lit(True)
    )
    return meanings.join(stems, on=["pattern", *rest], how="anti", maintain_order="left")


def _known(meanings: pl.DataFrame, height: int) -> npt.NDArray[np.bool_]:
    known = np.zeros((height, len(LANGUAGES)), bool)
    code = meanings["language"].replace_strict(LANGUAGES, range(len(LANGUAGES)), return_dtype=pl.Int64)
    known[meanings["pid"].to_numpy(), code.to_numpy()] = True
    return known


def _sizes(meanings: pl.DataFrame, patterns: pl.DataFrame) -> dict[str, npt.NDArray[np.int64]]:
    plain = (pl.col("kind") == "condition") & ~pl.col("key").str.contains("_")
    kinds = (
        meanings.group_by("pid")
        .agg(
            thing=(pl.col("kind") == "thing").all(),
            holds=plain.all(),
            common=pl.col("kind").is_in(["common", "yes", "reply_no"]).all(),
            telling=pl.col("kind").is_in(["condition", "thing"]).any(),
        )
        .sort("pid")
    )
    head = pl.col("pattern").str.starts_with(" ") & ~pl.col("pattern").str.starts_with("  ")
    # "  but" starts at the comma before it, which thereby stands inside it.
    size = patterns.select(
        lead=head.cast(pl.Int64),
        upto=pl.col("pattern").str.len_bytes().cast(pl.Int64)
        - (pl.col("pattern").str.ends_with(" ") & (pl.col("pattern") != " - ")).cast(pl.Int64),
    )
    return {
        name: column.to_numpy()
        for name, column in zip(
            ("lead", "upto", "thing", "holds", "common", "telling"),
            [*size.get_columns(), *kinds.select("thing", "holds", "common", "telling").get_columns()],
            strict=True,
        )
    }


def _own(sign: str, reads: Sequence[tuple[str, str, str | None, str, str, int, bool, bool]]) -> str | None:
    """Return which state of a sign's own phrases is left to it: another sign may read the other one."""
    taken = {said for _, condition, said, *_ in reads if condition == sign}
    return {"denied": "affirmed", "affirmed": "denied"}[taken.pop() or ""] if taken else None


def _of_language(words: Words) -> Iterator[Row]:
    lang = words.language
    for word in words.common:
        yield from ((p, lang, "common", "", False, "") for p in patterns_of(word, lang))
    for key, listed in words.thing.items():
        for word in listed:
            yield from ((p, lang, "thing", key, True, "") for p in patterns_of(word, lang))
    for key, forms in words.condition.items():
        for noun, listed in ((True, forms.noun), (False, forms.word)):
            for word in listed:
                yield from ((p, lang, "condition", key, noun, "affirmed") for p in patterns_of(word, lang))
    for kind, listed in words.cue:
        for word in listed:
            yield from ((p, lang, kind.strip("_"), "", False, "") for p in patterns_of(word, lang))


def _of_phrases(sign: str, phrases: Mapping[Any, tuple[str, ...]], state: str) -> Iterator[Row]:
    for lang, listed in phrases.items():
        for phrase in listed:
            yield from ((p, lang, "condition", sign, False, state) for p in patterns_of(phrase, lang))


def patterns_of(word: str, language: str) -> list[str]:
    """Return the plain patterns of a word: blanks stand for word ends, German umlauts both ways."""
    spellings = {word}
    if any(c in word for c in UMLAUTS):
        spellings.add("".join(UMLAUTS.get(c, c) for c in word))
    found = []
    for spelling in sorted(spellings):
        inner = spell(spelling.strip("*")).strip()
        after_break = spelling.startswith(", ")
        if not inner:
            continue
        if language == "ja" and (not inner.isascii() or len(inner) > SHORT_LATIN):
            found.append(inner)
            continue
        head = "  " if after_break else "" if spelling.startswith("*") else " "
        tail = "" if spelling.endswith("*") else " "
        found.append(head + inner + tail)
    return found


def _years(language: str) -> Iterator[Row]:
    for year in YEARS:
        pattern = f"{year}" if language == "ja" else f" {year} "
        yield (pattern, language, "thing", YEAR, True, str(year))


def _of_their_stems(rows: list[Row]) -> Iterator[Row]:
    """Yield what a stem means for the whole words that begin with it: the longer one hides the stem."""
    stems: dict[tuple[str, str], list[Row]] = {}
    for row in rows:
        if row[2] == "condition" and row[0].startswith(" ") and not row[0].endswith(" "):
            stems.setdefault((row[1], row[0]), []).append(row)
    for pattern, lang, kind, key, _, _ in rows:
        word = pattern.strip()
        if kind == "condition" and pattern == f" {word} " and " " not in word:
            for size in range(3, len(word) + 1):
                for stem in stems.get((lang, f" {word[:size]}"), ()):
                    if stem[3] != key:
                        yield (pattern, *stem[1:])


def _misspelt(rows: list[Row]) -> Iterator[Row]:
    """Yield one-slip spellings of the long words of conditions and things, never one that is a word itself."""
    known = {row[0] for row in rows}
    for pattern, lang, kind, key, noun, state in rows:
        word = pattern.strip()
        if kind not in ("condition", "thing") or len(word) < SHORTEST_MISSPELT or not word.isalpha():
            continue
        if not word.isascii() or not pattern.startswith(" "):
            continue
        for slip in _slips(word):
            typed = pattern.replace(word, slip)
            if typed not in known:
                yield (typed, lang, kind, key, noun, state)


def _slips(word: str) -> Iterator[str]:
    """Yield a letter lost, doubled or swapped with its neighbour, or another vowel; the first letter stays."""
    for i in range(1, len(word)):
        yield word[:i] + word[i + 1 :]
        yield word[:i] + word[i] + word[i:]
        if i + 1 < len(word) and word[i] != word[i + 1]:
            yield word[:i] + word[i + 1] + word[i] + word[i + 2 :]
        if word[i] in "aeiouy":
            yield from (word[:i] + vowel + word[i + 1 :] for vowel in "aeiouy" if vowel != word[i])
