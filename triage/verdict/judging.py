"""The stage itself: chunks of listings, one horizon and one buyer after the other, to the tables."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import polars as pl

from triage.catalogue.buyers import Buyer, Outlook
from triage.catalogue.costs import Costs
from triage.catalogue.facts import Fact
from triage.catalogue.repairs import Repair
from triage.catalogue.signs import Sign
from triage.catalogue.values import Values
from triage.store import Connection, append, frame, register
from triage.verdict.asking import WHOLE, SignQuestion
from triage.verdict.beliefs import LEAST_CANDIDATE, Beliefs, read_beliefs
from triage.verdict.calls import ASK, LEAST_FITS, SKIP, Scene, decide
from triage.verdict.money import Array, Flags, landed_cost
from triage.verdict.offers import Offer, offer_to, read_offers
from triage.verdict.plans import Worth, lost_share, mendings_for, value_states
from triage.verdict.questions import Texts, question_rows
from triage.verdict.reasons import with_reasons
from triage.verdict.states import PARTS, joint, part_chances, wearable_chance
from triage.verdict.tables import Judged, hoped, plan_rows, verdict_rows, weak_part, whole_minor
from triage.verdict.worth import as_array, read_comparables, worth_to

CHUNK_LISTINGS = 1000

# What is no pair on offer gets its reason and no weighing.
NO_PAIR = """
SELECT l.listing_id, b.buyer, 'skip' AS call, 'none' AS plan, b.currency,
  CASE l.kind
    WHEN 'lot' THEN 'several pairs in one listing: a price for one pair is not stated'
    WHEN 'single' THEN 'no usable pair: a single shoe or two sizes'
    WHEN 'accessory' THEN 'no shoes in it'
    WHEN 'wanted' THEN 'somebody is looking for a pair, nothing is on offer'
    ELSE 'said to be a copy'
  END AS reason
FROM listing l
CROSS JOIN buyer_row b
WHERE l.kind <> 'pair' AND l.status = 'open' AND l.listing_id IN (SELECT listing_id FROM todo)
"""
# What is sold or gone is believed in too: it stays comparable.
PAIRS = f"""
SELECT
  l.listing_id,
  bool_or(l.status = 'open') AS open,
  count(*) FILTER (WHERE m.place = 1 OR m.probability >= {LEAST_CANDIDATE}) AS candidates
FROM listing l
JOIN match m USING (listing_id)
WHERE l.kind = 'pair' AND l.listing_id IN (SELECT listing_id FROM todo)
GROUP BY l.listing_id
ORDER BY candidates, l.listing_id
"""
SOUNDNESS = """
SELECT p_wearable_lo, p_wearable, p_wearable_hi
FROM soundness
WHERE horizon_years = ? AND climate = ? AND listing_id IN (SELECT listing_id FROM chunk)
ORDER BY listing_id
"""
RELEASES = """
SELECT model_id, concat('the ', edition, ' ', model, ', made ', floor(made_from)::INTEGER, ' to ',
  floor(made_to - 0.01)::INTEGER) AS name
FROM construction
WHERE NOT generic AND edition IS NOT NULL AND made_from IS NOT NULL
ORDER BY model_id
"""
MATERIALS = f"SELECT model_id, {', '.join(PARTS)} FROM construction ORDER BY model_id"
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
"""


@dataclass(frozen=True)
class Ground:
    """What the stage knows beside the tables: the money side of ``rules/``, signs and facts."""

    buyers: Mapping[str, Buyer]
    repairs: Mapping[str, Repair]
    costs: Costs
    values: Values
    signs: Mapping[str, Sign]
    facts: Mapping[str, Fact]
    ageing_signs: frozenset[str]

    def outlooks(self) -> list[Outlook]:
        """Return the outlooks of the buyers, shortest first."""
        return sorted({buyer.outlook for buyer in self.buyers.values()})

    def questions(self) -> list[SignQuestion]:
        """Return the signs that can be asked for, with the weights of an answer."""
        bits = {part: number for number, part in enumerate(PARTS)} | {"whole": WHOLE}
        return [
            SignQuestion(sign.id, bits[sign.part], sign.group, weight.if_true, weight.if_false)
            for sign in sorted(self.signs.values(), key=lambda sign: sign.id)
            if sign.question is not None
            and sign.part in bits
            and sign.id not in self.ageing_signs
            and (weight := sign.weight.get("answer")) is not None
        ]


