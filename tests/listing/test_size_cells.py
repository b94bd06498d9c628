"""Hand-made size cells: at least 99 % read as a person would, and none read as another size.

The expectations name sizes; the foot length of a size follows from ``rules/words/size.toml``, which
``tests/published/test_shoe_sizes.py`` holds against the standards. How sellers write: common practice, no source.
"""

from pathlib import Path

import polars as pl
import pytest

from triage.catalogue.words import Words
from triage.listing.sizes import read_sizes

Feet = tuple[float, float]


def foot(size: str, words: Words) -> Feet:
    """Return the foot length of a size such as "EU 42.5"."""
    name, number = size.split(" ")
    system = words.size.systems[name]
    lo, hi = ((float(number) + offset) * system.step_mm for offset in (system.offset_lo, system.offset_hi))
    return round(lo, 1), round(hi, 1)


def expected_feet(meaning: str, words: Words) -> tuple[str | None, Feet] | None:
    """Return the systems stated and the foot length that a line of the table expects."""
    if meaning == "?":
        return None
    joint = " and " if " and " in meaning else " or "
    sizes = meaning.removeprefix("~").split(joint)
    feet = [foot(size, words) for size in sizes]
    los, his = [lo for lo, _ in feet], [hi for _, hi in feet]
    span = (max(los), min(his)) if joint == " and " else (min(los), max(his))
    systems = list(dict.fromkeys(size.split(" ")[0] for size in sizes))
    return (None if meaning.startswith("~") else "/".join(systems)), span


@pytest.fixture(scope="module")
def cells(words: Words) -> list[tuple[str, str, object, object]]:
    """The table: country, cell, what is expected, what was read."""
    lines = (Path(__file__).parent / "sizes.txt").read_text("utf-8").splitlines()
    parted = [line.split(" | ", 2) for line in lines if line and not line.startswith("#")]
    rows = [(country, column, *rest.rsplit(" => ", 1)) for country, column, rest in parted]
    table = pl.DataFrame(rows, schema=["country", "column", "cell", "meaning"], orient="row").with_row_index("row")
    asked = table.select(
        "row",
        title=pl.when(pl.col("column") == "title").then("cell").otherwise(pl.lit("Wanderschuhe")),
        size=pl.when(pl.col("column") == "size").then("cell"),
        size_system=pl.lit(None, pl.String),
        set_country=pl.when(pl.col("country") != "xx").then(pl.col("country").str.to_uppercase()),
        ships_from=pl.lit(None, pl.String),
        language=pl.when(pl.col("country") == "jp").then(pl.lit("ja")),
    )
    read = read_sizes(asked, words.size)
    found = [
        None if lo is None else (system, (lo, hi))
        for system, lo, hi in read.select("size_system", "foot_mm_lo", "foot_mm_hi").iter_rows()
    ]
    expected = [expected_feet(meaning, words) for meaning in table["meaning"]]
    return list(zip(table["country"], table["cell"], expected, found, strict=True))


def test_there_are_three_hundred_size_cells(cells: list) -> None:
    assert len({(country, cell) for country, cell, *_ in cells}) >= 300


def test_ninety_nine_of_a_hundred_size_cells_are_read_right(cells: list) -> None:
    wrong = [line for line in cells if line[2] != line[3]]
    assert len(wrong) <= 0.01 * len(cells), wrong


def test_no_size_cell_is_read_as_another_size(cells: list) -> None:
    silent = [line for line in cells if line[2] != line[3] and line[3] is not None]
    assert silent == []
