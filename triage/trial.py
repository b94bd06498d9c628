"""The calls of a store under other rules: stages 3 to 7 on a copy in memory, and what moves from where to where."""

from datetime import date

import polars as pl

from triage import batch, rules
from triage.catalogue import Catalogue
from triage.errors import fail
from triage.store import Connection, append, connect, frame

# What stages 3 to 7 read and do not write; the rest they make anew.
READ = ("listing", "sighting", "twin", "answer", "inspection")
EXPLAINED = 10

VERDICTS = """
SELECT listing_id, buyer, call, plan, p_wearable, value_minor, landed_minor, offer_minor, surplus_minor, currency
FROM verdict
ORDER BY listing_id, buyer
"""
# One outlook is enough to say what moved: the shortest, which every store has.
POSTERIORS = """
SELECT listing_id, part, p_prior, sign_db, rule_db, p_unfit
FROM posterior
WHERE (horizon_years, climate) = (SELECT min((horizon_years, climate)) FROM posterior)
ORDER BY listing_id, part
"""
FINDINGS = """
SELECT listing_id, rule_id, part, decibans
FROM finding_fired
WHERE place = 1
ORDER BY listing_id, rule_id, part
"""


def trial(store: Connection, catalogue: Catalogue, as_of: date) -> pl.DataFrame:
    """Return the calls that would be others under other rules; the store itself is only read.

    Words and feed maps do not matter here: listings are taken as the store has them.

    Args:
        catalogue: The rules to try.
        as_of: Day the figures refer to; that of the store's last night, or ages differ too.

    Returns:
        One row per listing and buyer whose call differs, the largest change of surplus first: listing_id, buyer,
        and ``<name>_was`` and ``<name>_now`` for call, plan, p_wearable, value_minor, landed_minor, offer_minor,
        surplus_minor and currency. NULL where there was or is no such verdict. ``why`` explains the first ten.

    Raises:
        TriageError: A rule may not run.
    """
    rules.ensure(catalogue.rules, catalogue.facts, catalogue.signs)
    copy = connect()
    try:
        for table in READ:
            append(copy, table, frame(store, f"SELECT * FROM {table}"))
        batch.weigh(copy, catalogue, as_of)
        changed = changes(frame(store, VERDICTS), frame(copy, VERDICTS))
        first = changed.head(EXPLAINED)["listing_id"].unique()
        parts = part_moves(
            *(frame(each, POSTERIORS).filter(pl.col("listing_id").is_in(first.implode())) for each in (store, copy))
        )
        moved = rule_moves(
            *(frame(each, FINDINGS).filter(pl.col("listing_id").is_in(first.implode())) for each in (store, copy))
        )
    finally:
        copy.close()
    return explained(changed, parts, moved)


def moves(changed: pl.DataFrame) -> pl.DataFrame:
    """Return how many calls move from where to where, for each buyer: buyer, call_was, call_now, listings."""
    return changed.group_by("buyer", "call_was", "call_now").len("listings").sort("buyer", "call_was", "call_now")


def changes(was: pl.DataFrame, now: pl.DataFrame) -> pl.DataFrame:
    """Return the verdicts whose call differs, side by side, the largest change of surplus first."""
    key = ["listing_id", "buyer"]
    names = [name for name in was.columns if name not in key]
    before, after = (
        rows.rename({name: f"{name}_{time}" for name in names}) for rows, time in ((was, "was"), (now, "now"))
    )
    beside = before.join(after, on=key, how="full", coalesce=True)
    # An amount nobody could work out counts as none, so that a pair which gains one is not left out.
    size = (pl.col("surplus_minor_now").fill_null(0) - pl.col("surplus_minor_was").fill_null(0)).abs()
    return (
        beside.filter(pl.col("call_was").ne_missing(pl.col("call_now")))
        .sort(size, *key, descending=[True, False, False])
        .select(*key, *(f"{name}_{time}" for name in names for time in ("was", "now")))
    )


