"""Refit: the numbers of ``rules/`` fitted to what was found and confirmed; a new folder, a report of every change."""

import os
import shutil
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path
from typing import Any

import polars as pl

from triage import catalogue as rules
from triage.catalogue import Catalogue
from triage.catalogue.matching import MatchWeights
from triage.errors import fail
from triage.learning.belief import RECORD, Kept, Place, belief_of, first_belief, first_signs, read_record
from triage.learning.changes import WEIGHTS, Left, life_changes, match_changes, parts_text, weight_changes
from triage.learning.evidence import CONFIRMED, Arrived, read_arrived
from triage.learning.fitting import Fitted, fit
from triage.learning.new_rules import Change, figures_text, kept_name, put_in_place, write_rules
from triage.match import refit as matching
from triage.store import Connection, frame
from triage.trial import last_night, moves, trial, trial_text

REPORT = "refit.txt"
JUDGED = """
SELECT listing_id, concat_ws(' ', title, named) AS title, body, size_text, stated_year_lo, stated_year_hi,
  stated_year_kind
FROM listing
WHERE listing_id IN (SELECT listing_id FROM confirmation)
ORDER BY listing_id
"""


@dataclass(frozen=True)
class Learnt:
    """What was fitted to what.

    Attributes:
        changes: Numbers that change.
        left: Numbers something was found of, but too little.
        told: How much was found, and how well old and new numbers fit it, in lines.
    """

    changes: list[Change] = field(default_factory=list)
    left: list[Left] = field(default_factory=list)
    told: list[str] = field(default_factory=list)

    def __add__(self, other: "Learnt") -> "Learnt":
        return Learnt(self.changes + other.changes, self.left + other.left, self.told + other.told)


@dataclass(frozen=True)
class Report:
    """A refit: what was learnt, the new folder, what would change in last night's calls, where the old rules went."""

    learnt: Learnt
    out: Path
    called: pl.DataFrame
    kept: Path | None

    @property
    def content(self) -> dict[str, Any]:
        """Return the report as JSON values."""
        return {
            "out": str(self.out),
            "kept": None if self.kept is None else str(self.kept),
            "told": self.learnt.told,
            "changes": [
                {
                    "file": one.place.file, "number": one.place.number, "before": one.before, "after": one.after,
                    "interval_90": one.interval, "evidence": one.evidence, "before_any_fit": one.first,
                }
                for one in sorted(self.learnt.changes)
            ],
            "left": [
                {"file": one.place.file, "number": one.place.number, "evidence": one.evidence}
                for one in sorted(self.learnt.left)
            ],
            "moves": moves(self.called).to_dicts(),
            "calls": self.called.to_dicts(),
        }  # fmt: skip


def refit(
    store: Connection,
    catalogue: Catalogue,
    out: Path,
    as_of: date,
    apply: bool = False,
    beside: tuple[Sequence[Path], Sequence[Path]] = ((), ()),
) -> Report:
    """Fit ageing, signs and the matcher, and write the rules with the new numbers to a new folder.

    Args:
        out: The new folder. With ``apply`` it may be there from a refit that gave the same numbers.
        as_of: Date of the change.
        apply: Put the new rules where ``catalogue`` was read from; what was there is kept beside, under a dated name.
        beside: Construction tables and buyer files that go with the rules.

    Raises:
        TriageError: The folder exists, too little was found to change anything, or the rules to be replaced are those
            that came with the program; nothing was written.
    """
    folder = catalogue.folder.resolve()
    if apply and folder == rules.own_rules().resolve():
        fail(
            "--apply",
            "the rules are those that came with the program",
            f"--rules DIR, or rules = {str(out)!r} from now on",
        )
    if out.exists() and not apply:
        fail(f"OUT {out}", "exists already", "a folder that does not; nothing is overwritten")
    if apply:
        kept_name(folder, as_of)
    record = read_record(folder)
    learnt = _from_inspections(store, catalogue, record) + _from_confirmations(store, catalogue, record)
    if not learnt.changes:
        least = catalogue.learning
        expected = f"at least {least.least_parts} inspected parts of a material (triage inspect LISTING PART fit)"
        also = f", or {least.least_confirmed} confirmed releases (triage confirm LISTING RELEASE)"
        fail("refit", f"too little: {'; '.join(learnt.told)}", expected + also)
    fresh = out.with_name(f".{out.name}.fresh")
    shutil.rmtree(fresh, ignore_errors=True)
    try:
        write_rules(folder, fresh, learnt.changes, record, as_of)
        changed = trial(store, rules.load(fresh, *beside), last_night(store))
        report = Report(learnt, out, changed, None)
        _settle(fresh, out, report_text(report))
    finally:
        shutil.rmtree(fresh, ignore_errors=True)
    return replace(report, kept=put_in_place(out, folder, as_of)) if apply else report


