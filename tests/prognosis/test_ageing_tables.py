"""A bad table is never read half: every fault of every table is named with its file and line."""

import shutil
from pathlib import Path

import pytest

from triage import catalogue
from triage.catalogue.climates import load_climates
from triage.catalogue.materials import load_materials, load_unknown
from triage.errors import Problem, TriageError

MATERIALS = "ageing/materials.toml"
BASIS = 'basis = "eta M-S2 and our_judgement; Ea as pu_ester_midsole, M-S1; box our_judgement"'


@pytest.fixture
def rules(tmp_path) -> Path:
    """Return a copy of the rules that may be spoilt."""
    return Path(shutil.copytree(Path(__file__).parents[2] / "rules", tmp_path / "rules"))


def spoil(path: Path, old: str, new: str) -> None:
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), "utf-8")


def faults(rules: Path) -> list[str]:
    problems: list[Problem] = []
    materials = load_materials(rules / MATERIALS, problems)
    load_unknown(rules / "ageing/unknown.toml", frozenset(materials), problems)
    load_climates(rules, problems)
    return [str(problem).replace(str(rules), "rules") for problem in problems]


@pytest.mark.parametrize(
    ("table", "old", "new", "line", "said"),
    [
        (MATERIALS, "ea_j_mol = [55000, 75000, 85000]", "ea_j_mol = [55, 75, 85]", 24, "looks like kJ/mol"),
        (MATERIALS, "ea_j_mol = [55000, 75000, 85000]", "ea_j_mol = [5, 75000, 85000]", 24, "J/mol, 10000 to 200000"),
        (MATERIALS, "beta = [2.5, 3.5, 5.0]", "beta = [3.6, 3.5, 5.0]", 22, "lo <= mid <= hi"),
        (MATERIALS, "beta = [2.5, 3.5, 5.0]", "beta = [0.5, 3.5, 5.0]", 22, "greater than or equal to 1"),
        (MATERIALS, "eta_years = [11.0, 15.0, 20.0]", "eta_years = [11.0, 15.0]", 23, "eta_years"),
        (MATERIALS, "rh_exponent = [0.7, 1.0, 1.3]", "rh_exponent = [0.7, 1.0, 50]", 25, "less than or equal to 2"),
        (MATERIALS, "short = ", "shrot = ", 19, "shrot"),
        (MATERIALS, 'mode = "hydrolysis"', 'mode = "rust"', 20, "'rust'"),
        ("climates.csv", ",20.0,55.0,0.30,", ",20.0,0.55,0.30,", 2, "rh_pct is '0.55'"),
        ("climates.csv", ",20.0,55.0,0.30,", ",293,55.0,0.30,", 2, "temp_c is '293'"),
        ("climates.csv", ",20.0,55.0,0.30,", ",20.0,55.0,0.05,", 2, "log_sd is '0.05'"),
        ("climates.csv", "Dfa;Dwa", "Cfb;Dwa", 3, "class Cfb is of temperate-oceanic too"),
        ("countries.csv", "AE,arid-hot", "AE,arid-hat", 3, "'arid-hat'"),
        ("countries.csv", "AE,arid-hot", "AD,arid-hot", 3, "AD stands twice"),
        ("countries.csv", "AE,arid-hot", "uae,arid-hot", 3, "'uae'"),
        ("storage.toml", "rh_shift_pct = 8.0", "rh_shift_pct = 80.0", 13, "rh_shift_pct is '80.0'"),
    ],
)  # fmt: skip
def test_a_fault_is_named_with_its_line_and_what_was_expected(rules, table, old, new, line, said):
    spoil(rules / table, old, new)
    found = faults(rules)
    assert any(fault.startswith(f"rules/{table}:{line}:") and said in fault for fault in found), found


@pytest.mark.parametrize(
    ("table", "old", "new", "said"),
    [
        (MATERIALS, "load_bearing = true\n", "", "pu_ester_midsole.load_bearing"),
        (MATERIALS, BASIS, 'basis = ""', "basis is ''"),
        (MATERIALS, BASIS, 'basis = "known to everybody"', "a key of sources.toml, our_judgement or common_practice"),
        ("climates.csv", "our_judgement on M-C1 M-C2: room that", "a room that", "source is 'a room that"),
        ("climates.csv", "unknown,,not known", "elsewhere,,not known", "no climate 'unknown'"),
        ("ageing/unknown.toml", "pu_ester_midsole = 0.40", "pu_ester_midsole = 0.30", "midsole sums to 0.9"),
        ("ageing/unknown.toml", "pu_ester_midsole = 0.40", "pu_esther = 0.40", "'pu_esther'"),
        ("ageing/unknown.toml", "[mix.bond]", "[mix.heel]", "part 'heel'"),
        ("ageing/unknown.toml", 'source = "our_judgement', 'source = "somebody', "source is 'somebody"),
    ],
)  # fmt: skip
def test_a_missing_source_or_share_is_named(rules, table, old, new, said):
    spoil(rules / table, old, new)
    assert any(said in fault for fault in faults(rules))


def test_all_faults_of_all_tables_are_named_at_once(rules):
    spoil(rules / MATERIALS, "ea_j_mol = [55000, 75000, 85000]", "ea_j_mol = [55, 75, 85]")
    spoil(rules / MATERIALS, "eta_years = [5.0, 8.0, 12.0]", "eta_years = [5.0, 18.0, 12.0]")
    spoil(rules / "climates.csv", ",20.0,55.0,0.30,", ",20.0,0.55,0.30,")
    spoil(rules / "countries.csv", "AE,arid-hot", "AE,arid-hat")
    spoil(rules / "storage.toml", "rate_factor = 1.25", "rate_factor = -1")
    spoil(rules / MATERIALS, "Ea as pu_ester_midsole, M-S1", "Ea as pu_ester_midsole, M-S99")
    with pytest.raises(TriageError) as caught:
        catalogue.load(rules)
    found = [str(problem) for problem in caught.value.problems]
    for said in ("pu_ester_midsole.ea_j_mol", "pu_ester_basic.eta_years", "rh_pct", "arid-hat", "rate_factor", "M-S99"):
        assert any(said in fault for fault in found), said
