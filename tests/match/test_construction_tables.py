"""Construction tables: what a good one gives, and that a bad one names every fault with its line."""

from pathlib import Path

import pytest

from triage.catalogue.constructions import load_constructions
from triage.catalogue.matching import load_match_weights
from triage.errors import Problem

BAD = """model_id,maker,model,style_numbers,edition,made_from,made_to,style_year,midsole,life_factor
A-1,Oddmaker,Lumvar,OM-12 34,original,1990-01,1992-05,1990,pu_ester_midsole,1
A-1,Oddmaker,Lumvar 2,OM-99,original,1993-01,1994-01,1993,eva_structural,1
A-2,Oddmaker,Lumvar 3,om12/34,original,1993-01,1994-01,1993,cheese,1
A-3,Oddmaker,Lumvar 4,OM-77,copy,1994-09,1994-01,93,?,0
A-4,,Lumvar 5,OM-78,,1994-13,,,,
"""


def test_every_fault_of_a_bad_table_is_named_at_once_with_its_line(tmp_path: Path) -> None:
    path = tmp_path / "mine.csv"
    path.write_text(BAD, "utf-8")
    problems: list[Problem] = []
    table = load_constructions([path], problems, frozenset({"pu_ester_midsole", "eva_structural"})).table
    told = {(problem.place.rpartition(":")[2], problem.found) for problem in problems}
    assert told == {
        ("3", "model_id is 'A-1'"),
        ("4", "style_numbers is 'om12/34'"),
        ("4", "midsole is 'cheese'"),
        ("5", "edition is 'copy'"),
        ("5", "made_to is '1994-01'"),
        ("5", "style_year is '93'"),
        ("5", "life_factor is '0'"),
        ("6", "maker is empty"),
        ("6", "made_from is '1994-13'"),
    }
    assert all(str(path) in problem.place for problem in problems)
    assert table["model_id"].to_list() == ["A-1"]


def test_two_tables_may_not_share_an_id_or_a_style_number(tmp_path: Path) -> None:
    first, second = tmp_path / "a.csv", tmp_path / "b.csv"
    first.write_text("model_id,maker,model,style_numbers\nA-1,Oddmaker,Lumvar,OM-1234\n", "utf-8")
    second.write_text("model_id,maker,model,style_numbers\nA-1,Oddmaker,Lumvar,OM1234\n", "utf-8")
    problems: list[Problem] = []
    load_constructions([first, second], problems)
    assert [problem.found for problem in problems] == ["model_id is 'A-1'", "style_numbers is 'OM1234'"]
    assert all(f"{first}:2" in problem.expected for problem in problems)


def test_a_missing_column_means_unknown_and_an_empty_cell_means_no_such_part(tmp_path: Path) -> None:
    path = tmp_path / "mine.csv"
    path.write_text("model_id,maker,model,midsole,shelf\nA-1,Oddmaker,Lumvar,,left\n", "utf-8")
    problems: list[Problem] = []
    row = load_constructions([path], problems).table.row(0, named=True)
    assert problems == []
    assert (row["midsole"], row["outsole"], row["life_factor"], row["shelf"]) == ("", "?", 1.0, "left")


def test_a_month_runs_to_its_end(tmp_path: Path) -> None:
    path = tmp_path / "mine.csv"
    path.write_text("model_id,maker,model,made_from,made_to\nA-1,Oddmaker,Lumvar,1990-01,1992-12\n", "utf-8")
    problems: list[Problem] = []
    row = load_constructions([path], problems).table.row(0, named=True)
    assert (row["made_from"], row["made_to"]) == (1990.0, 1993.0)


@pytest.mark.parametrize("text", ["", "model_id,maker\nA-1,Oddmaker\n"])
def test_a_table_without_its_columns_is_a_problem(tmp_path: Path, text: str) -> None:
    path = tmp_path / "mine.csv"
    path.write_text(text, "utf-8")
    problems: list[Problem] = []
    load_constructions([path], problems)
    assert any("no column model" in problem.found for problem in problems)


def test_a_weight_that_is_no_number_is_named_with_its_line(tmp_path: Path) -> None:
    for name in ("weights.toml", "words.toml"):
        shipped = Path(__file__).resolve().parents[2] / "rules" / "match" / name
        (tmp_path / name).write_text(
            shipped.read_text("utf-8").replace("unrelated = 2.0", 'unrelated = "much"'), "utf-8"
        )
    problems: list[Problem] = []
    assert load_match_weights(tmp_path, problems) is None
    assert [problem.found for problem in problems] == ["prior.unrelated is 'much'"]
