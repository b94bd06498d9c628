"""Buyer files: every field documented, every fault named with its line, what is left out as documented."""

import re
from datetime import date
from pathlib import Path

import pytest

from triage import catalogue
from triage.catalogue.buyers import Buyer, Want
from triage.errors import TriageError

BUYERS = Path(__file__).parent.parent / "rules" / "buyers"
LEAST = """
id = "me"
name = "Me"
purposes = ["wear"]
country = "DE"
currency = "EUR"
budget_minor = 9000
"""


def loaded(tmp_path: Path, text: str) -> Buyer:
    path = tmp_path / "me.toml"
    path.write_text(text, "utf-8")
    return catalogue.load(buyers=[path]).buyers["me"]


def faults(tmp_path: Path, text: str) -> list[tuple[int, str]]:
    """Return line and what was found of every fault of a buyer's file."""
    with pytest.raises(TriageError) as error:
        loaded(tmp_path, text)
    return [(int(one.place.rsplit(":", 1)[1]), one.found) for one in error.value.problems]


@pytest.mark.parametrize("path", sorted(BUYERS.glob("*.toml")), ids=lambda path: path.stem)
def test_every_example_names_every_field_with_a_comment(path):
    text = path.read_text("utf-8")
    for field in Buyer.model_fields:
        if field == "want":
            assert "\n[[want]]\n" in text
        else:
            assert re.search(rf"^(# )?{field} = .*# \S", text, re.MULTILINE), field


def test_the_examples_together_show_every_field_of_a_want():
    text = "".join(path.read_text("utf-8") for path in BUYERS.glob("*.toml"))
    for field in Want.model_fields:
        assert re.search(rf"^{field} = ", text, re.MULTILINE), field


def test_every_field_is_described():
    for table in (Buyer, Want):
        for name, field in table.model_fields.items():
            assert field.description, name


def test_what_is_left_out_is_as_the_readme_says(tmp_path):
    one = loaded(tmp_path, LEAST)
    table = dict(
        line.split(" | ")[:2] for line in (BUYERS.parent.parent / "README.md").read_text("utf-8").splitlines()
        if line.startswith("| ") and line.count(" | ") >= 2
    )  # fmt: skip
    for name in Buyer.model_fields:
        documented = table[f"| {name}"]
        if documented != "must be there":
            value = getattr(one, name)
            assert documented == (
                "-" if value in (None, "", ()) else str(value).lower() if value is False else str(value)
            )


def test_every_fault_is_named_with_its_line(tmp_path):
    text = """id = "me"
name = "Me"
purposes = ["wear", "eat"]
country = "Germany"
currency = "EUR"
budget_minor = -1
deadline = "soon"
style_years = [1994, 1989]
wearable_floor = 70
budgte_minor = 3

[[want]]
model = "Lindravo"
sound_minor = 9000

[[want]]
model = "Holmkrag"
category = "boots"
sound_minor = 9000

[[want]]
category = "court"
sound_minor = "many"

[[want]]
category = "court"
"""
    found = faults(tmp_path, text)
    assert {(line, words.split(" is ")[0]) for line, words in found} == {
        (3, "purposes.1"), (4, "country"), (6, "budget_minor"), (7, "deadline"), (8, "style_years"),
        (9, "wearable_floor"), (10, "budgte_minor"), (16, "want.1"), (23, "want.2.sound_minor"),
        (25, "want.3.sound_minor"),
    }  # fmt: skip


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ('climate = "tropic"', "climate has 'tropic'"),
        ('hard_noes = ["odour", "smell"]', "hard_noes has 'smell'"),
        ('categories = ["court", "curling"]', "categories has 'curling'"),
    ],
)
def test_what_no_rule_knows_is_a_fault(tmp_path, line, told):
    assert faults(tmp_path, LEAST + line + "\n") == [(8, told)]


def test_a_deadline_is_a_date_or_days(tmp_path):
    as_of = date(2026, 11, 25)
    assert loaded(tmp_path, LEAST).days_left(as_of) is None
    assert loaded(tmp_path, LEAST + "deadline = 30\n").days_left(as_of) == 30
    assert loaded(tmp_path, LEAST + "deadline = 2026-12-24\n").days_left(as_of) == 29
    assert loaded(tmp_path, LEAST + "deadline = 2026-11-01\n").days_left(as_of) == -24
