"""Pairs of one model as a page: the best deadstock and worn pair side by side, part by part, then all of them."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import polars as pl

from triage.store import Connection, frame, registered
from triage.writeup import phrase
from triage.writeup.frames import read_detail
from triage.writeup.knowledge import Catalogue
from triage.writeup.origin import link
from triage.writeup.page import page
from triage.writeup.parts import PARTS, PartView, part_views
from triage.writeup.queries import SOME_LISTINGS
from triage.writeup.reasons import Said, said_of
from triage.writeup.ticket import anchor, candidate, facts_of, price_note_of, price_of, rows_of

Row = Mapping[str, Any]

PURPOSES = {"wear": "To wear", "restore": "To restore", "display": "To display", "resell": "To sell on"}
# Figures of a pair for a purpose, in the order they are read: what it brings, what it takes, what is left.
MEASURES = (
    ("expected_minor", "Worth on average"),
    ("repair_minor", "Repairs, on average"),
    ("landed_minor", "Landed"),
    ("surplus_minor", "Left over"),
    ("offer_minor", "Offer up to"),
    ("at_risk_minor", "At risk"),
)


@dataclass(frozen=True)
class PairView:
    """One pair of the comparison."""

    anchor: str
    listing_id: str
    title: str
    language: str
    url: str
    source: str
    condition: str
    price: str
    price_note: str
    facts: tuple[str, ...]
    release: str
    parts: tuple[PartView, ...]
    said: tuple[Said, ...]

    @property
    def weak(self) -> PartView | None:
        """The part most likely to fail the wearer."""
        return next((part for part in self.parts if part.weak), None)


@dataclass(frozen=True)
class PartLine:
    """One part of both pairs, and which of them is less likely to fail there."""

    part: str
    deadstock: PartView
    worn: PartView
    better: str


@dataclass(frozen=True)
class PurposeView:
    """Two pairs for one purpose: each measure of both, and what sets them apart."""

    name: str
    gap: str
    measures: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True)
class Couple:
    """A deadstock and a worn pair beside each other, for the purposes in which they are the best of their kind."""

    deadstock: PairView
    worn: PairView
    lines: tuple[PartLine, ...]
    purposes: tuple[PurposeView, ...]


@dataclass(frozen=True)
class OtherLine:
    """A pair of the model, for one purpose, in one line."""

    pair: PairView
    worth: str
    landed: str
    surplus: str
    offer: str
    wearable: str
    after: str


def comparison_page(
    store: Connection, catalogue: Catalogue, rows: pl.DataFrame, gaps: pl.DataFrame, asked: tuple[str, str]
) -> str:
    """Return pairs of one model as a page.

    Args:
        store: Store that holds the pairs.
        catalogue: Words for signs, materials and buyers.
        rows: As ``verdict.comparison.compare`` returns them.
        gaps: As ``verdict.comparison.indifference`` returns them.
        asked: The model as asked for, and the id of the buyer the figures are for.
    """
    model, buyer_id = asked
    buyer = catalogue.buyers[buyer_id]
    pairs = _pairs(store, catalogue, rows["listing_id"].unique().sort(), buyer_id)
    figures = {(row["listing_id"], row["purpose"]): row for row in rows.iter_rows(named=True)}
    told = gaps.to_dicts()
    purposes = {
        name: [
            _other_line(row, pairs[row["listing_id"]], buyer.currency)
            for row in rows.filter(pl.col("purpose") == key).iter_rows(named=True)
        ]
        for key, name in PURPOSES.items()
    }
    return page(
        "compare.html",
        model=model,
        buyer=buyer.name,
        horizon=f"{buyer.horizon_years:g}",
        couples=_couples(told, pairs, figures, buyer.currency),
        purposes=purposes,
        pairs=tuple(pairs.values()),
        count=phrase.count,
    )


def _pairs(store: Connection, catalogue: Catalogue, ids: pl.Series, buyer_id: str) -> dict[str, PairView]:
    with registered(store, "shown", pl.DataFrame({"listing_id": ids})):
        listings = frame(store, SOME_LISTINGS)
    behind = {name: rows_of(found) for name, found in vars(read_detail(store, ids)).items()}
    found = {}
    for row in listings.iter_rows(named=True):
        own = {name: rows.get(row["listing_id"], []) for name, rows in behind.items()}
        found[row["listing_id"]] = _pair(row, own, catalogue, buyer_id)
    return found


def _pair(row: Row, behind: Mapping[str, Sequence[Row]], catalogue: Catalogue, buyer_id: str) -> PairView:
    buyer = catalogue.buyers[buyer_id]
    listing = dict(row) | {"price_currency": row["currency"], "currency": buyer.currency}
    weak = weak_part(behind["posterior"], behind["prognosis"], buyer.horizon_years)
    best = candidate(behind["match"][0]) if behind["match"] else None
    sure = f"{'' if best.accepted else 'perhaps '}{best.name}: {best.chance}, {best.how}" if best else "not looked up"
    return PairView(
        anchor=anchor(row["listing_id"]),
        listing_id=row["listing_id"],
        title=phrase.title_of(row["title"]),
        language=phrase.language_tag(row["language"]),
        url=link(row["url"]),
        source=phrase.plain(row["source"]),
        condition=phrase.CONDITION[row["condition"]],
        price=price_of(listing),
        price_note=price_note_of(listing),
        facts=facts_of(listing, None),
        release=sure,
        parts=part_views(behind["posterior"], behind["prognosis"], buyer.horizon_years, weak, catalogue),
        said=said_of(behind["observation"], weak, catalogue),
    )


def weak_part(posterior: Iterable[Row], prognosis: Iterable[Row], horizon_years: float) -> str | None:
    """Return the load-bearing part most likely to fail; of the others where none bears; None when nothing is known."""
    bears = {row["part"] for row in prognosis if row["load_bearing"]}
    own = [row for row in posterior if row["horizon_years"] == horizon_years]
    chosen = [row for row in own if row["part"] in bears] or own
    return max(chosen, key=lambda row: (row["p_unfit"], row["part"]))["part"] if chosen else None


def _couples(
    gaps: Sequence[Row], pairs: Mapping[str, PairView], figures: Mapping[tuple[str, str], Row], currency: str
) -> tuple[Couple, ...]:
    order = list(PURPOSES)
    together: dict[tuple[str, str], list[Row]] = {}
    for gap in sorted(gaps, key=lambda gap: order.index(gap["purpose"])):
        together.setdefault((gap["deadstock"], gap["worn"]), []).append(gap)
    return tuple(
        Couple(
            pairs[one],
            pairs[other],
            part_lines(pairs[one].parts, pairs[other].parts),
            tuple(_purpose(gap, figures, currency) for gap in own),
        )
        for (one, other), own in together.items()
    )


def part_lines(deadstock: Sequence[PartView], worn: Sequence[PartView]) -> tuple[PartLine, ...]:
    """Return the parts that either pair has, each with the pair that is less likely to fail there."""
    ones, others = ({part.part: part for part in parts} for parts in (deadstock, worn))
    return tuple(
        PartLine(part, ones[part], others[part], _better(ones[part], others[part]))
        for part in PARTS
        if ones[part].present or others[part].present
    )


def _better(deadstock: PartView, worn: PartView) -> str:
    if not (deadstock.step and worn.step):
        return ""
    if deadstock.step == worn.step:
        return "about the same"
    return "deadstock" if deadstock.step < worn.step else "worn"


def _purpose(gap: Row, figures: Mapping[tuple[str, str], Row], currency: str) -> PurposeView:
    one, other = (figures[gap[side], gap["purpose"]] for side in ("deadstock", "worn"))
    measures = [(name, _amount(key, one[key], currency), _amount(key, other[key], currency)) for key, name in MEASURES]
    measures.append(("Wearable as it is", phrase.percent(one["p_wearable"]), phrase.percent(other["p_wearable"])))
    if gap["purpose"] != "display":
        measures.append(("Wearable after the plan", phrase.percent(one["p_after"]), phrase.percent(other["p_after"])))
    return PurposeView(PURPOSES[gap["purpose"]], phrase.gap(gap, currency), tuple(measures))


def _amount(key: str, minor: int, currency: str) -> str:
    return phrase.at_most(minor, currency) if key == "offer_minor" else phrase.estimate(minor, currency)


def _other_line(row: Row, pair: PairView, currency: str) -> OtherLine:
    return OtherLine(
        pair=pair,
        worth=phrase.estimate(row["expected_minor"], currency),
        landed=phrase.estimate(row["landed_minor"], currency),
        surplus=phrase.estimate(row["surplus_minor"], currency),
        offer=phrase.at_most(row["offer_minor"], currency),
        wearable=phrase.percent(row["p_wearable"]),
        after=phrase.percent(row["p_after"]),
    )
