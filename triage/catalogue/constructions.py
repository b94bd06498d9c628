"""``rules/constructions/*.csv`` and the buyer's own tables: what each release is made of."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from triage.catalogue.documents import read_csv
from triage.errors import Problem

PARTS = ("midsole", "outsole", "cushion", "bond", "trim", "coating", "upper", "lining")
EDITIONS = ("original", "reissue", "revision")
LISTS = ("maker_aliases", "aliases", "nicknames", "style_numbers", "words")
TEXTS = ("model_id", "maker", "model", "edition", "colourway", "category", "note", "source")
MONTH = re.compile(r"(\d{4})-(0[1-9]|1[0-2])")
SCHEMA: dict[str, pl.DataType] = {
    **{name: pl.String() for name in (*TEXTS, *PARTS)},
    **{name: pl.List(pl.String()) for name in LISTS},
    "made_from": pl.Float64(),
    "made_to": pl.Float64(),
    "style_year": pl.Int64(),
    "life_factor": pl.Float64(),
}
Row = dict[str, str]


@dataclass(frozen=True)
class Constructions:
    """Every release that can be named, and what stands in for the ones that can't.

    Attributes:
        table: One release a row, sorted by model_id: model_id, maker, model, edition, category, colourway,
            made_from and made_to (decimal years; made_to is the end of its month), style_year, the eight
            parts ('' = the shoe has no such part, '?' = not known, else material keys joined by ';'),
            life_factor, and the lists maker_aliases, aliases, nicknames, style_numbers.
        generic: The same columns for constructions by category and era, with no maker; ``words`` choose one.
    """

    table: pl.DataFrame
    generic: pl.DataFrame


def load_constructions(
    files: Sequence[Path], problems: list[Problem], materials: frozenset[str] | None = None
) -> Constructions:
    """Return the construction tables of ``files``, adding a problem for every fault of every file.

    Args:
        files: CSV tables; one with a column ``words`` and no column ``maker`` holds generic constructions.
        problems: Gets one problem a fault, with file and line.
        materials: Keys of the materials table; None leaves material keys unchecked.
    """
    seen: dict[str, str] = {}
    numbers: dict[str, str] = {}
    rows: dict[bool, list[dict[str, object]]] = {True: [], False: []}
    for path in files:
        generic = _is_generic(path)
        required = ("model_id", "category", "words") if generic else ("model_id", "maker", "model")
        for line, row in read_csv(path, required, problems):
            place = f"{path}:{line}"
            found = [*_faults(row, required, materials), *_repeats(row, place, seen, numbers)]
            problems.extend(Problem(place, what, expected) for what, expected in found)
            if not found:
                rows[generic].append(_typed(row))
    return Constructions(_frame(rows[False]), _frame(rows[True]))


def _is_generic(path: Path) -> bool:
    try:
        with path.open(encoding="utf-8-sig") as stream:
            headings = stream.readline().strip().split(",")
    except (OSError, UnicodeDecodeError):
        return False
    return "words" in headings and "maker" not in headings


def _faults(row: Row, required: Sequence[str], materials: frozenset[str] | None) -> Iterator[tuple[str, str]]:
    """Yield what is wrong with one row by itself: (what was found, what was expected)."""
    for column in required:
        if not row[column]:
            yield f"{column} is empty", "a value in every row"
    edition = row.get("edition", "")
    if edition and edition not in EDITIONS:
        yield f"edition is {edition!r}", f"one of {', '.join(EDITIONS)}, or nothing"
    yield from _month_faults(row)
    style_year = row.get("style_year", "")
    if style_year and not re.fullmatch(r"(19|20)\d\d", style_year):
        yield f"style_year is {style_year!r}", "a year of four digits, or nothing"
    factor = row.get("life_factor", "")
    if factor and not (re.fullmatch(r"\d+(\.\d+)?", factor) and float(factor) > 0):
        yield f"life_factor is {factor!r}", "a number above 0, or nothing"
    for part in PARTS:
        for key in _split(row.get(part, "")):
            if materials is not None and key != "?" and key not in materials:
                yield f"{part} is {key!r}", "a key of the materials table, '?' or nothing"


def _month_faults(row: Row) -> Iterator[tuple[str, str]]:
    first, last = row.get("made_from", ""), row.get("made_to", "")
    for name, value in (("made_from", first), ("made_to", last)):
        if value and not MONTH.fullmatch(value):
            yield f"{name} is {value!r}", "a month as YYYY-MM, or nothing"
    if MONTH.fullmatch(first) and MONTH.fullmatch(last) and first > last:
        yield f"made_to is {last!r}", f"a month not before made_from, {first}"


def _repeats(row: Row, place: str, seen: dict[str, str], numbers: dict[str, str]) -> Iterator[tuple[str, str]]:
    """Yield what this row shares with an earlier one but must not: its id, a style number."""
    keys = [(seen, "model_id", row["model_id"], row["model_id"])]
    keys += [(numbers, "style_numbers", bare_number(n), n) for n in _split(row.get("style_numbers", ""))]
    for known, column, key, shown in keys:
        if key and key in known and known[key] != place:
            yield f"{column} is {shown!r}", f"a value of its own; {known[key]} has it too"
        known.setdefault(key, place)


def bare_number(text: str) -> str:
    """Return a style number without case and separators: ``PLV84/112`` and ``plv 84-112`` are one number."""
    return re.sub(r"[^0-9a-z]", "", text.lower())


def _typed(row: Row) -> dict[str, object]:
    typed: dict[str, object] = dict(row)
    typed.update({name: row.get(name) or None for name in TEXTS})
    typed.update({part: ";".join(_split(row.get(part, "?"))) for part in PARTS})
    typed.update({name: _split(row.get(name, "")) for name in LISTS})
    typed["made_from"] = _decimal_year(row.get("made_from", ""), 0)
    typed["made_to"] = _decimal_year(row.get("made_to", ""), 1)
    typed["style_year"] = int(row["style_year"]) if row.get("style_year") else None
    typed["life_factor"] = float(row.get("life_factor") or 1)
    return typed


def _split(cell: str) -> list[str]:
    return [piece.strip() for piece in cell.split(";") if piece.strip()]


def _decimal_year(month: str, end: int) -> float | None:
    found = MONTH.fullmatch(month)
    return int(found[1]) + (int(found[2]) - 1 + end) / 12 if found else None


def _frame(rows: list[dict[str, object]]) -> pl.DataFrame:
    """Return rows as a frame with the contract's columns first, then whatever else the files hold."""
    more = sorted({name for row in rows for name in row} - SCHEMA.keys())
    schema = {**SCHEMA, **{name: pl.String() for name in more}}
    filled = [{name: row.get(name) for name in schema} for row in rows]
    return pl.DataFrame(filled, schema=schema, orient="row").sort("model_id")
