"""Calibration: the chances of the day against what was found, slice by slice, and the money that came of it."""

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from triage.catalogue import Catalogue
from triage.learning import outcomes
from triage.learning.scores import Array, BrierParts, brier, brier_parts, clustered_half, log_loss, wilson
from triage.store import Connection

# Chances are held against inspections in tenths, as is usual for such a diagram.
BINS = 10
# Fewer parts of either kind than this say nothing yet (T-1.7 of the trade's notes: n_bad and n_good above 20, our
# judgement); nor do fewer pairs than this.
LEAST = 20
SLICES = ("part", "material", "sign", "call", "horizon")


@dataclass(frozen=True)
class Score:
    """How well the chances of some parts fit what was found.

    ``half`` is half the width of the 95 % interval of ``brier``, pairs taken as the independent units; None where
    there are too few of them.
    """

    parts: int
    pairs: int
    unfit: int
    brier: float
    brier_parts: BrierParts
    log_loss: float
    half: float | None

    @property
    def enough(self) -> bool:
        """Whether there are enough parts of both kinds, and pairs, to conclude from."""
        return min(self.unfit, self.parts - self.unfit, self.pairs) >= LEAST


@dataclass(frozen=True)
class Surplus:
    """What pairs were expected to leave over and did, at the price paid; minor units, of the pairs in one currency."""

    pairs: int
    currency: str
    expected_minor: float
    realised_minor: float
    at_least: int
    at_least_lo: float
    at_least_hi: float


@dataclass(frozen=True)
class Asks:
    """Asks (a pair and a buyer each): how many were answered, and how many calls an answer changed."""

    asks: int
    answered: int
    silent: int
    changed: int
    changed_lo: float
    changed_hi: float


@dataclass(frozen=True)
class Calibration:
    """Everything the calibration says.

    Attributes:
        as_of: Nothing later counts.
        weighed: Pairs that were ever weighed.
        bought: Pairs that were bought.
        inspected: Pairs with an inspection.
        unscored: Inspected parts that are not scored, by reason.
        score: Over all parts; None without any.
        bins: Rows of the reliability diagram: bin, lo, hi, parts, said, found, found_lo, found_hi.
        slices: by, name, parts, pairs, unfit, said, found, found_lo, found_hi, brier, log_loss.
        surplus: None where no pair's worth is known.
        money: Those pairs, one by one.
        asks: What asking did.
        censored: What became of skipped pairs: fate, pairs.
    """

    as_of: date
    weighed: int
    bought: int
    inspected: int
    unscored: dict[str, int]
    score: Score | None
    bins: pl.DataFrame
    slices: pl.DataFrame
    surplus: Surplus | None
    money: pl.DataFrame
    asks: Asks
    censored: pl.DataFrame

    def to_dict(self) -> dict[str, Any]:
        """Return all of it as JSON takes it."""
        frames = {name: getattr(self, name).to_dicts() for name in ("bins", "slices", "money", "censored")}
        whole = {name: getattr(self, name) for name in ("as_of", "weighed", "bought", "inspected", "unscored")}
        score = asdict(self.score) | {"enough": self.score.enough} if self.score else None
        surplus = asdict(self.surplus) if self.surplus else None
        return whole | {"score": score, "surplus": surplus, "asks": asdict(self.asks)} | frames


def calibration(store: Connection, catalogue: Catalogue, as_of: date) -> Calibration:
    """Return what was believed against what was found, up to a day.

    Chances are those of the last call up to the purchase, as they were written down that day; only pairs that were
    bought are ever inspected, so none of this speaks of the pairs that were skipped.

    Args:
        store: Store with calls, purchases and inspections.
        catalogue: Signs, buyers' horizons, and the signs of a pair in pieces.
        as_of: Nothing later counts.
    """
    outcomes.hold(store, as_of)
    try:
        found = outcomes.found_parts(store, as_of)
        money = outcomes.money(store)
        fates = outcomes.censored(store, catalogue.inspection.pieces, as_of)
        bought = outcomes.bought(store)
    finally:
        outcomes.release(store)
    scored = found.filter(pl.col("chance").is_not_null()).with_columns(horizon=_horizon(catalogue, as_of))
    return Calibration(
        as_of=as_of,
        weighed=outcomes.weighed(store, as_of),
        bought=bought,
        inspected=found["listing_id"].n_unique(),
        unscored=_unscored(found),
        score=score(scored) if scored.height else None,
        bins=reliability(scored),
        slices=_slices(scored, catalogue),
        surplus=_surplus(money),
        money=money,
        asks=_asks(store, as_of),
        censored=fates,
    )