def run(store: Connection, ground: Ground, as_of: date) -> None:
    """Write posterior, soundness, verdict, plan and question of the listings in ``todo``."""
    for table in ("posterior", "soundness", "verdict", "plan", "question"):
        store.execute(f"DELETE FROM {table} WHERE listing_id IN (SELECT listing_id FROM todo)")
    buyers = [{"buyer": buyer.id, "currency": buyer.currency} for buyer in ground.buyers.values()]
    register(store, "buyer_row", pl.DataFrame(buyers))
    append(store, "verdict", frame(store, NO_PAIR).with_columns(rank=pl.lit(1)))
    store.unregister("buyer_row")
    pairs = frame(store, PAIRS)
    # All beliefs before any verdict: a pair's worth is read off other pairs that are believed sound.
    for _ in _chunks(store, pairs):
        for outlook in ground.outlooks():
            _believe(store, ground, outlook)
    materials = {row["model_id"]: row for row in frame(store, MATERIALS).fill_null("").to_dicts()}
    for _ in _chunks(store, pairs.filter("open")):
        _judge(store, ground, materials, as_of)
    store.execute(RANK)


def _chunks(store: Connection, pairs: pl.DataFrame) -> Iterator[int]:
    """Register the pairs as ``chunk``, a thousand at a time; yield where each begins.

    Pairs of as many candidates come together: arrays are as wide as the pair with most of them.
    """
    for _, alike in pairs.group_by("candidates", maintain_order=True):
        for start in range(0, alike.height, CHUNK_LISTINGS):
            register(store, "chunk", alike.select("listing_id").slice(start, CHUNK_LISTINGS))
            yield start
            store.unregister("chunk")


def _believe(store: Connection, ground: Ground, outlook: Outlook) -> None:
    beliefs = read_beliefs(store, ground.signs, ground.ageing_signs, outlook)
    states = joint(beliefs.evidence)
    ends = [joint(beliefs.with_chance(chance)) for chance in (beliefs.low, beliefs.high)]
    append(store, "posterior", posterior_rows(beliefs, states, ends, outlook))
    low, mid, high = _wearable(states, ends, beliefs)
    sound = {
        "listing_id": beliefs.listing_ids,
        **outlook._asdict(),
        "p_wearable_lo": np.minimum(low, mid),
        "p_wearable": mid,
        "p_wearable_hi": np.maximum(high, mid),
    }
    append(store, "soundness", pl.DataFrame(sound))


def _judge(store: Connection, ground: Ground, materials: Mapping[str, Mapping[str, str]], as_of: date) -> None:
    offers, comparables = read_offers(store), read_comparables(store, ground.values)
    questions = ground.questions()
    texts = Texts(ground.signs, ground.facts, questions, release_names(store))
    for outlook in ground.outlooks():
        beliefs = read_beliefs(store, ground.signs, ground.ageing_signs, outlook)
        states = joint(beliefs.evidence)
        sound = frame(store, SOUNDNESS, outlook).with_columns(
            weak_part=pl.Series(weak_part(part_chances(states), beliefs.evidence, beliefs.present), dtype=pl.String)
        )
        for buyer in ground.buyers.values():
            if buyer.outlook != outlook:
                continue
            offer = offer_to(buyer, offers, ground.costs, as_of)
            out = ruled_out(buyer, offer, ground.signs)
            rows = np.flatnonzero(out.is_null().to_numpy())
            append(store, "verdict", ruled_out_rows(buyer, offer, out, sound))
            if not len(rows):
                continue
            some, one = beliefs.take(rows), offer.take(rows)
            scene, basis, value = set_scene(buyer, some, states[rows], one, comparables, ground, materials)
            calls = decide(scene, questions, *_open_questions(some, questions))
            none = (np.zeros(len(value)), np.zeros(len(value), dtype=np.bool_))
            judged = Judged(some, scene, calls, sound[rows.tolist()], basis, value, none, ground.repairs)
            judged = with_hope(judged)
            asked = question_rows(judged, texts, judged.calls.call == ASK)
            append(store, "verdict", with_reasons(verdict_rows(judged), asked))
            append(store, "plan", plan_rows(judged, buyer.id))
            append(store, "question", asked)


def with_hope(judged: Judged) -> Judged:
    """Return the calls with asks that no answer could turn into a buy made skips."""
    calls = judged.calls
    hope = hoped(judged)
    lost = (calls.call == ASK) & ~calls.haggle & (hope[0] <= 0)
    return replace(judged, hope=hope, calls=replace(calls, call=np.where(lost, SKIP, calls.call)))


