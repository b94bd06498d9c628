"""Pairs of one model beside each other, purpose by purpose."""

from collections.abc import Mapping
from datetime import date
from typing import Any

import numpy as np
import polars as pl

from triage.catalogue.buyers import Buyer
from triage.store import Connection, frame, registered
from triage.verdict.beliefs import read_beliefs
from triage.verdict.calls import plan_shares, repair_costs, sensible_offer
from triage.verdict.ground import Ground, Releases, trade_of
from triage.verdict.money import landed_cost
from triage.verdict.offers import offer_to, read_offers
from triage.verdict.plans import WEARING
from triage.verdict.scenes import Stakes, prices_to
from triage.verdict.states import PARTS, joint, part_chances, wearable_chance
from triage.verdict.tables import whole_minor
from triage.verdict.worth import pool_comparables, read_comparables

# What a buyer is for each purpose: to wear as it comes, to mend and wear, to show, to sell on.
PURPOSES: Mapping[str, Mapping[str, object]] = {
    "wear": {"purposes": ("wear",), "repair_tolerance": "none"},
    "restore": {"purposes": ("wear", "restore")},
    "display": {"purposes": ("display",)},
    "resell": {"purposes": ("resell",)},
}
# Which purposes a comparison is for, by what the buyer buys for: who wears would have it mended first too.
SERVED: Mapping[str, tuple[str, ...]] = {
    "wear": ("wear", "restore"), "restore": ("wear", "restore"), "display": ("display",), "resell": ("resell",),
}  # fmt: skip
MODEL_PAIRS = """
SELECT l.listing_id, l.title, l.condition, l.price_base_minor, c.maker, c.model, c.model_id, c.edition, m.probability
FROM listing l
JOIN match m ON m.listing_id = l.listing_id AND m.place = 1
JOIN construction c ON c.model_id = m.construction_id AND NOT c.generic
WHERE l.kind = 'pair' AND l.status = 'open' AND l.price_base_minor IS NOT NULL
  AND (lower(c.model_id) = lower($1) OR lower(c.model) = lower($1) OR lower(c.maker || ' ' || c.model) = lower($1))
ORDER BY l.listing_id
"""
# A release less likely than this is left out of what a pair may come to at worst.
LIKELY_RELEASE = 0.05


def pairs_of(store: Connection, model: str) -> pl.DataFrame:
    """Return the open pairs of a model: a model's name, with or without maker, or a release's id."""
    return frame(store, MODEL_PAIRS, [model])


def compare(store: Connection, ground: Ground, buyer: Buyer, pairs: pl.DataFrame, as_of: date) -> pl.DataFrame:
    """Return what each pair is worth for each purpose, whatever its size.

    Args:
        pairs: As ``pairs_of`` returns them.

    Returns:
        One row per pair and purpose: listing_id, condition, title, purpose, value_minor (when sound),
        expected_minor, repair_minor, landed_minor, surplus_minor, offer_minor, p_wearable, p_after,
        at_risk_minor (what is lost at worst), and p_unfit_<part> for each part, NULL where the pair has
        none. Money in the buyer's currency.
    """
    with registered(store, "chunk", pairs.select("listing_id")):
        pool_comparables(store, ground.values)
        offers, comparables = read_offers(store), read_comparables(store, ground.values)
        beliefs = read_beliefs(store, ground.signs, ground.ageing_signs, buyer.outlook)
    trade = trade_of(Releases.of(store), ground)
    states = joint(beliefs.evidence)
    chances = np.where(beliefs.present, part_chances(states), np.nan)
    parts = {f"p_unfit_{part}": pl.Series(chances[:, at]).fill_nan(None) for at, part in enumerate(PARTS)}
    found = []
    for purpose, traits in PURPOSES.items():
        one = buyer.model_copy(update={**traits, "foot_mm": None})
        offer = offer_to(one, offers, ground.costs, as_of)
        named, bears = (beliefs.listing_ids, beliefs.construction), beliefs.evidence.bears
        prices = prices_to(one, *named, bears, comparables, trade.mender(one), ground.values)
        stakes = Stakes(one, beliefs, offer, prices)
        scene, value = stakes.scene(slice(None)), stakes.value
        landed, expected = landed_cost(offer.price, offer.terms), scene.expected(offer.price)
        repair = repair_costs(scene)
        share, _ = plan_shares(scene, offer.price)
        likely = beliefs.evidence.weight[..., None] >= LIKELY_RELEASE
        worst = np.where(likely, scene.fitting.value, np.inf).min(axis=(1, 2))
        found.append(
            pl.DataFrame(
                {
                    "listing_id": beliefs.listing_ids,
                    "purpose": purpose,
                    "value_minor": whole_minor(value),
                    "expected_minor": whole_minor(expected),
                    "repair_minor": whole_minor(repair),
                    "landed_minor": whole_minor(landed),
                    "surplus_minor": whole_minor(expected - landed),
                    "offer_minor": whole_minor(sensible_offer(scene, repair)),
                    "p_wearable": wearable_chance(states, beliefs.evidence.bears),
                    "p_after": share[:, list(WEARING)].sum(axis=1),
                    "at_risk_minor": whole_minor(np.maximum(landed - worst, 0)),
                    **parts,
                }
            )
        )
    kept = pairs.select("listing_id", "condition", "title", "model_id")
    return pl.concat(found).join(kept, on="listing_id").sort("purpose", "surplus_minor", "listing_id",
                                                             descending=[False, True, False])  # fmt: skip


