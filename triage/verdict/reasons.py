"""Why a call is what it is, in one line."""

from functools import cache

import polars as pl

# From this chance of wearable on a pair is not skipped for its state.
SOUND = 0.5
# What a reason is made of and no column of a verdict.
PARTS_OF_REASON = (
    "haggle", "over_budget", "price_minor", "price_kind", "asked", "fact", "hoped_minor", "hoped_buy"
)  # fmt: skip
# One word for a plan in a sentence.
PLAN_WORDS = {"wear": "to wear as it is", "restore": "to restore", "display": "to display", "parts": "for parts"}


def with_reasons(rows: pl.DataFrame, questions: pl.DataFrame) -> pl.DataFrame:
    """Return verdict rows with ``reason``, by listing.

    Args:
        rows: As ``verdict_rows`` makes them.
        questions: As ``question_rows`` makes them; the first question of an ask is named.
    """
    first = questions.group_by("listing_id", "buyer").agg(
        pl.col("fact").sort_by("place").first(), pl.len().alias("asked")
    )
    joined = rows.join(first, on=["listing_id", "buyer"], how="left")
    # Every verdict has its rank among all others when all are there.
    told = joined.with_columns(reason=_reason(), rank=pl.lit(1))
    return told.drop(PARTS_OF_REASON).sort("listing_id", "buyer")


@cache
def _reason() -> pl.Expr:
    call = pl.col("call")
    return (
        pl.when(call == "buy")
        .then(_buy())
        .when((call == "ask") & (pl.col("fact") == "price_minor") & pl.col("price_minor").is_null())
        .then(pl.format("no price stated; sensible up to {}", _offer("offer_minor")))
        .when((call == "ask") & (pl.col("fact") == "price_minor"))
        .then(pl.format("offer {}: at the asking price of {} too little is left over", _offer("offer_minor"),
                        _money("price_minor")))
        .when(call == "ask")
        .then(_ask())
        .otherwise(_skip())
    )  # fmt: skip


def _money(column: str) -> pl.Expr:
    """Return an amount in whole units with its currency."""
    return pl.format("{} {}", (pl.col(column) / 100).round(0).cast(pl.Int64), "currency")


def _offer(column: str) -> pl.Expr:
    """Return an offer in whole units with its currency: never rounded up."""
    return pl.format("{} {}", pl.col(column) // 100, "currency")


def _percent(column: str) -> pl.Expr:
    return (pl.col(column) * 100).round(0).cast(pl.Int64)


def _buy() -> pl.Expr:
    plan = pl.col("plan").replace_strict(PLAN_WORDS, default="")
    bid = pl.when(pl.col("price_kind") == "bid").then(pl.lit("; a bid, so it may rise")).otherwise(pl.lit(""))
    return pl.format(
        "{}: worth {} on average, lands at {}, so {} is left over{}",
        plan, _money("expected_minor"), _money("landed_minor"), _money("surplus_minor"), bid,
    )  # fmt: skip


def _ask() -> pl.Expr:
    many = pl.when(pl.col("asked") == 1).then(pl.lit("a good answer")).otherwise(pl.lit("good answers"))
    buy = pl.format("{} would make it a buy, up to {}", many, _offer("hoped_minor"))
    offer = pl.format("{} would be worth an offer of {}", many, _offer("hoped_minor"))
    return pl.when("hoped_buy").then(buy).otherwise(offer)


def _skip() -> pl.Expr:
    weak = pl.format("{} likely unfit, wearable {} %", "weak_part", _percent("p_wearable"))
    sound = pl.format("sound enough, wearable {} %", _percent("p_wearable"))
    state = pl.coalesce(pl.when(pl.col("p_wearable") >= SOUND).then(sound).otherwise(weak), pl.lit("state not known"))
    floor = pl.format(
        "{} is left over, but wearable after the plan is only {} % likely",
        _money("surplus_minor"),
        _percent("p_after_plan"),
    )
    dear = pl.format(
        "{}; worth {} on average, sensible up to {}, asked {}",
        state,
        _money("expected_minor"),
        _offer("offer_minor"),
        _money("price_minor"),
    )
    never = pl.format("{}; worth {} on average, less than post and margin alone", state, _money("expected_minor"))
    return (
        pl.when(pl.col("price_minor").is_null())
        .then(pl.lit("no price stated, and none would be low enough to ask"))
        .when(pl.col("over_budget"))
        .then(pl.format("over the budget: lands at {} before repairs", _money("landed_minor")))
        .when((pl.col("surplus_minor") > 0) & (pl.col("offer_minor") >= pl.col("price_minor")))
        .then(floor)
        .when(pl.col("offer_minor") > 0)
        .then(dear)
        .otherwise(never)
    )
