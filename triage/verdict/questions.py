"""The questions of each ask: best first, in the seller's language, with what each answer would do."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from triage.catalogue.facts import Fact
from triage.catalogue.signs import Sign
from triage.once import once
from triage.verdict.asking import BIT_COUNT, SignQuestion, cells_of, single_gains
from triage.verdict.calls import Scene
from triage.verdict.money import Array, Flags
from triage.verdict.outcomes import Outcome, after_answers, chances_of_yes, hopeful_answers
from triage.verdict.states import unwearable
from triage.verdict.tables import FACT_OF_KIND, PRICE_FACT, RELEASE, SIZE, Judged, best_release, whole_minor

LANGUAGES = ("en", "de", "fr", "it", "es", "ja")
# Above any gain, minor units: puts a question first without touching what it is worth.
FIRST = 1e12
# Digits of a minor unit that a gain is compared by.
GAIN_DIGITS = 4
QUESTION = {
    "listing_id": pl.String, "buyer": pl.String, "place": pl.Int64, "sign": pl.String, "fact": pl.String,
    "text": pl.String, "language": pl.String, "gain_minor": pl.Int64, "if_yes": pl.String, "if_no": pl.String,
}  # fmt: skip


@dataclass(frozen=True)
class Texts:
    """What the catalogue says of questions: signs, facts, and the words for what was asked."""

    signs: Mapping[str, Sign]
    facts: Mapping[str, Fact]
    questions: list[SignQuestion]
    releases: Mapping[str, str]


@once
def words_of(signs: Mapping[str, Sign], facts: Mapping[str, Fact], questions: list[SignQuestion]) -> pl.DataFrame:
    """Return one row per sign or fact and language: key, language, text, yes and no in words."""
    rows = [
        (question.sign, language, sign.question.text(language), sign.affirmed, sign.denied)
        for question in questions
        for language in LANGUAGES
        if (sign := signs[question.sign]).question is not None
    ]
    words = {
        FACT_OF_KIND[RELEASE]: ("if it is the better one", "if it is another"),
        FACT_OF_KIND[SIZE]: ("if the size fits", "if it doesn't"),
        PRICE_FACT: ("if they agree", "if not"),
    }
    for fact, (yes, no) in words.items():
        asked = facts[fact].ask
        rows.extend((fact, language, asked.get(language, asked["en"]), yes, no) for language in LANGUAGES)
    return pl.DataFrame(rows, schema=["key", "language", "text", "yes", "no"], orient="row")


def question_rows(judged: Judged, texts: Texts, asks: Flags) -> pl.DataFrame:
    """Return the rows of ``question`` for the pairs that are asks.

    Args:
        asks: Which of the pairs end as an ask, [N].
    """
    rows = np.flatnonzero(asks)
    if not len(rows):
        return pl.DataFrame(schema=QUESTION)
    scene, calls = judged.scene.take(rows), judged.calls
    repair, yes = calls.repair_minor[rows], chances_of_yes(calls, rows)
    bits, kind, sign = calls.asked.bits[rows], calls.asked.kind[rows], calls.asked.sign[rows]
    price_only = calls.haggle[rows]
    gains = _gains(scene, judged, rows, texts)
    pieces = [_price_rows(scene, judged, rows[price_only])] if price_only.any() else []
    # Each question is shown with the others answered well: what is left to it alone.
    good = hopeful_answers(yes, bits)
    parts, fits = best_release(scene, kind), np.where(kind == SIZE, 1.0, scene.offer.fits)
    for bit in range(BIT_COUNT):
        at = np.flatnonzero(bits[:, bit] & (sign[:, bit] >= 0) & ~price_only)
        if not len(at):
            continue
        some, told = scene.take(at), []
        for answer in (1, 0):
            answers = good[at]
            answers[:, bit] = answer
            told.append(_wording(some, after_answers(some, repair[at], yes[at], answers, parts[at], fits[at])))
        key = [texts.questions[number].sign for number in sign[at, bit]]
        pieces.append(_piece(judged, rows[at], key, gains[at, bit], told))
    for number in (RELEASE, SIZE):
        at = np.flatnonzero((kind == number) & ~price_only)
        if not len(at):
            continue
        some = scene.take(at)
        told = _fact_outcomes(some, repair[at], yes[at], good[at], number)
        # The fact that sets releases or sizes apart comes first: the other questions hang on it.
        gain = FIRST + _fact_gains(some, judged, rows[at], number)
        piece = _piece(judged, rows[at], [FACT_OF_KIND[number]] * len(at), gain, told)
        pieces.append(_named(piece, some, judged, rows[at], texts) if number == RELEASE else piece)
    return _finished(pl.concat(pieces), judged, texts) if pieces else pl.DataFrame(schema=QUESTION)


def _gains(scene: Scene, judged: Judged, rows: npt.NDArray[np.int64], texts: Texts) -> Array:
    """Return what the answer to each bit's question alone is worth, minor units, [R, 9]."""
    calls = judged.calls
    landed = np.nan_to_num(calls.landed[rows])
    fits = scene.offer.fits[:, None, None]
    value = fits * scene.fitting.value + (1 - fits) * scene.other.value
    surplus = cells_of(scene.states * (value - landed[:, None, None]), unwearable(scene.bears)).sum(axis=1)
    model = calls.model.take(rows)
    alone = single_gains(surplus, texts.questions, model) - np.maximum(surplus.sum(axis=1), 0)[:, None]
    sign = calls.asked.sign[rows]
    return np.where(sign >= 0, alone[np.arange(len(rows))[:, None], sign.clip(0)], 0.0)