def _wearable(states: Array, ends: list[Array], beliefs: Beliefs) -> tuple[Array, Array, Array]:
    """Return the chance of wearable: lower end (short lives), middle, upper end (long lives)."""
    bears = beliefs.evidence.bears
    return wearable_chance(ends[1], bears), wearable_chance(states, bears), wearable_chance(ends[0], bears)


def release_names(store: Connection) -> dict[str, str]:
    """Return how a release is called in a sentence: edition and years of manufacture."""
    return {row["model_id"]: row["name"] for row in frame(store, RELEASES).to_dicts()}


def _open_questions(beliefs: Beliefs, questions: list[SignQuestion]) -> tuple[Array, Flags]:
    """Return the decibans each question's group carries now, and whether nobody spoke of the sign yet."""
    count = len(beliefs.listing_ids)
    none = np.zeros(count)
    current = np.stack([beliefs.group_db.get(question.group, none) for question in questions], axis=1)
    index = {question.sign: number for number, question in enumerate(questions)}
    position = {listing: number for number, listing in enumerate(beliefs.listing_ids)}
    said = beliefs.said.filter(pl.col("sign").is_in(list(index)))
    unsaid = np.ones((count, len(questions)), dtype=np.bool_)
    unsaid[
        said["listing_id"].replace_strict(position, return_dtype=pl.Int64).to_numpy(),
        said["sign"].replace_strict(index, return_dtype=pl.Int64).to_numpy(),
    ] = False
    has = np.concatenate([beliefs.present, np.ones((count, 1), dtype=np.bool_)], axis=1)
    return current, unsaid & has[:, [question.bit for question in questions]]


def set_scene(
    buyer: Buyer, beliefs: Beliefs, states: Array, offer: Offer, comparables: pl.DataFrame, ground: Ground,
    materials: Mapping[str, Mapping[str, str]],
) -> tuple[Scene, list[str], Array]:  # fmt: skip
    """Return what a buyer faces, where the value is from, and the value when sound, [N]."""
    table = worth_to(buyer, comparables)
    sound, display, parts = (
        as_array(table, name, beliefs.listing_ids, beliefs.construction)
        for name in ("sound_minor", "display_minor", "parts_minor")
    )
    worth, bears = Worth(sound, display, parts), beliefs.evidence.bears
    kinds = mendings_for(beliefs.construction, bears, materials, list(ground.repairs.values()), buyer)
    values = ground.values
    shares = (lost_share(values.unfit_share), values.restored_share, values.display_loss)
    never = np.full(len(sound), -np.inf)
    fitting = value_states(worth, bears, kinds, buyer, shares, never)
    others = tuple(purpose for purpose in buyer.purposes if purpose in ("display", "resell"))
    salvage = buyer.model_copy(update={"purposes": others})
    other = value_states(worth, bears, kinds, salvage, shares, never)
    likeliest = np.array([row[0] for row in beliefs.construction], dtype=object)
    order = pl.DataFrame({"listing_id": beliefs.listing_ids, "construction_id": likeliest.tolist()}).with_columns(
        pl.col("construction_id").replace("", None)
    )
    basis = order.join(table, on=["listing_id", "construction_id"], how="left", nulls_equal=True, maintain_order="left")
    value = (beliefs.evidence.weight * sound).sum(axis=1)
    return Scene(buyer, offer, states, bears, fitting, other), basis["basis"].fill_null("").to_list(), value


def posterior_rows(beliefs: Beliefs, states: Array, ends: list[Array], outlook: Outlook) -> pl.DataFrame:
    """Return the rows of ``posterior``: per part the prior, the decibans and what is believed."""
    low, mid, high = (part_chances(found) for found in (ends[0], states, ends[1]))
    rule = np.einsum("nc,ncj->nj", beliefs.evidence.weight, beliefs.evidence.rule_db)
    count, width = mid.shape
    rows = pl.DataFrame(
        {
            "listing_id": np.repeat(np.array(beliefs.listing_ids, dtype=object), width).tolist(),
            **outlook._asdict(),
            "part": list(PARTS) * count,
            "p_prior": beliefs.prior.ravel(),
            "sign_db": beliefs.evidence.sign_db.ravel(),
            "rule_db": rule.ravel(),
            "p_unfit_lo": np.minimum(low, mid).ravel(),
            "p_unfit": mid.ravel(),
            "p_unfit_hi": np.maximum(high, mid).ravel(),
            "present": beliefs.present.ravel(),
        }
    )
    return rows.filter("present").drop("present")


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
