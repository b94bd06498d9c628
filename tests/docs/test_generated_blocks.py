"""README and DEVELOPERS say what the program does today."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent.parent
sys.path.insert(0, str(Path(__file__).parent))

from blocks import DOCUMENTS, facts, filled  # noqa: E402


@pytest.mark.parametrize("name", DOCUMENTS)
def test_a_document_with_generated_blocks_is_up_to_date(name):
    text = (ROOT / name).read_text("utf-8")
    assert "<!-- generated: " in text
    assert filled(text) == text, "run: python tests/docs/blocks.py"


def test_the_readme_has_exactly_two_set_up_commands_that_build_a_venv():
    text = (ROOT / "README.md").read_text("utf-8")
    lines = [line for line in text.splitlines() if line.startswith("python3 -m venv .venv && ")]
    assert len(lines) == 2
    assert lines[0].endswith(".venv/bin/triage nightly demo_feeds --as-of 2026-11-25")
    assert lines[1].endswith(".venv/bin/pytest -n logical --dist loadfile")


def test_every_command_is_in_the_readme():
    done = subprocess.run([sys.executable, "-m", "triage.cli", "--help"], capture_output=True, text=True, cwd=ROOT)
    listed = done.stdout.split("Commands:")[1].splitlines()
    named = [line.split()[0] for line in listed if line.startswith("  ") and line[2] != " "]
    text = (ROOT / "README.md").read_text("utf-8")
    assert len(named) >= 6
    for name in named:
        assert re.search(rf"\*\*`triage {name}[ `]", text), name


def test_the_list_of_facts_has_one_line_a_fact_with_its_question():
    lines = facts().splitlines()[2:]
    assert len(lines) >= 70
    assert all(line.count(" | ") == 5 for line in lines)
    assert any(line.startswith("| deadstock | BOOLEAN | sold as never worn | ") and "?" in line for line in lines)
