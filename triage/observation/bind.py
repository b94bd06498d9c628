"""Which thing a condition is said of, and so which sign it makes."""

import polars as pl

from triage.observation.lexicon import EXPLAINED, FAR, Lexicon
from triage.observation.scope import between

COMMA, AND, TURN, BACKWARD, PREFERRED, NEW = 12, 8, 200, 14, 40, 200
AHEAD_OF_COMMA = 100  # "no cracks, liners clean": the liners are another statement
# What a condition is said of when it stands beside it, though no sign speaks of the two together.
PARTS = [
    "foam", "sole", "rubber", "trim", "clear", "upper", "leather", "synthetic", "mesh", "lining", "padding",
    "insole", "unit", "paint", "coat", "glue", "box", "object",
]  # fmt: skip


def bound(said: pl.DataFrame, words: pl.DataFrame, lexicon: Lexicon) -> pl.DataFrame:
    """Return conditions with their sign, where a fitting thing stands in the sentence.

    Returns:
        cid, thing, sign, sign_state, thing_start, thing_end; sign NULL where the nearest thing is
        one that no sign speaks of (a box, laces). Conditions without any fitting thing are left out.
    """
    things = words.filter(pl.col("kind") == "thing")
    pairs = said.join(things, on="sid", suffix="_t").filter(
        (pl.col("start_t") != pl.col("start")) | (pl.col("end_t") < pl.col("end"))
    )
    fits = _read(pairs.with_columns(thing=pl.col("key_t")), lexicon)
    blank = pl.lit(None, pl.String)
    blocked = (
        pairs.filter(pl.col("key_t").is_in(PARTS) & ~pl.col("key").is_in(lexicon.polarity["sign"].implode()))
        .join(fits.select("cid", "start_t"), on=["cid", "start_t"], how="anti")
        .with_columns(
            thing="key_t", sign=blank, sign_state=blank, within=pl.lit(FAR), here=pl.lit(False), prefer=pl.lit(False)
        )
    )
    apart = (pl.col("start_t") >= pl.col("end")) | (pl.col("end_t") <= pl.col("start"))
    blocked = blocked.filter(apart & (_crossed("comma") + _crossed("and") + _crossed("or") + _crossed("but") == 0))
    alone = lexicon.reads.filter(pl.col("thing") == "").group_by(key="condition").agg(reach=pl.col("within").min())
    blocked = blocked.join(alone, on="key", how="left").with_columns(within=pl.col("reach").fill_null(FAR))
    near = pl.concat([fits, blocked.select(fits.columns)], how="vertical_relaxed")
    # A condition that says something without any thing starts a statement of its own.
    near = near.with_columns(alone=pl.col("key").is_in(alone["key"].implode())).with_columns(far=_distance())
    near = near.filter(pl.col("far") < pl.col("within"))
    nearest = near.sort("cid", "far", "start_t", "sign", nulls_last=True).unique(
        "cid", keep="first", maintain_order=True
    )
    return nearest.select(
        "cid",
        "thing",
        "sign",
        "sign_state",
        thing_start="start_t",
        thing_end="end_t",
    )


def unbound(said: pl.DataFrame, lexicon: Lexicon, thing: str | pl.Expr) -> pl.DataFrame:
    """Return the sign of conditions for a thing that is not in their sentence ("" = none at all)."""
    value = pl.lit(thing) if isinstance(thing, str) else thing
    found = _read(said.with_columns(thing=value), lexicon)
    return (
        found.filter(~pl.col("here"))
        .sort("cid", "thing", "sign")
        .unique(["cid", "thing"], keep="first", maintain_order=True)
    )


def _read(said: pl.DataFrame, lexicon: Lexicon) -> pl.DataFrame:
    """Join conditions and things to the signs they make; ``denied`` picks among readings that ask for it."""
    spoken = pl.when(pl.col("denied") ^ (pl.col("state") == "denied")).then(pl.lit("denied"))
    reads = lexicon.reads.rename({"condition": "key", "state": "sign_state"})
    found = said.join(reads, on=["thing", "key"]).with_columns(spoken=spoken.otherwise(pl.lit("affirmed")))
    found = found.filter(pl.col("said").is_null() | (pl.col("said") == pl.col("spoken")))
    turned = pl.when(pl.col("sign_state") == "denied").then(pl.lit("affirmed")).otherwise(pl.lit("denied"))
    kept = pl.col("said").is_not_null() | (pl.col("spoken") == "affirmed")
    state = pl.when(pl.col("state") == EXPLAINED).then("state").when(kept).then("sign_state").otherwise(turned)
    return found.with_columns(sign_state=state).drop("spoken", "said")


def _crossed(kind: str) -> pl.Expr:
    ahead = pl.col("start_t") < pl.col("start")
    return pl.when(ahead).then(between(kind, "_t", "")).otherwise(between(kind, "", "_t"))


def _distance() -> pl.Expr:
    """Return how far a thing is from a condition: characters, and what the joints between them cost."""
    ahead = pl.col("start_t") < pl.col("start")
    gap = pl.when(ahead).then(pl.col("start") - pl.col("end_t")).otherwise(pl.col("start_t") - pl.col("end"))
    gap = pl.max_horizontal(gap, pl.lit(0))
    other_side = (~ahead & (_crossed("comma") > 0)).cast(pl.Int64) * AHEAD_OF_COMMA
    letters = pl.when(pl.col("language") == "ja").then(gap // 3).otherwise(gap)
    # "No cracks in the leather, no splits", "no peeling paint or separation": each is a statement of its own.
    fresh = (_crossed("comma") > 0) & (_crossed("no") > 0)
    listed = (_crossed("or") > 0) & (_crossed("condition") + _crossed("no") + _crossed("not") == 0)
    anew = (ahead & pl.col("alone") & pl.col("denied") & (fresh | listed)).cast(pl.Int64)
    near = pl.col("prefer").cast(pl.Int64) * PREFERRED
    backward = (~ahead & ~pl.col("noun") & (gap > 1)).cast(pl.Int64) * BACKWARD
    return (
        letters
        + COMMA * _crossed("comma")
        + NEW * anew
        + AND * _crossed("and")
        + TURN * _crossed("but")
        + backward
        + other_side
        - near
    )
