"""What stands between a listing and its door: price, terms, size and returns as arrays."""

from dataclasses import dataclass
from datetime import date

import numpy as np
import polars as pl

from triage.catalogue.buyers import Buyer
from triage.catalogue.costs import Costs
from triage.handed import read_said
from triage.order import ordered
from triage.store import Connection, frame, rows_of
from triage.verdict.money import Array, Flags, Terms
from triage.verdict.states import Places, Rows

# Chance that a pair of unstated size fits one given foot (our judgement: adult sizes in stock spread
# over some 60 mm, a buyer takes 6 to 8 mm of them).
FITS_UNSTATED = 0.12

LISTINGS = f"""
SELECT
  l.listing_id, l.source, l.ships_from, l.price_base_minor, l.shipping_base_minor, l.premium_rate, l.price_kind,
  l.foot_mm_lo, l.foot_mm_hi, l.language, l.title, l.size_text, c.style_year, c.category
FROM ({rows_of("listing", "chunk")}) l
LEFT JOIN match m ON m.listing_id = l.listing_id AND m.place = 1
LEFT JOIN construction c ON c.model_id = m.construction_id
"""


@dataclass(frozen=True)
class Offer:
    """One buyer's side of N listings: prices, terms, chance that the size fits, what comes back.

    ``price`` is NaN where none is stated; ``refund_share`` is 0 where nobody takes a pair back; ``firm`` is true where
    no lower offer is taken. ``every`` is what ``read_offers`` returned, and ``at`` the places of these listings in it,
    None for all.
    """

    every: pl.DataFrame
    price: Array
    terms: Terms
    shipping_assumed: Flags
    fits: Array
    refund_share: Array
    refund_post: Array
    firm: Flags
    at: Places | None = None

    @property
    def rows(self) -> pl.DataFrame:
        """Return what ``read_offers`` does, of these listings."""
        return self.every if self.at is None else self.every[self.at]

    def column(self, name: str) -> pl.Series:
        """Return one column of ``rows``; a block of a few pairs takes less time than gathering all of them."""
        return self.every[name] if self.at is None else self.every[name][self.at]

    def take(self, rows: Rows) -> "Offer":
        """Return the buyer's side of some of the listings."""
        if not isinstance(rows, slice) and np.array_equal(rows, np.arange(len(self.price))):
            return self
        at = np.arange(len(self.price)) if self.at is None else self.at
        return Offer(
            self.every, self.price[rows], self.terms.take(rows), self.shipping_assumed[rows], self.fits[rows],
            self.refund_share[rows], self.refund_post[rows], self.firm[rows], at[rows],
        )  # fmt: skip

    def refund(self, price: Array) -> Array:
        """Return what sending a pair back returns at a price, minor units; -inf where impossible."""
        back = self.refund_share * price - self.refund_post
        return np.where(self.refund_share > 0, back, -np.inf)


def read_unsaid(store: Connection) -> pl.DataFrame:
    """Return the listings in ``chunk`` with what the money side needs of them that nobody need say."""
    return ordered(frame(store, LISTINGS), "listing_id")


def read_offers(
    store: Connection, unsaid: pl.DataFrame | None = None, said: pl.DataFrame | None = None
) -> pl.DataFrame:
    """Return the listings in ``chunk`` with what the money side needs of them.

    Args:
        unsaid, said: What ``read_unsaid`` and ``read_said`` returned of the same listings, where that was read before.
    """
    rows = read_unsaid(store) if unsaid is None else unsaid
    counted = (read_said(store, "chunk") if said is None else said).filter("counts")
    affirmed, denied = (pl.col("state") == state for state in ("affirmed", "denied"))
    told = counted.group_by("listing_id", maintain_order=True).agg(
        returns_ok=(affirmed & (pl.col("sign") == "returns_ok")).any(),
        firm=(denied & (pl.col("sign") == "offers_open")).any(),
        affirmed=pl.col("sign").filter(affirmed & ~pl.col("hedged")),
    )
    rows = rows.join(told, on="listing_id", how="left", maintain_order="left")
    # Of several speakers who say the same one is enough.
    signs = pl.col("affirmed").fill_null([]).list.unique(maintain_order=True)
    return rows.with_columns(pl.col("returns_ok", "firm").fill_null(False), signs)