def indifference(rows: pl.DataFrame) -> pl.DataFrame:
    """Return per purpose the best deadstock and the best worn pair, and what sets them apart.

    Returns:
        One row per purpose that has both: purpose, deadstock and worn (listing ids), gap_minor: how
        much more the deadstock pair may cost at the door before the worn one is the better buy
        (below 0: it must be cheaper), asked_minor: how much more it does cost, and better.
    """
    group = pl.when(pl.col("condition") == "deadstock").then(pl.lit("deadstock")).otherwise(pl.lit("worn"))
    known = rows.filter(pl.col("condition") != "unknown").with_columns(group=group)
    best = known.sort("surplus_minor", "listing_id", descending=[True, False]).unique(
        ["purpose", "group"], keep="first", maintain_order=True
    )
    sides = [
        best.filter(pl.col("group") == name).select(
            "purpose",
            pl.col("listing_id").alias(name),
            pl.col("expected_minor", "landed_minor").name.suffix(f"_{name}"),
        )
        for name in ("deadstock", "worn")
    ]
    gap = pl.col("expected_minor_deadstock") - pl.col("expected_minor_worn")
    asked = pl.col("landed_minor_deadstock") - pl.col("landed_minor_worn")
    return (
        sides[0]
        .join(sides[1], on="purpose")
        .with_columns(gap_minor=gap, asked_minor=asked, better=pl.when(asked < gap).then(
            pl.lit("deadstock")).otherwise(pl.lit("worn")))
        .select("purpose", "deadstock", "worn", "gap_minor", "asked_minor", "better")
        .sort("purpose")
    )  # fmt: skip


def recommended(rows: pl.DataFrame, buyer: Buyer) -> dict[str, Any]:
    """Return the one pair to take, for the buyer's own purposes, and what it is set against.

    The pair with most left over among those that keep the margin and, to be worn, the floor on the chance
    of wearable; against it the best pair of the other kind, deadstock or worn, for the same purpose.

    Args:
        rows: As ``compare`` returns them.

    Returns:
        ``take``: the row of the pair to take as priced, else None; ``offer``: where none is, the row of the
        pair that a sensible offer would make one, else None; ``against``: the best row of the other kind, or
        None; ``part``: the part that the pair named first is likelier fit in, by most, where by 0.05 or more.
    """
    served = {purpose for own in buyer.purposes for purpose in SERVED[own]}
    known = rows.filter(pl.col("purpose").is_in(sorted(served))).sort(
        "surplus_minor", "listing_id", "purpose", descending=[True, False, False], nulls_last=True
    )
    sure = (pl.col("purpose") == "display") | (pl.col("p_after") >= buyer.wearable_floor)
    sound = known.filter(sure | (pl.col("purpose") == "resell"))
    take = sound.filter(pl.col("surplus_minor") >= buyer.margin_minor).head(1).to_dicts()
    offer = [] if take else sound.filter(pl.col("offer_minor") > 0).head(1).to_dicts()
    chosen = next(iter(take + offer + known.head(1).to_dicts()))
    other = (pl.col("condition") == "deadstock") != (chosen["condition"] == "deadstock")
    same_purpose = known.filter((pl.col("purpose") == chosen["purpose"]) & (pl.col("condition") != "unknown"))
    against = next(iter(same_purpose.filter(other).head(1).to_dicts()), None)
    return {
        "take": take[0] if take else None,
        "offer": offer[0] if offer else None,
        "nearest": chosen,
        "against": against,
        "part": _part_apart(chosen, against) if against else None,
    }


def _part_apart(one: Mapping[str, Any], other: Mapping[str, Any]) -> str | None:
    """Return the part that the one pair is likelier fit in than the other, by most, where by 0.05 or more."""
    apart = {
        part: other[name] - one[name]
        for part in PARTS
        if one[name := f"p_unfit_{part}"] is not None and other[name] is not None
    }
    most = max(apart, key=lambda part: apart[part], default=None)
    return most if most is not None and apart[most] >= 0.05 else None
