"""A short list for one buyer: pairs worth a look that don't fail for the same reason, and the best set for a purse."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import polars as pl

from triage.catalogue.buyers import Buyer
from triage.catalogue.costs import Costs
from triage.catalogue.repairs import Repair
from triage.store import Connection, frame, registered
from triage.verdict.mending import repair_cost
from triage.verdict.purse import best_set, numbered_pairs

CANDIDATES = """
SELECT v.*, l.title, l.size_text, l.url, l.price_base_minor, l.ships_from,
  CASE WHEN v.plan = 'restore' THEN coalesce(p.repairs, []) ELSE [] END AS repairs
FROM verdict v
JOIN listing l USING (listing_id)
LEFT JOIN plan p ON p.listing_id = v.listing_id AND p.buyer = v.buyer AND p.plan = 'restore'
WHERE v.buyer = ? AND v.call IN ('buy', 'ask')
ORDER BY CASE v.call WHEN 'buy' THEN 0 ELSE 1 END, v.rank, v.listing_id
"""
BELIEVED = """
SELECT p.listing_id, p.part, p.p_unfit, g.mode, coalesce(g.load_bearing, FALSE) AS load_bearing
FROM posterior p
LEFT JOIN prognosis g ON g.listing_id = p.listing_id AND g.part = p.part AND g.place = 1
  AND g.horizon_years = p.horizon_years AND g.climate = p.climate
