"""Weigh a few pairs anew in a store in memory, by the stages' own functions; what they were matched to stays."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from functools import partial

import polars as pl

from triage import batch, due, observation, prognosis, rules, verdict
from triage.catalogue import Catalogue
from triage.desk.inline import inline
from triage.handed import Lives, read_said
from triage.rules.facts import ASKED, OFFERED_OF
from triage.store import Connection, append
from triage.verdict.worth import OFFERS, pool_comparables

# The sign that says which year stands on the label.
LABEL = "date_proof_shown"
PRICED = """
UPDATE listing
SET
  price_minor = round(coalesce(price_minor / nullif(price_base_minor, 0), 1) * $1),
  price_base_minor = $1,
  price_kind = 'fixed',
  currency = coalesce(currency, $2)
WHERE listing_id IN (SELECT listing_id FROM todo)
"""
# Of the releases that may be theirs: no other counts.
OFFERED = OFFERED_OF.format(
    asked=f"""
  SELECT construction_id, price_base_minor
  FROM ({ASKED} UNION ALL BY NAME FROM beside_asked)
  WHERE construction_id IN (SELECT construction_id FROM match SEMI JOIN todo USING (listing_id))
"""
)
INSTEAD = """
DELETE FROM observation
WHERE listing_id IN (SELECT listing_id FROM todo) AND list_contains($1::VARCHAR[], sign)
"""


@dataclass(frozen=True)
class Supposed:
    """What one would like to know the worth of without noting it; None and empty: as it is.

    Attributes:
        price_minor: Price, minor units of the base currency.
        purpose: What the buyer wants the pair for.
        repair_minor: What the repairs of the plan cost together, minor units.
        storage: Sign of a place of storage, a key of ``storage.toml``.
        year: Year on the label.
        repairs: Which repairs that is; ids of ``rules/repairs/``.
    """

    price_minor: int | None = None
    purpose: str | None = None
    repair_minor: int | None = None
    storage: str | None = None
    year: int | None = None
    repairs: tuple[str, ...] = field(default=(), compare=False)

    def __bool__(self) -> bool:
        return self != Supposed()


@dataclass(frozen=True)
class Known:
    """What of a pair no answer moves: read once, so that what is noted of it is weighed the sooner.

    It holds until other pairs are weighed anew or the pair is sold, and in part when it ages otherwise.

    Attributes:
        age: What the parts' ageing hangs on.
        facts: What rules look at.
        money: What the calls hang on.
    """

    listing_id: str
    age: prognosis.Known
    facts: rules.Known
    money: verdict.Known

    @property
    def whole(self) -> bool:
        """Nothing of it is to be read again."""
        return self.facts.unsaid is not None

    def otherwise_aged(self, lives: Lives | None) -> "Known":
        """Return what is known when the parts have aged otherwise."""
        return replace(self, facts=self.facts.otherwise_aged(lives), money=self.money.otherwise_aged(lives))

    def otherwise_priced(self) -> "Known":
        """Return what is still known when something else is asked for the pair."""
        return replace(self, facts=self.facts.otherwise_priced(), money=self.money.otherwise_priced())


@inline
def know(store: Connection, catalogue: Catalogue, listing_id: str, releases: verdict.Releases) -> Known:
    """Return what of a pair no answer moves."""
    due.set_todo(store, [listing_id])
    ground = batch.ground(catalogue)
    facts = rules.know(store, catalogue.rules, catalogue.facts, catalogue.signs, OFFERED)
    age = prognosis.know(store, dict(catalogue.materials), catalogue.unknown, catalogue.climates)
    return Known(listing_id, age, facts, verdict.know(store, ground, releases, _pool(ground)))


@inline
def weigh_noted(
    store: Connection,
    catalogue: Catalogue,
    as_of: date,
    listings: Sequence[str],
    stands: bool,
    releases: verdict.Releases | None = None,
    known: Known | None = None,
) -> Known | None:
    """Run stages 4 to 7 over some listings of which only answers are new, as far as these move anything.

    What their own texts say and which releases they may be hangs on no answer and stays as the night left it.

    Args:
        store: A store in memory; the caller holds the transaction.
        as_of: The night's date: a call may only change for what was noted, not for a day more of age.
        stands: Nothing but answers is new: not the rules, nor whether a pair is still to be had.
        releases: Those of the store, where they were read before.
        known: What was known of a pair before.

    Returns:
        What of that is known still.
    """
    due.set_todo(store, listings)
    known = _of(known, listings) if stands else None
    new = observation.run_answers(store, catalogue.reading)
    if stands and not new:
        return known
    said = None if known is None else read_said(store)
    if not stands or new & prognosis.signs_of_age(catalogue.climates):
        known = _age(store, catalogue, as_of, known, said)
    findings = _rule(store, catalogue, known, said)
    _judge(store, catalogue, as_of, releases, known, said, findings)
    return known


@inline
def suppose(
    store: Connection,
    catalogue: Catalogue,
    as_of: date,
    listings: Sequence[str],
    supposed: Supposed,
    releases: verdict.Releases | None = None,
    known: Known | None = None,
) -> None:
    """Run the stages that a supposition can move over some listings.

    It adds no answer; a purpose or a repair's price is no matter of age or of any rule, a price of no age.

    Args:
        store: A store in memory; the caller holds the transaction, and rolls it back.
        as_of: The night's date.
        releases: Those of the store, where they were read before.
        known: What is known of a pair.
    """
    due.set_todo(store, listings)
    known = _of(known, listings)
    if supposed.price_minor is not None:
        store.execute(PRICED, [supposed.price_minor, next(iter(catalogue.buyers.values())).currency])
    ages = supposed.storage is not None or supposed.year is not None
    for sign, value, instead in _supposed_signs(catalogue, supposed):
        _observe(store, listings, sign, value, instead)
    said = None if known is None else read_said(store)
    findings = None
    if ages:
        known = _age(store, catalogue, as_of, known, said)
    if known is not None and supposed.price_minor is not None:
        known = known.otherwise_priced()
    if ages or supposed.price_minor is not None:
        findings = _rule(store, catalogue, known, said)
    _judge(store, _altered(catalogue, supposed), as_of, releases, known, said, findings)


def _of(known: Known | None, listings: Sequence[str]) -> Known | None:
    """Return what is known if it is of these listings, and of no other."""
    return known if known is not None and [known.listing_id] == list(listings) else None


def _age(
    store: Connection, catalogue: Catalogue, as_of: date, known: Known | None, said: pl.DataFrame | None
) -> Known | None:
    """Run stage 5 over the listings in ``todo``; return what is known then."""
    lives = batch.age(store, catalogue, as_of, None if known is None else replace(known.age, said=said))
    return None if known is None else known.otherwise_aged(lives)


def _rule(
    store: Connection, catalogue: Catalogue, known: Known | None, said: pl.DataFrame | None
) -> pl.DataFrame | None:
    """Run stage 6 over the listings in ``todo``, beside the open pairs that were published with them."""
    facts = None if known is None else replace(known.facts, said=said)
    return rules.run(store, catalogue.rules, catalogue.facts, catalogue.signs, OFFERED, facts)


def _judge(
    store: Connection,
    catalogue: Catalogue,
    as_of: date,
    releases: verdict.Releases | None,
    known: Known | None,
    said: pl.DataFrame | None,
    findings: pl.DataFrame | None,
) -> None:
    """Run stage 7 over the listings in ``todo``, beside the offers that were published with them.

    Without ranks: a page that holds a few of a night's pairs has their order from what each is worth.
    """
    ground = batch.ground(catalogue)
    money = None if known is None else replace(known.money, said=said, findings=findings)
    verdict.run(store, ground, as_of, releases, _pool(ground), money)


def _pool(ground: verdict.Ground) -> Callable[[Connection], None]:
    offers = f"{OFFERS} UNION ALL BY NAME FROM beside_offer"
    return partial(pool_comparables, values=ground.values, offers=offers)


def _supposed_signs(catalogue: Catalogue, supposed: Supposed) -> Iterator[tuple[str, str | None, list[str]]]:
    """Yield sign, value, and the signs in whose place it comes."""
    if supposed.storage is not None:
        yield supposed.storage, None, sorted(catalogue.climates.storage)
    if supposed.year is not None:
        yield LABEL, str(supposed.year), [LABEL]


def _observe(store: Connection, listings: Sequence[str], sign: str, value: str | None, instead: Sequence[str]) -> None:
    store.execute(INSTEAD, [list(instead)])
    row = {"sign": sign, "said_by": "answer", "state": "affirmed", "field": "answer", "value": value}
    rows = pl.DataFrame({"listing_id": listings}, schema={"listing_id": pl.String})
    told = {name: pl.lit(one, pl.String) for name, one in row.items()}
    append(store, "observation", rows.with_columns(hedged=False, **told))


def _altered(catalogue: Catalogue, supposed: Supposed) -> Catalogue:
    """Return the rules as supposed; what is not supposed stays the very object, with all that is known of it."""
    if supposed.purpose is not None:
        purposes = {"purposes": (supposed.purpose,)}
        buyers = {key: one.model_copy(update=purposes) for key, one in catalogue.buyers.items()}
        catalogue = replace(catalogue, buyers=buyers)
    if supposed.repair_minor is not None:
        repairs = dict(catalogue.repairs)
        chosen = [key for key in supposed.repairs if key in repairs]
        middle = sum(repairs[key].cost_minor[1] for key in chosen)
        for key in chosen:
            # Shared out as the table shares it; a quoted price has no range.
            share = repairs[key].cost_minor[1] / middle if middle else 1 / len(chosen)
            cost = (supposed.repair_minor * share,) * 3
            repairs[key] = repairs[key].model_copy(update={"cost_minor": cost, "diy_cost_minor": None})
        catalogue = replace(catalogue, repairs=repairs)
    return catalogue
