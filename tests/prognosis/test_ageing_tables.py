"""A bad table is never read half: every fault of every table is named with its file and line."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from triage import catalogue
from triage.catalogue.climates import load_climates
from triage.catalogue.materials import load_materials, load_unknown
from triage.catalogue.sources import uncited
from triage.errors import Problem, TriageError

MATERIALS = "ageing/materials.toml"
HUMID = (
    '"our_judgement on M-C1 M-C2: ester PU x1.0 (0.7 to 1.4), rubber x1.2; '
    'shed our_judgement beside the three sites of M-C2"'
)
ATTIC = '"M-C2: an attic about x1.5 for everything; spread our_judgement; direction T-S11 T-S13"'
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
        ("climates.csv", ",13.0,76.0,", ",13.0,0.76,", 2, "shed_rh_pct is '0.76'"),
        ("climates.csv", ",13.0,76.0,", ",286,76.0,", 2, "shed_temp_c is '286'"),
        ("climates.csv", "humid-continental,", "temperate-oceanic,", 3, "climate temperate-oceanic stands twice"),
        ("countries.csv", "AE,arid-hot", "AE,arid-hat", 3, "'arid-hat'"),
        ("countries.csv", "AE,arid-hot", "AD,arid-hot", 3, "AD stands twice"),
        ("countries.csv", "AE,arid-hot", "uae,arid-hot", 3, "'uae'"),
        ("countries.csv", "AE,arid-hot 1.0", "AE,arid-hot 0.8", 3, "shares that sum to 1"),
        ("countries.csv", "AE,arid-hot 1.0", "AE,arid-hot 100 %", 3, "climates with their shares"),
        ("countries.csv", "AE,arid-hot 1.0", "AE,arid-hot 0.5; arid-hot 0.5", 3, "climates with their shares"),
        ("regions.csv", "AR,AR-A,", "AR,BR-A,", 2, "region is 'BR-A'; expected a region of AR"),
        ("regions.csv", "AR,AR-A,", "XX,XX-A,", 2, "country is 'XX'; expected a country of countries.csv"),
        ("regions.csv", "AR,AR-A,", "AR,Salta,", 2, "region is 'Salta'"),
        ("regions.csv", "AR,AR-B,", "AR,AR-A,", 3, "region AR-A stands twice"),
        ("regions.csv", "AR-A,arid-hot", "AR-A,arid-hat", 2, "'arid-hat'"),
        ("storage.toml", "rh_shift_pct = 15.0", "rh_shift_pct = 150.0", 20, "rh_shift_pct is '150.0'"),
        ("storage.toml", "rate_factor = 1.5", "rate_factor = 15", 14, "rate_factor is '15'"),
        ("storage.toml", "temp_shift_c = 2.0", "temp_shift_c = 293", 47, "temp_shift_c is '293'"),
        ("storage.toml", "log_sd = 0.40", "log_sd = 0.04", 30, "log_sd is '0.04'"),
        ("storage.toml", "unheated = true", "unheated = 12.5", 29, "unheated is '12.5'"),
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
        ("climates.csv", HUMID, '"known to everybody"', "humid-continental.source is"),
        ("countries.csv", "Andorra,M-C3 M-C4", "Andorra,", "AD.source is ''"),
        ("regions.csv", ",M-C3 M-C4 M-C5", ",", "AR-A.source is ''"),
        ("storage.toml", ATTIC, '"known to everybody"', "stored_attic.source is"),
        ("storage.toml", f"source = {ATTIC}", "", "stored_attic.source"),
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
    with pytest.raises(TriageError) as caught:
        catalogue.load(rules)
    found = [str(problem) for problem in caught.value.problems]
    for said in ("pu_ester_midsole.ea_j_mol", "pu_ester_basic.eta_years", "rh_pct", "arid-hat", "rate_factor"):
        assert any(said in fault for fault in found), said


def test_a_citation_of_no_source_and_one_without_its_list_are_named_by_the_check(rules):
    spoil(rules / MATERIALS, "Ea as pu_ester_midsole, M-S1", "Ea as pu_ester_midsole, M-S99")
    spoil(rules / "regions.csv", "M-C3 M-C4 M-C5", "M-C3 M-C77")
    spoil(rules / "signs/stored_attic.toml", "phrasing: T-S11", "phrasing: S11")
    known = catalogue.load(rules)
    found = [str(problem).replace(str(rules), "rules") for problem in uncited(known.folder, known.sources)]
    assert found == [
        "rules/ageing/materials.toml:41: source M-S99 is cited; expected a key of sources.toml",
        "rules/regions.csv:2: source M-C77 is cited; expected a key of sources.toml",
        "rules/signs/stored_attic.toml:8: source S11 is cited; expected a key of sources.toml, as M-S1 or T-S13",
    ]


def test_the_check_command_tells_of_citations_and_what_has_no_fault_passes(rules):
    command = [sys.executable, "-m", "triage.cli", "check", "--rules", str(rules)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    spoil(rules / "countries.csv", "M-C3 M-C4", "M-C3 M-C44")
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 3
    assert "countries.csv:2: source M-C44 is cited" in done.stderr
