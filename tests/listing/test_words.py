"""Faults of ``rules/words/`` are named with their file and line, all at once."""

import shutil
from datetime import date
from importlib.resources import files
from pathlib import Path

import pytest

from triage.catalogue.words import load_words
from triage.errors import Problem
from triage.listing.rates import rate_on

RULES = Path(__file__).parents[2] / "rules" / "words"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return Path(shutil.copytree(RULES, tmp_path / "words"))


def change(path: Path, old: str, new: str) -> None:
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), "utf-8")


def test_the_words_of_the_project_have_no_fault() -> None:
    problems: list[Problem] = []
    assert load_words(RULES, problems) is not None
    assert problems == []


def test_every_fault_of_every_file_is_named_with_its_line(folder: Path) -> None:
    change(folder / "money.toml", 'base_currency = "EUR"', 'base_currency = "euro"')
    change(folder / "size.toml", "step_mm = 10", "step_mm = -10")
    change(folder / "twin.toml", "block_cap = 60", "block_cap = 60\nblok_cap = 60")
    (folder / "text.toml").unlink()
    (folder / "colour.toml").write_text("", "utf-8")
    problems: list[Problem] = []
    assert load_words(folder, problems) is None
    found = "\n".join(map(str, problems))
    assert "money.toml:2: base_currency is 'euro'" in found
    assert "size.toml:" in found
    assert "step_mm is '-10'" in found
    assert "twin.toml:" in found
    assert "blok_cap is '60'" in found
    assert "text.toml" in found
    assert "colour.toml: an unknown file" in found


def test_a_bare_number_can_only_be_of_a_system_that_is_set(folder: Path) -> None:
    change(folder / "size.toml", 'systems = ["MONDO"]', 'systems = ["MUNDO"]')
    problems: list[Problem] = []
    assert load_words(folder, problems) is None
    assert "MUNDO" in str(problems[0])


def test_another_base_currency_is_a_matter_of_words(folder: Path) -> None:
    change(folder / "money.toml", 'base_currency = "EUR"', 'base_currency = "USD"')
    words = load_words(folder, [])
    assert words is not None
    euro = rate_on("EUR", date(2024, 6, 8), words.money)
    pound = rate_on("GBP", date(2024, 6, 8), words.money)
    assert euro is not None
    assert pound is not None
    assert euro[1] == pound[1] == date(2024, 6, 7)
    assert 1.0 < euro[0] < pound[0]  # a pound is worth more than a euro, a euro more than a dollar


def test_a_newer_rate_file_can_be_laid_beside_the_words(folder: Path) -> None:
    (folder / "rates.zip").write_bytes(files("currency_converter").joinpath("eurofxref-hist.zip").read_bytes())
    change(folder / "money.toml", 'rate_file = ""', 'rate_file = "rates.zip"')
    words = load_words(folder, [])
    assert words is not None
    assert rate_on("USD", date(2024, 6, 7), words.money) is not None


def test_a_rate_file_that_is_not_there_is_named(folder: Path) -> None:
    change(folder / "money.toml", 'rate_file = ""', 'rate_file = "rates.zip"')
    problems: list[Problem] = []
    assert load_words(folder, problems) is None
    assert "money.toml:" in str(problems[0])
    assert "rates.zip" in str(problems[0])
