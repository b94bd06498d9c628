"""The wheel carries everything it needs: it runs the demo from a folder that knows nothing of the checkout."""

import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent


@pytest.fixture(scope="module")
def wheel(tmp_path_factory) -> Path:
    place = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "--wheel-dir", str(place), str(ROOT)], check=True
    )
    return next(place.glob("triage-*.whl"))


def test_the_wheel_carries_every_rule_file_and_template(wheel):
    packed = set(zipfile.ZipFile(wheel).namelist())
    rules = {f"triage/rules_data/{path.relative_to(ROOT / 'rules').as_posix()}"
             for path in (ROOT / "rules").rglob("*") if path.is_file()}  # fmt: skip
    assert len(rules) > 150
    assert rules <= packed
    assert "triage/contract.sql" in packed
    folders = ("writeup/templates", "desk/templates", "desk/static")
    templates = [path for name in folders for path in (ROOT / "triage" / name).rglob("*") if path.is_file()]
    assert len(templates) > 25
    assert {f"triage/{path.relative_to(ROOT / 'triage').as_posix()}" for path in templates} <= packed


def test_the_wheel_runs_the_demo_from_another_folder_in_a_fresh_venv(wheel, tmp_path):
    venv = tmp_path / "venv"
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", str(venv)], check=True)
    # What is never imported need not be compiled.
    pip = [sys.executable, "-m", "pip", "--python", str(venv / "bin" / "python")]
    subprocess.run([*pip, "install", "--quiet", "--no-compile", str(wheel)], check=True)
    shutil.copytree(ROOT / "demo_feeds", tmp_path / "saved")
    done = subprocess.run(
        [str(venv / "bin" / "triage"), "nightly", "saved", "--as-of", "2026-11-25"],
        cwd=tmp_path, capture_output=True, text=True, env={"PATH": "", "HOME": str(tmp_path)},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    desk = subprocess.run(
        [str(venv / "bin" / "triage"), "desk"], cwd=tmp_path, capture_output=True, text=True,
        env={"PATH": "", "HOME": str(tmp_path)},
    )  # fmt: skip
    assert desk.returncode == 2
    assert desk.stderr == "triage desk: uvicorn is not installed; expected pip install 'triage[desk]'\n"
    page = (tmp_path / "reports" / "2026-11-25" / "index.html").read_text("utf-8")
    assert page == (ROOT / "reports" / "2026-11-25" / "index.html").read_text("utf-8")
