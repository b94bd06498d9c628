"""Changed numbers written into a copy of ``rules/``, cell by cell: comments, order and all else stay as they are."""

import csv
import io
import os
import shutil
from collections.abc import Mapping, Sequence
from datetime import date
from itertools import groupby
from pathlib import Path
from typing import Any, NamedTuple

import tomlkit

from triage.errors import fail
from triage.learning.belief import COLUMNS, RECORD, Figures, Kept, Place
from triage.writeup.folder import swap


class Change(NamedTuple):
    """A number that is changed.

    Attributes:
        place: Where it stands.
        before: As it is in use.
        after: As fitted; a number with a range has lo, mid and hi.
        interval: 90 % of what is believed of it after; of the middle where it has a range.
        evidence: What it was fitted to, in words.
        first: As it was before any fit.
    """

    place: Place
    before: Figures
    after: Figures
    interval: tuple[float, float]
    evidence: str
    first: Figures


def write_rules(
    folder: Path, fresh: Path, changes: Sequence[Change], record: Mapping[Place, Kept], as_of: date
) -> None:  # fmt: skip
    """Write a copy of a rules folder with the changed numbers, and with the record of every number ever fitted.

    Args:
        folder: The rules as they are; only read.
        fresh: Where the copy goes.
        record: What earlier refits changed.
    """
    shutil.copytree(folder, fresh)
    for file, of_file in groupby(sorted(changes), key=lambda change: change.place.file):
        path = fresh / file
        document = tomlkit.parse(path.read_text("utf-8"))
        for change in of_file:
            _set(document, change.place.number.split("."), change.after)
        path.write_text(tomlkit.dumps(document), "utf-8", newline="\n")
    new = {one.place: Kept(one.first, one.after, one.evidence, str(as_of)) for one in changes}
    (fresh / RECORD).write_text(_record_text({**record, **new}), "utf-8", newline="\n")


def _set(document: Any, keys: list[str], figures: Figures) -> None:
    table = document
    for key in keys[:-1]:
        table = table[key]
    if len(figures) == 1:
        table[keys[-1]] = figures[0]
        return
    for place, figure in enumerate(figures):
        table[keys[-1]][place] = figure


def _record_text(record: Mapping[Place, Kept]) -> str:
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(COLUMNS)
    for place, kept in sorted(record.items()):
        writer.writerow([*place, figures_text(kept.before), figures_text(kept.fitted), kept.evidence, kept.as_of])
    return stream.getvalue()


def figures_text(figures: Figures) -> str:
    """Return numbers as a cell holds them."""
    return " ".join(f"{figure:g}" for figure in figures)


def put_in_place(fresh: Path, folder: Path, as_of: date) -> Path:
    """Put new rules where the old ones are and return where the old ones went: beside, under a dated name.

    Raises:
        TriageError: Something of that name is there already; nothing was moved.
    """
    kept = kept_name(folder, as_of)
    swap(fresh, folder, kept)
    # Where two folders can change places in one step, the old rules now have the new ones' name.
    if fresh.exists():
        os.replace(fresh, kept)
    return kept


def kept_name(folder: Path, as_of: date) -> Path:
    """Return the name under which rules are kept that a refit replaces.

    Raises:
        TriageError: Something has it already.
    """
    kept = folder.with_name(f"{folder.name}-until-{as_of}")
    if kept.exists():
        fail(str(kept), "exists already", "no such folder: the old rules are kept there")
    return kept
