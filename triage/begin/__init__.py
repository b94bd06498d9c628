"""The first evening: a working folder, laid out ready for ``triage nightly``."""

import csv
import io
import shlex
import shutil
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from triage.begin.questions import ask, countries, usual
from triage.catalogue import Catalogue
from triage.catalogue.buyers import Buyer
from triage.catalogue.constructions import PARTS
from triage.errors import Problem, TriageError, fail

__all__ = ["begin"]

BUYER = "me"
COLUMNS = (
    "model_id", "maker", "maker_aliases", "model", "aliases", "nicknames", "style_numbers", "edition", "made_from",
    "made_to", "style_year", "colourway", "category", *PARTS, "life_factor", "note", "source",
)  # fmt: skip
# Where each file goes, and the template it is made from.
FILES = {
    "triage.toml": "triage.toml",
    f"buyers/{BUYER}.toml": "buyer.toml",
    "constructions/COLUMNS.md": "COLUMNS.md",
    "schedule/crontab": "crontab",
    "schedule/triage.service": "triage.service",
    "schedule/triage.timer": "triage.timer",
    "START.md": "START.md",
}
TABLE = "constructions/mine.csv"


def begin(folder: Path, catalogue: Catalogue, asking: bool) -> str:
    """Lay out a working folder and return what to do next; nothing that is there is overwritten.

    Args:
        folder: Made when missing.
        catalogue: The rules: countries served, climates, materials.
        asking: Put the questions about the buyer in the terminal; else every answer is the usual one.

    Raises:
        TriageError: Something of the same name is there already, or the folder can't be written; nothing was written.
    """
    _ensure_free(folder)
    profile = (ask if asking else usual)(catalogue)
    values = profile | {
        "buyer": BUYER,
        "d": _defaults(),
        "served": countries(catalogue),
        "climates": sorted(catalogue.climates.climates),
        "materials": sorted(catalogue.materials.items()),
        **_places(folder),
    }
    made = Environment(
        loader=PackageLoader("triage.begin"), undefined=StrictUndefined, trim_blocks=True, keep_trailing_newline=True,
        autoescape=False,  # no page: settings and notes
    )  # fmt: skip
    texts = {name: made.get_template(template).render(values) for name, template in FILES.items()}
    texts[TABLE] = _heading()
    try:
        (folder / "inbox").mkdir(parents=True, exist_ok=True)
        for name, text in texts.items():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            (folder / name).write_text(text, "utf-8", newline="\n")
    except OSError as error:
        fail(str(folder), str(error.strerror or error), "a folder that can be written")
    return _next(folder, values["program"])


def _ensure_free(folder: Path) -> None:
    if folder.exists() and not folder.is_dir():
        fail(str(folder), "a file", "the name of a folder, new or empty")
    taken = [folder / name for name in (*FILES, TABLE) if (folder / name).exists()]
    if taken:
        raise TriageError(
            [Problem(str(path), "is there already", "another folder: nothing is overwritten") for path in taken], 2
        )


def _defaults() -> Mapping[str, Any]:
    return {name: field.default for name, field in Buyer.model_fields.items()}


def _places(folder: Path) -> dict[str, str]:
    """Return the folder and the program as cron and systemd need them: absolute, quoted each in its own way."""
    beside = Path(sys.executable).with_name("triage")
    found = str(beside) if beside.exists() else shutil.which("triage") or "triage"
    place = str(folder.resolve())
    return {
        "program": shlex.quote(found),
        "folder": shlex.quote(place).replace("%", r"\%"),
        "program_unit": _unit(found),
        "folder_unit": place.replace("%", "%%"),
    }


def _unit(path: str) -> str:
    # Source: systemd.service(5), "Command lines": quotes, backslashes, % and $ have a meaning there (from memory).
    escaped = path.replace("\\", "\\\\").replace('"', '\\"').replace("%", "%%").replace("$", "$$")
    return f'"{escaped}"' if " " in path else escaped


def _heading() -> str:
    stream = io.StringIO()
    csv.writer(stream, lineterminator="\n").writerow(COLUMNS)
    return stream.getvalue()


def _next(folder: Path, program: str) -> str:
    return "\n".join(
        [
            f"{folder} is laid out; START.md in it says the same at length. Next:",
            f"  1. save the exports of your searches into {folder / 'inbox'}",
            f"  2. cd {shlex.quote(str(folder))} && {program} nightly",
            f"  3. open {folder / 'reports' / 'latest' / 'index.html'}",
            f"What you look for is in {folder / 'buyers' / f'{BUYER}.toml'}, all settings in {folder / 'triage.toml'}.",
        ]
    )
