"""The second half of stage 7: each buyer's calls on every open pair -> verdict, plan, question, sensitivity."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from functools import partial

import numpy as np
import polars as pl

from triage.blocks import in_order
from triage.catalogue.buyers import Buyer, Outlook
from triage.catalogue.signs import Sign
from triage.store import Connection, append, frame, registered
from triage.verdict.asking import SignQuestion
from triage.verdict.beliefs import Beliefs
from triage.verdict.believing import Held, believe
from triage.verdict.calls import LEAST_FITS
from triage.verdict.chunks import chunks_of, forget, told_of
from triage.verdict.ground import Ground, Releases, trade_of
from triage.verdict.known import Known, read_listings
from triage.verdict.looks import Table, judged_rows
from triage.verdict.money import Flags, landed_cost
from triage.verdict.offers import Offer, offer_to, read_offers
from triage.verdict.plans import Mender
from triage.verdict.questions import Texts
from triage.verdict.scenes import Stakes, Trade, prices_to
from triage.verdict.tables import whole_minor
from triage.verdict.worth import pool_comparables, read_comparables

# What is no pair on offer gets its reason and no weighing.
NO_PAIR = """
SELECT l.listing_id, b.buyer, 'skip' AS call, 'none' AS plan, b.currency,
  CASE l.kind
    WHEN 'lot' THEN CASE
      WHEN EXISTS (FROM listing AS pair WHERE pair.lot_id = l.listing_id)
        THEN 'several pairs in one listing, each with its price: each is weighed by itself'
      ELSE 'several pairs in one listing: a price for one pair is not stated'
    END
    WHEN 'single' THEN 'no usable pair: a single shoe or two sizes'
    WHEN 'accessory' THEN 'no shoes in it'
    WHEN 'wanted' THEN 'somebody is looking for a pair, nothing is on offer'
    ELSE 'said to be a copy'
  END AS reason
FROM listing l
CROSS JOIN buyer_row b
WHERE l.kind <> 'pair' AND l.status = 'open' AND l.listing_id IN (SELECT listing_id FROM todo)
"""
SOUND = ("p_wearable_lo", "p_wearable", "p_wearable_hi", "weak_part")
SOUNDNESS = f"""
SELECT {", ".join(SOUND)}
FROM soundness
WHERE horizon_years = ? AND climate = ? AND listing_id IN (SELECT listing_id FROM chunk)
ORDER BY listing_id
"""
RANK = """
UPDATE verdict SET rank = placed.rank
FROM (
  SELECT listing_id, buyer, row_number() OVER (
    PARTITION BY buyer, call
    ORDER BY CASE WHEN call = 'ask' THEN ask_gain_minor ELSE surplus_minor END DESC NULLS LAST, listing_id
  ) AS rank
  FROM verdict
) placed
WHERE placed.listing_id = verdict.listing_id AND placed.buyer = verdict.buyer
  AND placed.rank IS DISTINCT FROM verdict.rank