def _fact_gains(scene: Scene, judged: Judged, rows: npt.NDArray[np.int64], kind: int) -> Array:
    """Return what knowing the release, or whether the size fits, is worth alone, minor units, [R]."""
    landed = np.nan_to_num(judged.calls.landed[rows])[:, None, None]
    fits = scene.offer.fits[:, None]
    sizes = [
        (scene.states * (valued.value - landed)).sum(axis=2) * share
        for valued, share in ((scene.fitting, fits), (scene.other, 1 - fits))
    ]
    parts = (sizes[0] + sizes[1]).T if kind == RELEASE else np.stack([size.sum(axis=1) for size in sizes])
    return np.asarray(np.maximum(parts, 0).sum(axis=0) - np.maximum(parts.sum(axis=0), 0))


def _fact_outcomes(
    scene: Scene, repair: Array, yes: Array, answers: npt.NDArray[np.int64], kind: int
) -> list[pl.Series]:
    """Return what the better and the worse answer on the release or the size would do."""
    count, fits = len(repair), scene.offer.fits
    best = best_release(scene, np.full(count, RELEASE))
    if kind == SIZE:
        cases = [(np.ones_like(best), np.full(count, fit)) for fit in (1.0, 0.0)]
    else:
        cases = [(best, fits), (np.where(best.sum(axis=1, keepdims=True) < best.shape[1], 1 - best, 1.0), fits)]
    return [_wording(scene, after_answers(scene, repair, yes, answers, parts, fit)) for parts, fit in cases]


def _named(
    piece: pl.DataFrame, scene: Scene, judged: Judged, rows: npt.NDArray[np.int64], texts: Texts
) -> pl.DataFrame:
    """Return a piece on the release with the better release called by its name."""
    best = best_release(scene, np.full(len(rows), RELEASE)).argmax(axis=1)
    names = judged.construction[rows, best]
    called = pl.DataFrame(
        {
            "listing_id": judged.ids[rows],
            "called": [texts.releases.get(name, "another pair of its kind") for name in names],
        }
    )
    joined = piece.drop("called").join(called, on="listing_id", how="left")
    return joined.with_columns(called=pl.format("if it is {}", "called")).select(piece.columns)


def _wording(scene: Scene, outcome: Outcome) -> pl.Series:
    """Return what a buyer would do: buy, offer less, or leave it."""
    price = np.nan_to_num(scene.offer.price)
    near = outcome.offer >= price * (1 - scene.buyer.haggle_share)
    words = pl.DataFrame(
        {"offer": whole_minor(outcome.offer), "buys": outcome.buys, "near": near & (outcome.offer > 0)}
    ).select(
        pl.when("buys")
        .then(pl.format("buy, up to {} {}", _units("offer"), pl.lit(scene.buyer.currency)))
        .when("near")
        .then(pl.format("offer {} {}", _units("offer"), pl.lit(scene.buyer.currency)))
        .when(pl.col("offer") >= 100)
        .then(pl.format("no more than {} {}", _units("offer"), pl.lit(scene.buyer.currency)))
        .otherwise(pl.lit("skip"))
    )
    return words.to_series()


def _units(column: str) -> pl.Expr:
    """Return an amount in whole units, rounded down: an offer is never rounded up."""
    return pl.col(column) // 100


def _piece(
    judged: Judged, rows: npt.NDArray[np.int64], key: list[str], gain: Array, told: list[pl.Series]
) -> pl.DataFrame:
    languages = judged.scene.offer.column("language")
    return pl.DataFrame(
        {
            "listing_id": judged.ids.gather(rows),
            "buyer": judged.scene.buyer.id,
            "key": pl.Series(key, dtype=pl.String),
            "language": languages.gather(rows).cast(pl.String),
            "gain": gain,
            "yes_does": told[0],
            "no_does": told[1],
            "called": None,
        },
        schema_overrides={"called": pl.String},
    )


def _price_rows(scene: Scene, judged: Judged, rows: npt.NDArray[np.int64]) -> pl.DataFrame:
    offer = whole_minor(judged.calls.offer[rows])
    agree = pl.DataFrame({"offer": offer}).select(
        pl.format("buy, up to {} {}", _units("offer"), pl.lit(scene.buyer.currency))
    )
    leave = pl.Series(["skip"] * len(rows), dtype=pl.String)
    return _piece(judged, rows, [PRICE_FACT] * len(rows), judged.calls.ask_gain[rows], [agree.to_series(), leave])


def _finished(pieces: pl.DataFrame, judged: Judged, texts: Texts) -> pl.DataFrame:
    """Return the pieces with their texts and their place, best question first."""
    known = pl.col("language").is_in(LANGUAGES)
    gain = pl.col("gain")
    # Gains that are one but for rounding stand in the order of the parts, whatever other pairs were reckoned beside.
    order = [pl.col("listing_id"), -gain.round(GAIN_DIGITS), pl.col("nth")]
    return (
        pieces.with_columns(language=pl.when(known).then("language").otherwise(pl.lit("en")))
        .with_row_index("nth")
        .join(words_of(texts.signs, texts.facts, texts.questions), on=["key", "language"])
        .sort(order)
        .with_columns(
            place=pl.int_range(1, pl.len() + 1).over("listing_id"),
            sign=pl.when(pl.col("key").is_in(list(texts.signs))).then("key"),
            fact=pl.when(~pl.col("key").is_in(list(texts.signs))).then("key"),
            gain_minor=pl.when(gain < FIRST).then(gain).otherwise(gain - FIRST).clip(0).round(0).cast(pl.Int64),
            if_yes=pl.format("{}: {}", pl.coalesce("called", "yes"), "yes_does"),
            if_no=pl.format("{}: {}", "no", "no_does"),
        )
        .select(list(QUESTION))
        .sort("listing_id", "place")
    )
