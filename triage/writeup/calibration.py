"""Calibration in words: one view, written as text and as a page with its reliability diagram."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl

from triage.keeping.held import usual
from triage.learning.calibration import LEAST, Asks, Calibration, Score, Surplus
from triage.writeup import phrase
from triage.writeup.explain import columns
from triage.writeup.folder import write_file
from triage.writeup.knowledge import Catalogue
from triage.writeup.page import page
from triage.writeup.parts import material_words

Row = Mapping[str, Any]

KINDS = {
    "part": "Part by part",
    "material": "By material, as the likeliest release of the day had it",
    "sign": "By what was said of the part, whoever said it",
    "call": "By the call of the day",
    "horizon": "By whether the years a chance was for are over",
}
SELECTION = (
    "Only pairs that were bought are inspected, and they were bought because they looked good: none of this speaks of "
    "the pairs that were skipped."
)
READING = (
    "A chance is that of failing on arrival or within the buyer's years of wear; a part that is fit so far counts as "
    "fit. While those years still run, the chances must look too dark. Parts of one pair share its age and storage, so "
    "intervals over several parts are narrower than they should be."
)
# Folder of the page among the reports.
FOLDER = "calibration"
# The square of the diagram in its picture, in units of its own.
LEFT, TOP, SIDE = 46, 12, 300


@dataclass(frozen=True)
class Point:
    """A bin of the diagram: where it stands in the picture, and its line of the table."""

    x: float
    y: float
    top: float
    bottom: float
    radius: float
    line: tuple[str, str, str, str]


@dataclass(frozen=True)
class CalibrationView:
    """What text and page say alike; a table is a heading and rows of cells."""

    as_of: str
    selection: tuple[str, ...]
    warning: str
    scores: tuple[tuple[str, str], ...]
    points: tuple[Point, ...]
    tables: tuple[tuple[str, tuple[tuple[str, ...], ...]], ...]
    money: tuple[str, ...]
    pairs: tuple[tuple[str, ...], ...]
    asks: str
    fates: tuple[tuple[str, str], ...]


SLICE_HEADS = ("", "Parts", "Pairs", "Said unfit", "Found unfit", "95 % interval", "Brier", "Log loss", "")
BIN_HEADS = ("Said", "Parts", "Found unfit", "95 % interval")
PAIR_HEADS = ("Pair", "Bought", "Call", "Paid", "Expected over cost", "Came to over cost")


def view_of(found: Calibration, catalogue: Catalogue) -> CalibrationView:
    """Return the calibration in words; the catalogue has those for materials and signs."""
    tables = tuple(
        (title, tuple(_slice(row, catalogue) for row in rows.iter_rows(named=True)))
        for by, title in KINDS.items()
        if (rows := found.slices.filter(pl.col("by") == by)).height
    )
    return CalibrationView(
        as_of=phrase.day(found.as_of),
        selection=_selection(found),
        warning=_warning(found.score),
        scores=_scores(found.score) if found.score else (),
        points=tuple(_point(row, found.score.parts if found.score else 1) for row in found.bins.iter_rows(named=True)),
        tables=tables,
        money=_money(found.surplus),
        pairs=tuple(_pair(row) for row in found.money.iter_rows(named=True)),
        asks=_asks(found.asks),
        fates=tuple((fate, phrase.count(pairs, "pair")) for fate, pairs in found.censored.iter_rows()),
    )


def calibration_page(view: CalibrationView) -> str:
    """Return the calibration as a page."""
    return page(
        "calibration.html",
        view=view,
        reading=READING,
        square={"left": LEFT, "top": TOP, "side": SIDE},
        heads={"slice": SLICE_HEADS, "bin": BIN_HEADS, "pair": PAIR_HEADS},
    )


def write_calibration(out: Path, view: CalibrationView) -> Path:
    """Write the page among the reports, over an earlier one, and return its path."""
    path = out / FOLDER / "index.html"
    with usual():
        write_file(path, calibration_page(view))
    return path


def calibration_text(view: CalibrationView) -> str:
    """Return the calibration as text for a terminal."""
    lines = [f"Chances of the day against what was found, up to {view.as_of}", *view.selection]
    lines += ["", view.warning] if view.warning else []
    sections: list[tuple[str, Iterable[str]]] = [
        ("Scores", columns(view.scores)),
        ("Said and found", columns([BIN_HEADS, *(point.line for point in view.points)]) if view.points else []),
        *((title, columns([SLICE_HEADS, *rows])) for title, rows in view.tables),
        ("Expected and realised", [*view.money, *(columns([PAIR_HEADS, *view.pairs]) if view.pairs else [])]),
        ("Asks", [view.asks]),
        ("Skipped pairs, seen since (counted, not scored)", columns(view.fates)),
    ]
    for title, body in sections:
        lines += ["", title, *(f"  {line}" for line in list(body) or ["nothing yet"])]
    return "\n".join([*lines, "", READING]) + "\n"


def _selection(found: Calibration) -> tuple[str, ...]:
    said = [
        f"{phrase.count(found.weighed, 'pair')} weighed, {found.bought} bought, {found.inspected} inspected.",
        SELECTION,
    ]
    unscored = {why: phrase.count(number, "inspected part") for why, number in found.unscored.items() if number}
    said += [f"{number} not scored: {why}." for why, number in unscored.items()]
    return tuple(said)


def _warning(score: Score | None) -> str:
    if score is None:
        return "Nothing to score yet: record purchases with 'triage bought' and what you find with 'triage inspect'."
    if score.enough:
        return ""
    return (
        f"Too few to conclude from: {phrase.count(score.parts, 'part')} of {phrase.count(score.pairs, 'pair')}, "
        f"{score.unfit} unfit and {score.parts - score.unfit} fit; there is something to conclude from {LEAST} of each "
        "on, of as many pairs. Until then go by the width of the intervals."
    )


def _scores(score: Score) -> tuple[tuple[str, str], ...]:
    """Return the scores, each with what it means."""
    parts = score.brier_parts
    half = f", give or take {score.half:.3f} (95 %, pairs taken as units)" if score.half is not None else ""
    return (
        ("Brier score", f"{score.brier:.3f}{half}: 0 is perfect"),
        ("Reliability", f"+{parts.reliability:.3f}: how far found lies from said; 0 is perfect"),
        (
            "− resolution",
            f"{parts.resolution:.3f}: how far apart what was found for different chances lies; more is better",
        ),
        ("Uncertainty", f"+{parts.uncertainty:.3f}: what always saying the overall share would score"),
        (
            "Within",
            f"{'−' if parts.within < 0 else '+'}{abs(parts.within):.3f}: spread inside the tenths; the four add up",
        ),
        ("Log loss", f"{score.log_loss:.3f} nats; always saying one half is 0.693"),
    )


def _point(row: Row, of: int) -> Point:
    return Point(
        x=round(LEFT + SIDE * row["said"], 1),
        y=round(TOP + SIDE * (1 - row["found"]), 1),
        top=round(TOP + SIDE * (1 - row["found_hi"]), 1),
        bottom=round(TOP + SIDE * (1 - row["found_lo"]), 1),
        radius=round(3 + 6 * (row["parts"] / of) ** 0.5, 1),
        line=(_percent(row["said"]), str(row["parts"]), _percent(row["found"]), _range(row)),
    )


def _slice(row: Row, catalogue: Catalogue) -> tuple[str, ...]:
    few = min(row["unfit"], row["parts"] - row["unfit"], row["pairs"]) < LEAST
    off = "said too little" if row["said"] < row["found_lo"] else "said too much"
    word = "too few" if few else "in line" if row["found_lo"] <= row["said"] <= row["found_hi"] else off
    return (
        _name(row, catalogue), str(row["parts"]), str(row["pairs"]), _percent(row["said"]), _percent(row["found"]),
        _range(row), f"{row['brier']:.3f}", f"{row['log_loss']:.3f}", word,
    )  # fmt: skip


def _name(row: Row, catalogue: Catalogue) -> str:
    if row["by"] == "material":
        return material_words(row["name"], catalogue)[0]
    if row["by"] == "sign":
        key, _, state = row["name"].partition(" ")
        sign = catalogue.signs.get(key)
        return (sign.affirmed if state == "affirmed" else sign.denied) if sign else str(row["name"])
    return str(row["name"])


def _money(surplus: Surplus | None) -> tuple[str, ...]:
    if surplus is None:
        return ("No pair's worth is recorded yet: 'triage bought LISTING --worth AMOUNT'.",)
    expected, realised = (
        phrase.estimate(round(minor), surplus.currency) for minor in (surplus.expected_minor, surplus.realised_minor)
    )
    few = "" if surplus.pairs >= LEAST else "; too few to conclude from"
    return (
        f"{phrase.count(surplus.pairs, 'pair')} with a recorded worth: {expected} a pair were expected to be left over "
        f"at the price paid, {realised} were.",
        f"{surplus.at_least} of {surplus.pairs} brought at least what was expected (95 % interval of that share "
        f"{_percent(surplus.at_least_lo)} to {_percent(surplus.at_least_hi)}){few}.",
    )


def _pair(row: Row) -> tuple[str, ...]:
    amounts = (phrase.money(row[name], row["currency"]) for name in ("paid_minor", "expected_minor", "realised_minor"))
    return (phrase.plain(row["listing_id"]), phrase.day(row["held_on"]), row["call"], *amounts)


def _asks(asks: Asks) -> str:
    said = (
        f"{phrase.count(asks.asks, 'ask')} (a pair and a buyer each), {asks.answered} with an answer recorded, "
        f"{asks.silent} recorded as without reply."
    )
    if not asks.answered:
        return said
    return (
        f"{said} An answer changed the call in {asks.changed} of {asks.answered} (95 % interval of that share "
        f"{_percent(asks.changed_lo)} to {_percent(asks.changed_hi)})."
    )


def _percent(share: float) -> str:
    return f"{100 * share:.0f}{phrase.NO_BREAK}%"


def _range(row: Row) -> str:
    return f"{100 * row['found_lo']:.0f} to {100 * row['found_hi']:.0f}{phrase.NO_BREAK}%"