JOIN wanted w ON w.listing_id = p.listing_id
WHERE p.horizon_years = ? AND p.climate = ?
ORDER BY p.listing_id, p.part
"""
COUPLES = "SELECT listing_id, twin_id FROM twin ORDER BY listing_id, twin_id"
MOST_LINES = 5


@dataclass(frozen=True)
class Shortlist:
    """What a buyer should look at.

    Attributes:
        lines: Up to five pairs, best first: verdict columns with title, size_text, url, price_base_minor, repairs,
            ``role`` (surest, value or want), ``fails_by`` (what it would most likely fail by once the plan is
            done), ``days_lo``, ``days_mid``, ``days_hi`` (until it can be worn) and ``spend_minor`` (landed cost
            and repairs).
        left_out: listing_id, title and ``why`` of pairs that would come too late.
        together: The buys that bring the highest total surplus within the purse, as ``lines`` without role and
            fails_by; None without a purse.
    """

    lines: pl.DataFrame
    left_out: pl.DataFrame
    together: pl.DataFrame | None


def shortlist(store: Connection, buyer: Buyer, repairs: Mapping[str, Repair], costs: Costs, as_of: date) -> Shortlist:
    """Return three to five lines for a buyer that don't fail for the same reason, best first.

    Size, budget, purpose, climate, repairs and hard no's are in the calls already. Each line would fail by
    another part or in another way than the lines above it; fewer where there are not so many different ones.
    Listings of one pair never stand in it together.
    """
    rows = frame(store, CANDIDATES, [buyer.id])
    rows = rows.with_columns(pl.Series("pair", numbered_pairs(rows["listing_id"], frame(store, COUPLES))))
    rows = _with_spend(_with_days(rows, buyer, repairs, costs, as_of), buyer, repairs)
    left = buyer.days_left(as_of)
    late = pl.lit(False) if left is None else pl.col("days_mid") > left
    left_out = rows.filter(late).select("listing_id", "title", why=_why_late(left or 0))
    rows = rows.filter(~late)
    named = _with_failing(store, rows, buyer, repairs)
    lines = named.unique("pair", keep="first", maintain_order=True)
    lines = lines.unique("fails_by", keep="first", maintain_order=True).head(MOST_LINES)
    together = None
    if buyer.purse_minor is not None:
        buys = rows.filter(pl.col("call") == "buy")
        spend, gain, pair = (buys[name].to_numpy() for name in ("spend_minor", "surplus_minor", "pair"))
        together = buys[best_set(spend, gain, pair, buyer.purse_minor).tolist()].drop("pair")
    return Shortlist(_with_role(lines).drop("pair"), left_out, together)


def _with_days(
    rows: pl.DataFrame, buyer: Buyer, repairs: Mapping[str, Repair], costs: Costs, as_of: date
) -> pl.DataFrame:
    """Add the days until a pair can be worn: an answer, the post, and the longest of its repairs."""
    origins = rows["ships_from"].unique(maintain_order=True).to_list()
    post = pl.DataFrame(
        [(origin, *costs.route_of(origin, buyer.country, as_of).shipping_days) for origin in origins],
        schema={"ships_from": pl.String, **dict.fromkeys(("post_lo", "post_mid", "post_hi"), pl.Float64)},
        orient="row",
    )
    rows = rows.join(post, on="ships_from", how="left", nulls_equal=True, maintain_order="left")
    reply = pl.when(pl.col("call") == "ask").then(buyer.reply_days).otherwise(0.0)
    for at, end in enumerate(("lo", "mid", "hi")):
        mending = _longest({name: repair.days[at] for name, repair in repairs.items()})
        rows = rows.with_columns((reply + pl.col(f"post_{end}") + mending).alias(f"days_{end}"))
    return rows.drop("post_lo", "post_mid", "post_hi")


def _longest(days: Mapping[str, float]) -> pl.Expr:
    # Repairs are done in one visit, so the longest of them decides.
    each = pl.element().replace_strict(dict(days), default=0.0, return_dtype=pl.Float64)
    return pl.col("repairs").list.eval(each).list.max().fill_null(0.0)


def _with_spend(rows: pl.DataFrame, buyer: Buyer, repairs: Mapping[str, Repair]) -> pl.DataFrame:
    """Add what a pair costs all in: at the door, and its likeliest repairs."""
    paid = {name: repair_cost(repair, buyer) for name, repair in repairs.items()}
    each = pl.element().replace_strict(paid, default=0.0, return_dtype=pl.Float64)
    mending = pl.col("repairs").list.eval(each).list.sum().round(0).cast(pl.Int64)
    return rows.with_columns(spend_minor=pl.col("landed_minor") + mending)


def _why_late(left: int) -> pl.Expr:
    mended = pl.when(pl.col("repairs").list.len() > 0).then(pl.lit(", repairs included")).otherwise(pl.lit(""))
    asked = pl.when(pl.col("call") == "ask").then(pl.lit(", an answer included")).otherwise(pl.lit(""))
    origin = pl.coalesce("ships_from", pl.lit("an unknown place"))
    return pl.format(
        "ready in {} to {} days from {}{}{}; {} are left",
        *(pl.col(f"days_{end}").round(0).cast(pl.Int64) for end in ("lo", "hi")), origin, mended, asked, pl.lit(left),
    )  # fmt: skip


def _with_failing(store: Connection, rows: pl.DataFrame, buyer: Buyer, repairs: Mapping[str, Repair]) -> pl.DataFrame:
    """Add what each pair would most likely fail by once its plan is done: part and way of failing.

    To wear, that is a load-bearing part that no repair of the plan renews; to show, any part; where all
    is renewed, the repair itself.
    """
    with registered(store, "wanted", rows.select("listing_id")):
        parts = frame(store, BELIEVED, buyer.outlook)
    renewed = pl.DataFrame(
        [(name, part) for name, repair in repairs.items() for part in repair.covers],
        schema={"repairs": pl.String, "part": pl.String},
        orient="row",
    )
    mended = rows.select("listing_id", "repairs").explode("repairs", empty_as_null=False).join(renewed, on="repairs")
    worn = pl.col("plan").is_in(["wear", "restore"])
    failing = (
        parts.join(rows.select("listing_id", "plan"), on="listing_id")
        .filter(pl.col("load_bearing") | ~worn)
        .join(mended, on=["listing_id", "part"], how="anti")
        .sort("listing_id", "p_unfit", "part", descending=[False, True, False])
        .unique("listing_id", keep="first", maintain_order=True)
        .select("listing_id", fails_by=pl.format("{} ({})", "part", pl.coalesce("mode", pl.lit("not known how"))))
    )
    return rows.join(failing, on="listing_id", how="left", maintain_order="left").with_columns(
        pl.col("fails_by").fill_null("the repair itself")
    )


def _with_role(lines: pl.DataFrame) -> pl.DataFrame:
    """Add what a line stands out by: surest after the plan, most left over, or most wanted when sound."""
    role = pl.lit("")
    for name, column in (("want", "value_minor"), ("value", "surplus_minor"), ("surest", "p_after_plan")):
        first = (pl.int_range(pl.len()) == pl.col(column).arg_max()) & (pl.col(column) > 0)
        role = pl.when(first).then(pl.lit(name)).otherwise(role)
    return lines.with_columns(role=role)