def _settle(fresh: Path, out: Path, text: str) -> None:
    """Give the fresh rules their name; where rules of that name are, they must hold the same numbers."""
    if out.exists():
        if _files(out) != _files(fresh):
            fail(f"OUT {out}", "holds other rules than this refit gives", "a folder this refit wrote, or a new name")
        shutil.rmtree(out)
    (fresh / REPORT).write_text(text, "utf-8", newline="\n")
    os.replace(fresh, out)


def _files(folder: Path) -> dict[Path, bytes]:
    """Return every file of rules but those that say when they were fitted."""
    files = (path.relative_to(folder) for path in folder.rglob("*") if path.is_file())
    return {path: (folder / path).read_bytes() for path in files if path.name not in (REPORT, RECORD)}


def _from_inspections(store: Connection, catalogue: Catalogue, record: Mapping[Place, Kept]) -> Learnt:
    if not store.execute("SELECT count(*) FROM inspection").fetchall()[0][0]:
        return Learnt(told=["no inspections"])
    keys = tuple(sorted(catalogue.materials))
    arrived = read_arrived(store, catalogue, first_signs(catalogue.signs, record))
    fitted = fit(arrived.inspected, belief_of(catalogue, keys, arrived.weights, record))
    lives, few = life_changes(catalogue, keys, arrived, fitted, record)
    weights, seldom = weight_changes(catalogue, arrived, fitted, record)
    return Learnt(lives + weights, few + seldom, _told_of(arrived, fitted))


def _told_of(arrived: Arrived, fitted: Fitted) -> list[str]:
    lines = [parts_text(arrived)]
    if arrived.left_out.height:
        ids = ", ".join(arrived.left_out["listing_id"].head(5))
        lines.append(f"left out: {arrived.left_out.height} pairs ({ids}): {arrived.left_out['why'][0]}")
    if arrived.listing_ids:
        before, after = -fitted.before.mean(), -fitted.log_likelihood.mean()
        lines.append(
            f"log loss of what was found, nats a pair: {before:.4f} before any fit, {after:.4f} after, on the same "
            "pairs, which flatters; only bought pairs are inspected"
        )
    return lines


def _from_confirmations(store: Connection, catalogue: Catalogue, record: Mapping[Place, Kept]) -> Learnt:
    confirmed = frame(store, CONFIRMED)
    told = f"{confirmed.height} confirmed releases"
    if confirmed.height < catalogue.learning.least_confirmed:
        return Learnt(told=[told])
    weights = catalogue.match_weights
    first = _first_weights(weights, record)
    matched = matching.refit(frame(store, JUDGED), confirmed, catalogue.constructions, weights, first)
    lines = [told]
    for name, one in (("before", matched.before), ("after", matched.after)):
        lines.append(
            f"  {name}: log loss {one.log_loss:.4f} a match, calibration error {one.calibration_error:.3f}, "
            f"{one.accepted_right} of {one.accepted} accepted are right (95 % sure of {one.wilson_lo:.3f} or more)"
        )
    return Learnt(match_changes(catalogue, matched, record), told=lines)


def _first_weights(match: MatchWeights, record: Mapping[Place, Kept]) -> MatchWeights:
    """Return the matcher's weights as they were before any fit."""
    tables = {}
    for table in ("scale", "prior"):
        now = getattr(match.weights, table)
        first = {
            name: first_belief(record, Place(WEIGHTS, f"{table}.{name}"), (value,))[0]
            for name, value in now.model_dump().items()
        }
        tables[table] = now.model_copy(update=first)
    return match.model_copy(update={"weights": match.weights.model_copy(update=tables)})


def report_text(report: Report) -> str:
    """Return the report in words: how much was found, every changed number, what stays, which calls would change."""
    learnt = report.learnt
    lines = [*learnt.told, "", f"{len(learnt.changes)} numbers fitted"]
    for change in sorted(learnt.changes):
        moved = f"{figures_text(change.before)} -> {figures_text(change.after)}"
        low, high = change.interval
        lines.append(
            f"  {change.place.file} {change.place.number}: {moved} (90 %: {low:.3g} to {high:.3g}; {change.evidence})"
        )
    if learnt.left:
        lines += ["", f"{len(learnt.left)} numbers stay as they are: too little was found"]
        lines += [f"  {one.place.file} {one.place.number}: {one.evidence}" for one in sorted(learnt.left)]
    return "\n".join(lines) + "\n\n" + trial_text(report.called, "the new numbers")