def score(scored: pl.DataFrame) -> Score:
    """Return the score of inspected parts: listing_id, chance, unfit; at least one."""
    chance, unfit = scored["chance"].to_numpy(), scored["unfit"].cast(pl.Float64).to_numpy()
    clusters = scored["listing_id"].rank("dense").cast(pl.Int64).to_numpy() - 1
    enough_pairs = int(clusters.max()) + 1 >= LEAST
    return Score(
        parts=len(chance),
        pairs=int(clusters.max()) + 1,
        unfit=int(unfit.sum()),
        brier=brier(chance, unfit),
        brier_parts=brier_parts(chance, unfit, _bins(chance)),
        log_loss=log_loss(chance, unfit),
        half=clustered_half((chance - unfit) ** 2, clusters) if enough_pairs else None,
    )


def reliability(scored: pl.DataFrame) -> pl.DataFrame:
    """Return the rows of the reliability diagram, a bin that holds nothing left out; see ``Calibration.bins``."""
    bins = scored.with_columns(bin=pl.Series(_bins(scored["chance"].to_numpy()), dtype=pl.Int64))
    rows = _counted(bins, "bin")
    return rows.select(
        "bin", "parts", "said", "found", "found_lo", "found_hi", lo=pl.col("bin") / BINS, hi=(pl.col("bin") + 1) / BINS
    ).sort("bin")


def _bins(chance: Array) -> npt.NDArray[np.int64]:
    return np.minimum((chance * BINS).astype(np.int64), np.int64(BINS - 1))


def _counted(rows: pl.DataFrame, key: str) -> pl.DataFrame:
    """Return per key how many parts and pairs there were, what was said, and what was found with its interval."""
    chance, unfit = pl.col("chance"), pl.col("unfit").cast(pl.Float64)
    kept = chance.clip(np.finfo(np.float64).eps, 1 - np.finfo(np.float64).eps)
    counted = rows.group_by(key).agg(
        parts=pl.len().cast(pl.Int64),
        pairs=pl.col("listing_id").n_unique().cast(pl.Int64),
        unfit=pl.col("unfit").sum().cast(pl.Int64),
        said=chance.mean(),
        found=unfit.mean(),
        brier=((chance - unfit) ** 2).mean(),
        log_loss=-pl.when("unfit").then(kept.log()).otherwise((-kept).log1p()).mean(),
    )
    lo, hi = wilson(counted["unfit"].to_numpy().astype(float), counted["parts"].to_numpy().astype(float))
    return counted.with_columns(found_lo=pl.Series(lo, dtype=pl.Float64), found_hi=pl.Series(hi, dtype=pl.Float64))


def _slices(scored: pl.DataFrame, catalogue: Catalogue) -> pl.DataFrame:
    """Return every slice, the one with the most parts first within its kind."""
    kinds: Iterator[tuple[str, pl.DataFrame]] = (
        (by, outcomes.by_sign(scored, catalogue.signs) if by == "sign" else scored.with_columns(name=pl.col(by)))
        for by in SLICES
    )
    columns = ["by", "name", "parts", "pairs", "unfit", "said", "found", "found_lo", "found_hi", "brier", "log_loss"]
    return pl.concat(
        _counted(rows, "name")
        .with_columns(by=pl.lit(by))
        .select(columns)
        .sort("parts", "name", descending=[True, False])
        for by, rows in kinds
    )


def _horizon(catalogue: Catalogue, as_of: date) -> pl.Expr:
    """Return whether the years a chance was for are over: counted from the purchase, whatever was found when."""
    years = {key: buyer.horizon_years for key, buyer in catalogue.buyers.items()}
    horizon = pl.col("buyer").replace_strict(years, default=None, return_dtype=pl.Float64)
    passed = (pl.lit(as_of) - pl.col("held_on")).dt.total_days() / 365.2425
    return (
        pl.when(horizon.is_null())
        .then(pl.lit("a buyer with no file any more"))
        .when(passed >= horizon)
        .then(pl.lit("years are over"))
        .otherwise(pl.lit("years still run"))
    )


def _unscored(found: pl.DataFrame) -> dict[str, int]:
    """Return how many inspected parts have no chance to be held against, by reason."""
    none = found.filter(pl.col("chance").is_null())
    return {
        "no call on the pair up to its purchase": none.filter(pl.col("call").is_null()).height,
        "no chance was given for the part": none.filter(pl.col("call").is_not_null()).height,
    }


def _surplus(money: pl.DataFrame) -> Surplus | None:
    if money.is_empty():
        return None
    hits = (money["realised_minor"] >= money["expected_minor"]).sum()
    lo, hi = wilson(np.array([float(hits)]), np.array([float(money.height)]))
    expected, realised = money["expected_minor"].to_numpy(), money["realised_minor"].to_numpy()
    return Surplus(
        pairs=money.height,
        currency=money["currency"][0],
        expected_minor=float(expected.mean()),
        realised_minor=float(realised.mean()),
        at_least=int(hits),
        at_least_lo=float(lo[0]),
        at_least_hi=float(hi[0]),
    )


def _asks(store: Connection, as_of: date) -> Asks:
    counts = outcomes.asked(store, as_of)
    lo, hi = wilson(np.array([float(counts["changed"])]), np.array([float(counts["answered"])]))
    return Asks(**counts, changed_lo=float(lo[0]), changed_hi=float(hi[0]))
