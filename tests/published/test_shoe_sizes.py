"""Shoe sizes against the published standards.

Sources: ISO 9407:2019 (Mondopoint: foot length in mm, steps of 5 mm); ISO 19407:2023, table 2, recommended size
marking of adults, all 23 rows as two independent public copies give them. The standard calls its conversions a
guideline, so a size is read as an interval that must hold the published foot length.
"""

from math import floor
from pathlib import Path

import polars as pl
import pytest

from triage.catalogue.words import Words, load_words
from triage.listing.sizes import read_sizes

# foot mm, EU, UK, US men, US women
ROWS = [
    (210, 33.5, 1.5, 2.5, 3.5), (215, 34, 2.5, 3.5, 4.5), (220, 35, 3, 4, 5), (225, 35.5, 3.5, 4.5, 5.5),
    (230, 36.5, 4, 5, 6), (235, 37, 4.5, 5.5, 6.5), (240, 38, 5.5, 6.5, 7.5), (245, 38.5, 6, 7, 8),
    (250, 39.5, 6.5, 7.5, 8.5), (255, 40, 7, 8, 9), (260, 41, 7.5, 8.5, 9.5), (265, 41.5, 8.5, 9.5, 10.5),
    (270, 42.5, 9, 10, 11), (275, 43, 9.5, 10.5, 11.5), (280, 44, 10, 11, 12), (285, 44.5, 10.5, 11.5, 12.5),
    (290, 45.5, 11, 12, 13), (295, 46, 12, 13, 14), (300, 47, 12.5, 13.5, 14.5), (305, 47.5, 13, 14, 15),
    (310, 48.5, 13.5, 14.5, 15.5), (315, 49, 14, 15, 16), (320, 50, 15, 16, 17),
]  # fmt: skip

# EU size and foot length in mm of an industrial boot maker's public size sheet
INDUSTRIAL = [(34, 213.34), (35, 220), (36, 226.6), (42, 266.8), (48, 307)]


@pytest.fixture(scope="module")
def words() -> Words:
    problems: list = []
    loaded = load_words(Path(__file__).parents[2] / "rules" / "words", problems)
    assert loaded is not None, problems
    return loaded


def feet(cells: list[str], words: Words) -> list[tuple[float, float]]:
    """Return the foot interval our reader gives each size cell."""
    frame = pl.DataFrame({"size": cells}).with_row_index("row")
    names = ("title", "size_system", "ships_from", "set_country", "language")
    return (
        read_sizes(frame.with_columns(**{name: pl.lit(None, pl.String) for name in names}), words.size)
        .select("foot_mm_lo", "foot_mm_hi")
        .rows()
    )


def test_steps_are_the_paris_point_the_barleycorn_and_the_millimetre(words: Words) -> None:
    systems = words.size.systems
    assert systems["EU"].step_mm == pytest.approx(20 / 3, abs=1e-6)  # Paris point, 2/3 cm
    for name in ("UK", "US", "US-W", "US-Y"):
        assert systems[name].step_mm == pytest.approx(25.4 / 3, abs=1e-6)  # barleycorn, 1/3 in
    assert systems["MONDO"].step_mm == 1
    assert systems["JP"].step_mm == 10


def test_the_published_rows_obey_the_rules_they_are_known_to_obey() -> None:
    eu = [floor((0.15 * mm + 2) * 2) / 2 for mm, *_ in ROWS]
    assert eu == [row[1] for row in ROWS]
    uk = [round((3 * mm / 25.4 - 23.04) * 2) / 2 for mm, *_ in ROWS]
    assert [mm for (mm, _, stated, *_), ours in zip(ROWS, uk, strict=True) if ours != stated] == [210]


@pytest.mark.parametrize(("system", "column"), [("EU", 1), ("UK", 2), ("US", 3), ("US women", 4)])
def test_every_published_foot_length_lies_in_the_interval_of_its_size(system: str, column: int, words: Words) -> None:
    found = feet([f"{system} {row[column]}" for row in ROWS], words)
    missed = [(row[0], span) for row, span in zip(ROWS, found, strict=True) if not span[0] <= row[0] <= span[1]]
    assert missed == []


def test_mondopoint_is_the_foot_length_itself(words: Words) -> None:
    for (mm, *_), (lo, hi) in zip(ROWS, feet([f"mondopoint {row[0]}" for row in ROWS], words), strict=True):
        assert (lo + hi) / 2 == mm


def test_japanese_sizes_are_the_foot_length_in_centimetres(words: Words) -> None:
    for (mm, *_), (lo, hi) in zip(ROWS, feet([f"{row[0] / 10}cm" for row in ROWS], words), strict=True):
        assert (lo + hi) / 2 == mm


def test_an_industrial_size_sheet_lies_in_the_european_intervals(words: Words) -> None:
    found = feet([f"EU {size}" for size, _ in INDUSTRIAL], words)
    for (_, mm), (lo, hi) in zip(INDUSTRIAL, found, strict=True):
        assert lo <= mm <= hi


def test_an_interval_is_no_wider_than_two_whole_sizes(words: Words) -> None:
    # wide enough for the published rows and a half size of doubt, narrow enough to say something
    for lo, hi in feet(["EU 42", "UK 8", "US 9", "US women 10", "27 cm", "mondopoint 270"], words):
        assert 5 <= hi - lo <= 2 * 25.4 / 3


def test_one_published_row_in_three_systems_narrows_to_that_row(words: Words) -> None:
    found = feet([f"UK {uk:g} / US {us:g} / EU {eu:g}" for _, eu, uk, us, _ in ROWS], words)
    for (mm, *_), (lo, hi) in zip(ROWS, found, strict=True):
        assert lo <= mm <= hi
        assert hi - lo <= 12.5
