"""How each part's chance to be fit falls over the years, as a picture: prognosis -> lines to draw."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from triage.writeup import phrase
from triage.writeup.knowledge import Catalogue
from triage.writeup.parts import PARTS

Array = npt.NDArray[np.float64]
# Years, shape and spread of lives.
Life = tuple[Array, Array, Array]
Row = Mapping[str, Any]

# The drawing's field, in its own units; the rest of 460 x 220 is for words.
LEFT, RIGHT, TOP, BOTTOM = 40.0, 380.0, 22.0, 190.0
LINE = 12.0
POINTS = 24
YEARS_BEYOND = 3.0
# Shape of a life whose material is not known; and how far single pairs' storage lies apart (our judgement).
SHAPE, STORAGE_SD = 2.5, 0.45
# Of 24, in the logarithm of years, these leave less than a ten thousand millionth.
HALVINGS = 40
# Made once: the halving below weighs them thousands of times a night.
NODES, WEIGHTS = np.polynomial.hermite_e.hermegauss(15)
DASHES = {
    "outsole": "", "midsole": "6 3", "cushion": "2 3", "bond": "9 3 2 3", "upper": "", "trim": "6 3", "coating": "2 3",
    "lining": "9 3 2 3",
}  # fmt: skip


@dataclass(frozen=True)
class Curve:
    """One part's line: its points, its look, and its name beside its end."""

    part: str
    points: str
    dash: str
    bearing: bool
    end_y: str
    label_y: str


@dataclass(frozen=True)
class Picture:
    """The chance to be fit over the years; ``text`` says the same in words."""

    curves: tuple[Curve, ...]
    now_x: str
    horizon_x: str
    ticks: tuple[tuple[str, str], ...]
    text: str


def picture_of(
    prognosis: Iterable[Row], shown: Iterable[str], horizon_years: float, catalogue: Catalogue
) -> Picture | None:
    """Return the picture of a pair, or None when nothing is known of its years.

    Each line is a Weibull life of the part's material, spread as far as storage and grade are uncertain, and
    drawn through the chance that stage 5 gives for the buyer's horizon. Signs and rules are not in it.

    Args:
        prognosis: Rows of one listing, likeliest release first.
        shown: Parts to draw.
        horizon_years: The buyer's horizon.
        catalogue: The materials.
    """
    wanted, rows = set(shown), dict[str, Row]()
    for row in prognosis:
        if row["horizon_years"] == horizon_years and row["part"] in wanted:
            rows.setdefault(row["part"], row)
    if not rows:
        return None
    ordered = [rows[part] for part in PARTS if part in rows]
    now = max(middle_made(row) + row["age_years"] for row in ordered)
    first = min(middle_made(row) for row in ordered)
    last = now + horizon_years + YEARS_BEYOND
    made = np.array([middle_made(row) for row in ordered])
    age = np.array([row["age_years"] for row in ordered])
    years = np.linspace(made, last, POINTS, axis=1)
    # A row a part: first as it is now, then along its line.
    scale, shape, spread = (one[:, None] for one in _lives(ordered, horizon_years, catalogue))
    fit = _fit(np.column_stack([age, years - made[:, None]]), (scale, shape, spread))
    xs, ys = _x(years, first, last).tolist(), _y(fit[:, 1:]).tolist()
    labels = _spread([line[-1] for line in ys])
    curves = tuple(
        Curve(
            row["part"], " ".join(f"{_text(x)},{_text(y)}" for x, y in zip(across, down, strict=True)),
            DASHES[row["part"]], row["load_bearing"], _text(down[-1]), _text(label),
        )
        for row, across, down, label in zip(ordered, xs, ys, labels, strict=True)
    )  # fmt: skip
    step = 5 if last - first <= 30 else 10
    ticks = range(int(-(-first // step)) * step, int(last) + 1, step)
    words = [
        f"{row['part']} {phrase.percent(now_fit)} fit now, "
        f"{phrase.percent(1 - row['p_unfit'])} in {horizon_years:g} years"
        for row, now_fit in zip(ordered, fit[:, 0].tolist(), strict=True)
    ]
    return Picture(
        curves,
        _text(_x(now, first, last)),
        _text(_x(now + horizon_years, first, last)),
        tuple((str(year), _text(_x(year, first, last))) for year in ticks),
        "By ageing alone: " + "; ".join(words) + ".",
    )


def middle_made(row: Row) -> float:
    """Return the middle of the years it may have been made in."""
    return float((row["made_lo"] + row["made_hi"]) / 2)


def _lives(rows: Sequence[Row], horizon_years: float, catalogue: Catalogue) -> Life:
    """Return the life of each row that has its chance of unfit at the horizon."""
    made_of = [
        [catalogue.materials[key] for key in str(row["material"]).split(";") if key in catalogue.materials]
        for row in rows
    ]
    shape = np.array([min((one.beta[1] for one in known), default=SHAPE) for known in made_of])
    grades = [[np.log(one.eta_years[2] / one.eta_years[0]) / 2.563 for one in known] for known in made_of]
    spread = np.hypot(STORAGE_SD, [max(known, default=STORAGE_SD) for known in grades])
    aim = np.clip([1 - row["p_unfit"] for row in rows], 1e-6, 1 - 1e-6)
    years = np.maximum([row["age_years"] + horizon_years for row in rows], 0.1)
    # Longer lives are fitter: halving finds each in the logarithm of its length.
    low, high = np.log(years) - 12, np.log(years) + 12
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        fitter = _fit(years, (np.exp(middle), shape, spread)) > aim
        low, high = np.where(fitter, low, middle), np.where(fitter, middle, high)
    return np.exp((low + high) / 2), shape, spread


def _fit(years: float | Array, life: Life) -> Array:
    scale, shape, spread = (np.asarray(one)[..., None] for one in life)
    age = np.maximum(np.asarray(years, dtype=np.float64), 0.0)[..., None] / scale
    return np.asarray(np.exp(-((age * np.exp(spread * NODES)) ** shape)) @ (WEIGHTS / WEIGHTS.sum()))


def _x(year: float | Array, first: float, last: float) -> Array:
    return np.asarray(LEFT + (np.asarray(year) - first) / max(last - first, 1e-9) * (RIGHT - LEFT))


def _y(fit: Array) -> Array:
    return np.asarray(BOTTOM - fit * (BOTTOM - TOP))


def _spread(ends: Sequence[float]) -> list[float]:
    """Return heights for the names, in the order of the lines, at least a line of text apart."""
    # Ends that are drawn at one height are told in the order of the lines, whatever their last digits.
    order = sorted(range(len(ends)), key=lambda at: (round(ends[at], 1), at))
    heights = [0.0] * len(ends)
    lowest = TOP - LINE
    for at in order:
        lowest = heights[at] = max(ends[at], lowest + LINE)
    over = max(0.0, lowest - BOTTOM)
    return [height - over for height in heights]


def _text(value: Any) -> str:
    return f"{float(value):.1f}"