"""


def run(
    store: Connection,
    ground: Ground,
    as_of: date,
    releases: Releases | None = None,
    pool: Callable[[Connection], None] | None = None,
    known: Known | None = None,
) -> None:
    """Write posterior, soundness, verdict without its rank, plan, question and sensitivity of the listings in ``todo``.

    Args:
        releases: Those of the store, where they were read before.
        pool: Gathers comparables as ``pool_comparables`` does, and may add listings to ``todo`` that are judged too.
        known: What ``know`` returned of the same listings; nothing that is in it is read again.
    """
    # All beliefs before any verdict: a pair's worth is read off other pairs that are believed sound.
    held = believe(store, ground, known)
    if known is None:
        if pool is None:
            pool_comparables(store, ground.values)
        else:
            pool(store)
    judge(store, ground, as_of, releases, held, known)


def judge(
    store: Connection,
    ground: Ground,
    as_of: date,
    releases: Releases | None = None,
    held: Mapping[Outlook, Held] | None = None,
    known: Known | None = None,
) -> None:
    """Write verdict without its rank, plan, question and sensitivity; comparables must be pooled before.

    Args:
        releases: Those of the store, where they were read before.
        held: As ``believe`` returned them: what is believed of few pairs is not read again.
        known: As of ``run``.
    """
    forget(store, ("verdict", "plan", "question", "sensitivity"), known)
    listings = read_listings(store) if known is None else known.listings
    if listings.select((pl.col("open") & ~pl.col("pair")).any()).item():
        buyers = [{"buyer": buyer.id, "currency": buyer.currency} for buyer in ground.buyers.values()]
        with registered(store, "buyer_row", pl.DataFrame(buyers)):
            append(store, "verdict", frame(store, NO_PAIR).with_columns(rank=pl.lit(1)))
    bench = Bench.of(releases or Releases.of(store), ground, as_of)
    chunks = chunks_of(store, listings.filter("pair", "open"), known)
    read = (_read_wanted(store, bench, held or {}, known) for _ in chunks)
    for judged in in_order(partial(_judged, bench, known), read, few=known is not None):
        for name, rows in judged:
            append(store, name, rows)


def rank(store: Connection) -> None:
    """Give every verdict of the store its place within the calls of its buyer."""
    store.execute(RANK)


@dataclass(frozen=True)
class Bench:
    """What all chunks are judged with."""

    ground: Ground
    as_of: date
    questions: list[SignQuestion]
    texts: Texts
    trade: Trade
    menders: Mapping[str, Mender]

    @classmethod
    def of(cls, releases: Releases, ground: Ground, as_of: date) -> "Bench":
        """Return the bench of a night."""
        questions, trade = ground.questions(), trade_of(releases, ground)
        texts = Texts(ground.signs, ground.facts, questions, releases.names)
        menders = {buyer.id: trade.mender(buyer) for buyer in ground.buyers.values()}
        return cls(ground, as_of, questions, texts, trade, menders)


@dataclass(frozen=True)
class Wanted:
    """The pairs of a chunk that some buyer may want, from each buyer's side, and what the store says of them.

    Attributes:
        ids: The listings, N.
        offered: As offers to a buyer, by buyer.
        sound: Soundness, N rows, by outlook.
        by: Which of them a buyer may want, [N], by buyer.
        beliefs: Returns what is believed of them in an outlook.
        comparables: As ``read_comparables`` returns them.
    """

    ids: list[str]
    offered: Mapping[str, Offer]
    sound: Mapping[Outlook, pl.DataFrame]
    by: Mapping[str, Flags]
    beliefs: Callable[[Outlook], Beliefs]
    comparables: pl.DataFrame


def _read_wanted(
    store: Connection, bench: Bench, held: Mapping[Outlook, Held], known: Known | None
) -> tuple[list[pl.DataFrame], Wanted | None]:
    """Return the verdicts on pairs in ``chunk`` that are none for a buyer, and the pairs that some buyer may want.

    Args:
        held: What is believed of few pairs, which is not read again if all of them are weighed.
    """
    ground, at_hand = bench.ground, (None, None) if known is None else (known.offers, known.said)
    offers = read_offers(store, *at_hand)
    ids = offers["listing_id"].to_list()
    if theirs := _of(held, ids):
        sound = {outlook: one.sound.select(SOUND) for outlook, one in theirs.items()}
    else:
        sound = {outlook: frame(store, SOUNDNESS, outlook) for outlook in ground.outlooks()}
    offered = {buyer.id: offer_to(buyer, offers, ground.costs, bench.as_of) for buyer in ground.buyers.values()}
    none, by = [], {}
    for buyer in ground.buyers.values():
        out = ruled_out(buyer, offered[buyer.id], ground.signs)
        if out.null_count() < len(out):
            none.append(ruled_out_rows(buyer, offered[buyer.id], out, sound[buyer.outlook]))
        by[buyer.id] = out.is_null().to_numpy()
    # Only what some buyer may want is read and weighed.
    some = np.flatnonzero(np.logical_or.reduce([*by.values()]))
    if not len(some):
        return none, None
    if len(some) == len(ids):
        told = _read_beliefs(store, bench, _of(held, ids), known)
    else:
        wanted = offers.select("listing_id")[some]
        with registered(store, "chunk", wanted):
            told = _read_beliefs(store, bench, _of(held, wanted["listing_id"].to_list()), known)
    return none, Wanted(
        [ids[at] for at in some],
        {key: offer.take(some) for key, offer in offered.items()},
        {outlook: rows[some] for outlook, rows in sound.items()},
        {key: which[some] for key, which in by.items()},
        *told,
    )


def _of(held: Mapping[Outlook, Held], ids: list[str]) -> Mapping[Outlook, Held]:
    """Return what is held if it is of these pairs, and nothing if it is of others."""
    return held if all(one.beliefs.listing_ids == ids for one in held.values()) else {}


def _read_beliefs(
    store: Connection, bench: Bench, held: Mapping[Outlook, Held], known: Known | None
) -> tuple[Callable[[Outlook], Beliefs], pl.DataFrame]:
    """Return what tells what is believed of the pairs in ``chunk``, and what their releases fetch.

    Args:
        held: What is believed of these very pairs, or nothing.
    """
    ground = bench.ground
    comparables = read_comparables(store, ground.values) if known is None else known.comparables
    if held:
        return (lambda outlook: held[outlook].beliefs), comparables
    return told_of(store, ground, None).beliefs, comparables


def _judged(
    bench: Bench, known: Known | None, read: tuple[list[pl.DataFrame], Wanted | None]
) -> list[tuple[str, pl.DataFrame]]:
    """Return rows of ``verdict``, ``plan``, ``question`` and ``sensitivity`` with their tables.

    Args:
        read: As ``_read_wanted`` returned it.
    """
    ground = bench.ground
    none, wanted = read
    judged = [("verdict", rows) for rows in none]
    if wanted is None:
        return judged
    for outlook in ground.outlooks():
        beliefs = wanted.beliefs(outlook)
        for buyer in ground.buyers.values():
            rows = np.flatnonzero(wanted.by[buyer.id])
            if buyer.outlook != outlook or not len(rows):
                continue
            mender = bench.menders[buyer.id]
            bears = beliefs.evidence.bears
            prices = None if known is None else known.prices_to(buyer, mender, bears)
            if prices is None:
                named = beliefs.listing_ids, beliefs.construction
                prices = prices_to(buyer, *named, bears, wanted.comparables, mender, ground.values)
            stakes = Stakes(buyer, beliefs, wanted.offered[buyer.id], prices)
            table = Table(stakes, wanted.sound[outlook], bench.questions, bench.texts, ground.repairs, ground.values)
            found = judged_rows(table, rows)
            judged += [(name, of.sort("listing_id", maintain_order=True)) for name, of in found.items()]
    return judged


def ruled_out(buyer: Buyer, offer: Offer, signs: Mapping[str, Sign]) -> pl.Series:
    """Return why a pair is none for this buyer whatever it costs, or NULL."""
    no = pl.col("affirmed").list.set_intersection(list(buyer.hard_noes))
    words = {sign: signs[sign].affirmed for sign in buyer.hard_noes if sign in signs}
    first_no = no.list.first().replace_strict(words, default=no.list.first(), return_dtype=pl.String)
    never = pl.lit(False)
    first, last = buyer.style_years or (0, 0)
    reasons = (
        (no.list.len() > 0, pl.format("one of this buyer's hard no's: {}", first_no)),
        (
            pl.Series("size", offer.fits) < LEAST_FITS,
            pl.format("not this buyer's size ({})", pl.col("size_text").fill_null("from the title")),
        ),
        (
            ~pl.col("category").is_in(list(buyer.categories)) if buyer.categories else never,
            pl.format("{}: not what this buyer looks for", "category"),
        ),
        (
            ~pl.col("style_year").is_between(first, last) if buyer.style_years else never,
            pl.format("a design of {}: this buyer wants {} to {}", "style_year", pl.lit(first), pl.lit(last)),
        ),
    )
    told = [pl.when(holds).then(reason) for holds, reason in reasons]
    return offer.rows.select(pl.coalesce(told).alias("reason")).to_series()


def ruled_out_rows(buyer: Buyer, offer: Offer, out: pl.Series, sound: pl.DataFrame) -> pl.DataFrame:
    """Return the verdicts on pairs that are none for this buyer: skips that are not weighed further."""
    price = np.nan_to_num(offer.price)
    return (
        sound.with_columns(
            offer.rows["listing_id"],
            out.alias("reason"),
            pl.Series("p_fits", offer.fits),
            pl.Series("shipping_assumed", offer.shipping_assumed),
            landed_minor=whole_minor(np.where(np.isnan(offer.price), np.nan, landed_cost(price, offer.terms))),
            buyer=pl.lit(buyer.id),
            currency=pl.lit(buyer.currency),
            call=pl.lit("skip"),
            plan=pl.lit("none"),
            rank=pl.lit(1),
            offer_minor=pl.lit(0),
        )
        .filter(pl.col("reason").is_not_null())
    )  # fmt: skip