def part_moves(was: pl.DataFrame, now: pl.DataFrame) -> pl.DataFrame:
    """Return, per listing, the part whose chance of unfit moved most, in words: listing_id, part_words."""
    beside = was.join(now, on=["listing_id", "part"], suffix="_now")
    moved = beside.with_columns(size=(pl.col("p_unfit_now") - pl.col("p_unfit")).abs()).filter(pl.col("size") > 5e-4)
    largest = moved.sort("listing_id", "size", "part", descending=[False, True, False]).unique(
        "listing_id", keep="first", maintain_order=True
    )
    words = pl.format(
        "{} fails {} % -> {} % (ageing alone {} % -> {} %, signs {} -> {} dB, rules {} -> {} dB)",
        "part", *(_percent(name) for name in ("p_unfit", "p_unfit_now", "p_prior", "p_prior_now")),
        *(_decibans(name) for name in ("sign_db", "sign_db_now", "rule_db", "rule_db_now")),
    )  # fmt: skip
    return largest.select("listing_id", part_words=words)


def rule_moves(was: pl.DataFrame, now: pl.DataFrame) -> pl.DataFrame:
    """Return, per listing, the rules that fire otherwise on its likeliest release: listing_id, rule_words."""
    key = ["listing_id", "rule_id", "part"]
    beside = was.join(now, on=key, how="full", coalesce=True, suffix="_now").sort(key)
    other = beside.filter((pl.col("decibans").fill_null(0) - pl.col("decibans_now").fill_null(0)).abs() > 5e-4)
    before, after = (_decibans(name).fill_null("-") for name in ("decibans", "decibans_now"))
    words = pl.format("{} {} -> {} dB", "rule_id", before, after)
    return other.group_by("listing_id", maintain_order=True).agg(rule_words=words.str.join(", "))


def explained(changed: pl.DataFrame, parts: pl.DataFrame, moved: pl.DataFrame) -> pl.DataFrame:
    """Return the changes with ``why`` for the first ten: the part, the rules, and the money where it differs."""
    money = [
        pl.when(pl.col(f"{name}_minor_was").ne_missing(pl.col(f"{name}_minor_now"))).then(
            pl.format("{} {} -> {}", pl.lit(words), *(_amount(f"{name}_minor_{time}") for time in ("was", "now")))
        )
        for name, words in (("value", "worth when sound"), ("landed", "landed"), ("surplus", "left over"))
    ]
    pieces = [pl.col("part_words"), pl.col("rule_words"), *money]
    why = pl.concat_str(*pieces, separator="; ", ignore_nulls=True)
    row = pl.int_range(pl.len())
    return (
        changed.join(parts, on="listing_id", how="left", maintain_order="left")
        .join(moved, on="listing_id", how="left", maintain_order="left")
        .with_columns(why=pl.when(row < EXPLAINED).then(pl.when(why == "").then(pl.lit(None)).otherwise(why)))
        .drop("part_words", "rule_words")
    )


def _percent(name: str) -> pl.Expr:
    return (pl.col(name) * 100).round(0).cast(pl.Int64).cast(pl.String)


def _decibans(name: str) -> pl.Expr:
    # A sum of no terms may be -0.0, which would be written so.
    return (pl.col(name).round(1) + 0.0).cast(pl.String)


def _amount(name: str) -> pl.Expr:
    return (pl.col(name) / 100).round(0).cast(pl.Int64).cast(pl.String).fill_null("not known")


def last_night(store: Connection) -> date:
    """Return the day the store's latest figures refer to.

    Raises:
        TriageError: No night was run on the store.
    """
    (day,) = store.execute("SELECT max(as_of) FROM run").fetchall()[0]
    if day is None:
        fail("store", "has no night", "a store on which 'triage nightly' was run")
    found: date = day
    return found


def trial_text(changed: pl.DataFrame, name: str) -> str:
    """Return what moves from where to where, and the largest changes with their reason."""
    if changed.is_empty():
        return f"under {name} every call stays as it was\n"
    lines = [f"under {name} {changed.height} calls would be others"]
    lines += [
        f"  {row['buyer']}: {row['listings']} from {row['call_was'] or 'none'} to {row['call_now'] or 'none'}"
        for row in moves(changed).to_dicts()
    ]
    lines += ["", "the largest changes"]
    for row in changed.head(EXPLAINED).to_dicts():
        moved = f"{row['call_was'] or 'none'} -> {row['call_now'] or 'none'}"
        lines.append(f"  {row['listing_id']} for {row['buyer']}: {moved}; {row['why']}")
    return "\n".join(lines) + "\n"
