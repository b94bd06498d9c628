"""Why a call changed, in words: what differs between what two rows of ``call_history`` rest on."""

from collections.abc import Mapping

import polars as pl

from triage.catalogue.signs import Sign

SPEAKERS = {"answer": "the seller says", "buyer": "seen in the photos", "inspection": "found on arrival"}
KEY = ["listing_id", "buyer"]


def because(
    both: pl.DataFrame, signs: Mapping[str, Sign], why_held: pl.DataFrame, decimals: Mapping[str, int]
) -> pl.DataFrame:
    """Return what changed since a pair's last row, the most telling first: listing_id, buyer, because.

    Args:
        both: Rows of ``call_history`` with what the row before rested on as ``<name>_was``.
        why_held: listing_id, rule_id, why: the reasons of the rules that hold now.
        decimals: Minor unit digits by currency, where they are not 2.
    """
    told = _heard(both, signs)
    rows = both.join(told, on=KEY, how="left", maintain_order="left")
    rows = rows.join(_held(both, why_held), on=KEY, how="left", maintain_order="left")
    text, rules, buyer = (_differs(name) for name in ("text_md5", "rules_sha256", "buyer_sha256"))
    price = _differs("price_minor") | _differs("price_currency")
    said = pl.col("answered").is_not_null()
    same_costs = ~(price | _differs("price_base_minor") | _differs("shipping_minor") | rules | buyer)
    other_release = _differs("construction_id")
    same_worth = ~(text | rules | buyer | other_release | said)
    days = (pl.col("as_of") - pl.col("as_of_was")).dt.total_days()
    causes = [
        pl.col("answered"),
        pl.when(price).then(_price(decimals)),
        pl.when(_differs("shipping_minor") & ~_differs("price_currency")).then(pl.lit("the postage changed")),
        pl.when(text).then(pl.coalesce(pl.format("the text now says: {}", "read"), pl.lit("the listing changed"))),
        pl.when(buyer).then(pl.lit("this buyer's own figures changed")),
        pl.when(rules).then(pl.lit("the rules or tables changed")),
        pl.when(other_release & ~text & ~rules).then(pl.lit("it is taken for another release")),
        pl.when(_differs("price_base_minor") & ~price).then(pl.lit("the exchange rate moved")),
        pl.when(_differs("landed_minor") & same_costs).then(pl.lit("other duties or charges apply by now")),
        pl.when(_differs("value_minor") & same_worth).then(
            pl.format("comparable pairs moved its worth when sound from {} to {}",
                      _amount("value_minor_was", "currency", decimals), _amount("value_minor", "currency", decimals))
        ),
        pl.when(~(text | rules | said)).then(pl.col("holding")),
    ]  # fmt: skip
    alone = pl.when(days > 0).then(pl.format("{} days older, nothing else is new", days))
    found = pl.concat_str(causes, separator="; ", ignore_nulls=True)
    return rows.select(
        *KEY,
        because=pl.when(found != "").then(found).otherwise(
            pl.coalesce(alone, pl.lit("none of its inputs changed: the program did"))
        ),
    )  # fmt: skip


def _differs(name: str) -> pl.Expr:
    return pl.col(name).ne_missing(pl.col(f"{name}_was"))


def _amount(column: str, currency: str, decimals: Mapping[str, int]) -> pl.Expr:
    """Return an amount in whole units with its currency."""
    digits = pl.col(currency).replace_strict(dict(decimals), default=2, return_dtype=pl.Int64)
    return pl.format("{} {}", pl.col(currency), (pl.col(column) / pl.lit(10.0).pow(digits)).round(0).cast(pl.Int64))