def offer_to(buyer: Buyer, rows: pl.DataFrame, costs: Costs, as_of: date) -> Offer:
    """Return the listings as offers to one buyer."""
    terms, assumed = _terms(buyer, rows, costs, as_of)
    back = rows["returns_ok"].to_numpy()
    return Offer(
        rows,
        rows["price_base_minor"].cast(pl.Float64).fill_null(np.nan).to_numpy(),
        terms,
        assumed,
        fit_chance(buyer, rows),
        np.where(back, buyer.return_chance, 0.0),
        np.full(rows.height, float(buyer.return_post_minor)),
        rows.select(pl.col("firm") | (pl.col("price_kind") == "bid")).to_series().to_numpy(),
    )


def fit_chance(buyer: Buyer, rows: pl.DataFrame) -> Array:
    """Return the chance that each pair's size fits the buyer; 1 for a buyer of any size or who doesn't wear it.

    A listing's size is an interval of foot lengths, likeliest in its middle (triangular); the buyer
    takes what lies within their tolerance.
    """
    if buyer.foot_mm is None or "wear" not in buyer.purposes:
        return np.ones(rows.height)
    low = rows["foot_mm_lo"].fill_null(np.nan).to_numpy()
    high = rows["foot_mm_hi"].fill_null(np.nan).to_numpy()
    least, most = buyer.foot_mm - buyer.foot_tolerance_mm, buyer.foot_mm + buyer.foot_tolerance_mm
    length = np.maximum(high - low, 1e-9)
    share = _triangular((most - low) / length) - _triangular((least - low) / length)
    return np.where(np.isnan(low), FITS_UNSTATED, share)


def _triangular(at: Array) -> Array:
    """Return the chance of less than ``at`` on the symmetric triangle from 0 to 1."""
    inside = np.clip(at, 0.0, 1.0)
    return np.where(inside < 0.5, 2 * inside**2, 1 - 2 * (1 - inside) ** 2)


def _terms(buyer: Buyer, rows: pl.DataFrame, costs: Costs, as_of: date) -> tuple[Terms, Flags]:
    key = ("ships_from", "source", "category")
    names = ("premium", "duty", "duty_from", "flat", "flat_below", "tax", "fees", "assumed")
    table = []
    for origin, source, category in rows.select(key).unique(maintain_order=True).iter_rows():
        route = costs.route_of(origin, buyer.country, as_of)
        table.append((
            origin, source, category, route.premium.get(source, route.premium_rate), route.duty_rate,
            float(route.duty_free_below_minor), float(route.flat_minor), float(route.flat_below_minor),
            route.import_tax_rate, float(route.fees_minor), float(route.postage_of(costs.weight_of(category))),
        ))  # fmt: skip
    kinds = {**dict.fromkeys(key, pl.String), **dict.fromkeys(names, pl.Float64)}
    found = rows.join(
        pl.DataFrame(table, schema=kinds, orient="row"), on=key, how="left", nulls_equal=True, maintain_order="left"
    )
    column = {name: found[name].to_numpy() for name in names}
    stated = found["shipping_base_minor"].cast(pl.Float64)
    # what the listing states is newer and nearer than what a table says of its marketplace
    premium = found["premium_rate"].cast(pl.Float64).fill_null(found["premium"])
    terms = Terms(
        premium.to_numpy(), stated.fill_null(found["assumed"]).to_numpy(), column["duty"], column["duty_from"],
        column["flat"], column["flat_below"], column["tax"], column["fees"],
    )  # fmt: skip
    return terms, stated.is_null().to_numpy()
