"""Which thing a condition is said of, and so which sign it makes."""

import polars as pl

from triage.observation.lexicon import AFFIRMED, DENIED, EXPLAINED, FAR, PARTS, Lexicon
from triage.observation.scope import between

COMMA, AND, TURN, BACKWARD, PREFERRED, NEW = 12, 8, 200, 14, 40, 200
AHEAD_OF_COMMA = 100  # "no cracks, liners clean": the liners are another statement
JOINTS = ("comma", "and", "or", "but", "condition", "no", "not")
CONDITION = ["sid", "cid", "start", "end", "kind", "key", "noun", "state", "denied", "language"]


def bound(said: pl.DataFrame, words: pl.DataFrame, lexicon: Lexicon) -> pl.DataFrame:
    """Return conditions with their sign, where a fitting thing stands in the sentence.

    Returns:
        cid, thing, sign, sign_state, thing_start, thing_end; sign NULL where the nearest thing is
        one that no sign speaks of (a box, laces). Conditions without any fitting thing are left out.
    """
    counts = [f"n_{kind}" for kind in JOINTS]
    things = words.filter(pl.col("kind") == "thing").select("sid", "start", "end", "kind", "key", *counts)
    pairs = said.select(*CONDITION, *counts).join(things, on="sid", suffix="_t")
    pairs = pairs.filter(
        ((pl.col("start_t") != pl.col("start")) | (pl.col("end_t") < pl.col("end")))
        & (_letters() - PREFERRED < lexicon.reads["within"].max())
    )
    alone = lexicon.reads.filter(pl.col("thing") == "").group_by(key="condition").agg(reach=pl.col("within").min())
    # A condition that says something without any thing starts a statement of its own.
    pairs = pairs.with_columns(alone=pl.col("key").is_in(alone["key"].implode())).with_columns(far=_distance())
    pairs = pairs.rename({"key_t": "thing"})
    fits = _read(pairs, lexicon)
    blocked = pairs.filter(
        pl.col("thing").is_in(PARTS)
        & ~pl.col("key").is_in(lexicon.polarity["sign"].implode())
        & ((pl.col("start_t") >= pl.col("end")) | (pl.col("end_t") <= pl.col("start")))
        & (_crossed("comma") + _crossed("and") + _crossed("or") + _crossed("but") == 0)
    ).join(fits, on=["cid", "start_t"], how="anti")
    blocked = blocked.join(alone, on="key", how="left").with_columns(
        within=pl.col("reach").fill_null(FAR), sign=None, sign_state=None
    )
    kept = ["cid", "thing", "sign", "sign_state", "start_t", "end_t", "far", "within"]
    fits = fits.with_columns(far=pl.col("far") - pl.col("prefer").cast(pl.Int32) * PREFERRED)
    near = pl.concat([fits.select(kept), blocked.select(kept)], how="vertical_relaxed")
    near = near.filter(pl.col("far") < pl.col("within"))
    nearest = near.sort("cid", "far", "start_t", "sign", nulls_last=True).unique(
        "cid", keep="first", maintain_order=True
    )
    return nearest.select("cid", "thing", "sign", "sign_state", thing_start="start_t", thing_end="end_t")


def unbound(said: pl.DataFrame, lexicon: Lexicon, thing: str | pl.Expr) -> pl.DataFrame:
    """Return the sign of conditions for a thing that is not in their sentence ("" = none at all)."""
    value = pl.lit(thing, lexicon.reads["thing"].dtype) if isinstance(thing, str) else thing
    found = _read(said.with_columns(thing=value), lexicon)
    return (
        found.filter(~pl.col("here"))
        .sort("cid", "thing", "sign")
        .unique(["cid", "thing"], keep="first", maintain_order=True)
    )


def _read(said: pl.DataFrame, lexicon: Lexicon) -> pl.DataFrame:
    """Join conditions and things to the signs they make; ``denied`` picks among readings that ask for it."""
    spoken = pl.when(pl.col("denied") ^ (pl.col("state") == "denied")).then(DENIED)
    reads = lexicon.reads.rename({"condition": "key", "state": "sign_state"})
    found = said.join(reads, on=["thing", "key"]).with_columns(spoken=spoken.otherwise(AFFIRMED))
    found = found.filter(pl.col("said").is_null() | (pl.col("said") == pl.col("spoken")))
    turned = pl.when(pl.col("sign_state") == "denied").then(AFFIRMED).otherwise(DENIED)
    kept = pl.col("said").is_not_null() | (pl.col("spoken") == "affirmed")
    state = pl.when(pl.col("state") == EXPLAINED).then("state").when(kept).then("sign_state").otherwise(turned)
    return found.with_columns(sign_state=state).drop("spoken", "said")


def _crossed(kind: str) -> pl.Expr:
    ahead = pl.col("start_t") < pl.col("start")
    return pl.when(ahead).then(between(kind, "_t", "")).otherwise(between(kind, "", "_t"))


def _gap() -> pl.Expr:
    ahead = pl.col("start_t") < pl.col("start")
    gap = pl.when(ahead).then(pl.col("start") - pl.col("end_t")).otherwise(pl.col("start_t") - pl.col("end"))
    return pl.max_horizontal(gap, pl.lit(0, pl.Int32))


def _letters() -> pl.Expr:
    return pl.when(pl.col("language") == "ja").then(_gap() // 3).otherwise(_gap())


def _distance() -> pl.Expr:
    """Return how far a thing is from a condition: characters, and what the joints between them cost."""
    ahead = pl.col("start_t") < pl.col("start")
    other_side = (~ahead & (_crossed("comma") > 0)).cast(pl.Int32) * AHEAD_OF_COMMA
    # "No cracks in the leather, no splits", "no peeling paint or separation": each is a statement of its own.
    fresh = (_crossed("comma") > 0) & (_crossed("no") > 0)
    listed = (_crossed("or") > 0) & (_crossed("condition") + _crossed("no") + _crossed("not") == 0)
    anew = (ahead & pl.col("alone") & pl.col("denied") & (fresh | listed)).cast(pl.Int32)
    backward = (~ahead & ~pl.col("noun") & (_gap() > 1)).cast(pl.Int32) * BACKWARD
    return (
        _letters()
        + COMMA * _crossed("comma")
        + NEW * anew
        + AND * _crossed("and")
        + TURN * _crossed("but")
        + backward
        + other_side
    )