def _price(decimals: Mapping[str, int]) -> pl.Expr:
    before, now = (_amount(f"price_minor{time}", f"price_currency{time}", decimals) for time in ("_was", ""))
    same = ~_differs("price_currency")
    fell, rose = pl.col("price_minor") < pl.col("price_minor_was"), pl.col("price_minor") > pl.col("price_minor_was")
    word = pl.when(same & fell).then(pl.lit("fell")).when(same & rose).then(pl.lit("rose")).otherwise(pl.lit("went"))
    return (
        pl.when(pl.col("price_minor").is_null())
        .then(pl.lit("no price is stated any more"))
        .when(pl.col("price_minor_was").is_null())
        .then(pl.format("a price is stated now: {}", now))
        .otherwise(pl.format("the price {} from {} to {}", word, before, now))
    )


def _heard(both: pl.DataFrame, signs: Mapping[str, Sign]) -> pl.DataFrame:
    """Return what is newly heard: ``answered`` by seller, photos or arrival, ``read`` in the text; NULL for none."""
    words = pl.DataFrame(
        [
            (sign.id, state, text.removeprefix("says "))
            for sign in signs.values()
            for state, text in (("affirmed", sign.affirmed), ("denied", sign.denied))
        ],
        schema={"sign": pl.String, "state": pl.String, "words": pl.String},
        orient="row",
    )
    new = both.select(*KEY, heard=pl.col("heard").list.set_difference("heard_was")).explode(
        "heard", empty_as_null=False
    )
    told = pl.col("heard").str.split(" ")
    new = new.with_columns(
        said_by=told.list.get(0), sign=told.list.get(1), state=told.list.get(2), hedged=told.list.len() > 3
    ).join(words, on=["sign", "state"], how="left", maintain_order="left")
    doubt = pl.when("hedged").then(pl.lit(", with a doubt")).otherwise(pl.lit(""))
    meaning = pl.format("{}{}", pl.coalesce("words", pl.format("{} {}", "sign", "state")), doubt)
    spoken = new.with_columns(meaning=meaning).sort(*KEY, "said_by", "sign", "state")
    by_voice = spoken.group_by(*KEY, "said_by", maintain_order=True).agg(
        meanings=pl.col("meaning").str.join(", "),
        # "The seller says the foam springs back", but "the seller says: unworn".
        clause=(pl.col("meaning").str.contains("^(the|there|a|no) ") & (pl.col("said_by") == "answer")).all(),
    )
    speaker = pl.col("said_by").replace_strict(SPEAKERS, default=None, return_dtype=pl.String)
    joint = pl.when("clause").then(pl.lit(" ")).otherwise(pl.lit(": "))
    return (
        by_voice.with_columns(spoken=pl.concat_str(speaker, joint, "meanings"))
        .group_by(KEY, maintain_order=True)
        .agg(
            answered=_joined(pl.col("spoken").drop_nulls(), "; "),
            read=_joined(pl.col("meanings").filter(pl.col("said_by") == "listing"), ", "),
        )
    )


def _held(both: pl.DataFrame, why_held: pl.DataFrame) -> pl.DataFrame:
    """Return which rules hold now and did not, or no longer hold: ``holding``, NULL for none."""
    sides = [
        both.select(*KEY, rule_id=pl.col(one).list.set_difference(other)).explode("rule_id", empty_as_null=False)
        for one, other in (("held", "held_was"), ("held_was", "held"))
    ]
    now = sides[0].join(why_held, on=["listing_id", "rule_id"], how="left", maintain_order="left")
    now = now.select(*KEY, "rule_id", words=pl.coalesce("why", "rule_id"))
    gone = sides[1].select(*KEY, "rule_id", words=pl.format("no longer so: {}", pl.col("rule_id").str.replace_all(
        "-", " "
    )))  # fmt: skip
    both_ways = pl.concat([now, gone]).sort(*KEY, "rule_id")
    return both_ways.group_by(KEY, maintain_order=True).agg(holding=_joined(pl.col("words"), "; "))


def _joined(words: pl.Expr, joint: str) -> pl.Expr:
    return pl.when(words.len() > 0).then(words.str.join(joint))
