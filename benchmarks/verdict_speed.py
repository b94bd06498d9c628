"""Time stage 7 on many listings with three candidates of up to eight parts and twelve questions each.

    python benchmarks/verdict_speed.py [listings]

The listings are drawn: chances of ageing at seven storage nodes, signs, rules, prices around what a pair is worth, a
tenth with returns, a size that may fit. Repairs, values, signs and the buyer are those of ``rules/``; of all signs that
can be asked for, each part's first ones are taken until there are twelve. Timed is everything from the arrays that the
tables give to beliefs, plans, highest sensible offers, best questions and calls, block by block; the drawing, and the
store's own reading and writing, are not.
"""

import hashlib
import resource
import sys
import time
from collections import Counter
from functools import partial
from pathlib import Path

import numpy as np
import polars as pl

from triage import batch, catalogue
from triage.blocks import CORES, in_order, slices
from triage.verdict.asking import SignQuestion
from triage.verdict.beliefs import Beliefs
from triage.verdict.calls import ASK
from triage.verdict.chunks import CHUNK_LISTINGS
from triage.verdict.looks import BLOCK, Table
from triage.verdict.money import Terms
from triage.verdict.offers import Offer
from triage.verdict.plans import Mender, Worth
from triage.verdict.questions import Texts
from triage.verdict.scenes import Stakes, cases_of
from triage.verdict.states import PARTS, Evidence, marginals

QUESTIONS, CANDIDATES = 12, 3
# Values a release may have: with the few dozen releases of the table as many different cases as with 5,000.
VALUES = 100
NODES = np.array([0.0005, 0.0308, 0.2401, 0.4572, 0.2401, 0.0308, 0.0005]) / 0.9996
KNOWN = catalogue.load(Path(__file__).parent.parent / "rules")
BUYER = KNOWN.buyers["daily"]
RELEASES = KNOWN.constructions.table.select("model_id", "category", *PARTS).fill_null("")
MATERIALS = {row["model_id"]: row for row in RELEASES.to_dicts()}


def siblings() -> np.ndarray:
    """Return for each release ten of its category, itself among them: what a title may be taken for."""
    kin = RELEASES.with_row_index("number").group_by("category", maintain_order=True).agg("number")
    rows = [group for group in kin["number"].to_list() for _ in group]
    return np.array([np.resize(np.roll(group, -place), 10) for place, group in enumerate(rows)])


def twelve() -> list[SignQuestion]:
    """Return twelve questions, spread over the parts."""
    every = batch.ground(KNOWN).questions()
    turn: Counter[int] = Counter()
    ranked = []
    for question in every:
        ranked.append((turn[question.bit], question.sign, question))
        turn[question.bit] += 1
    return [question for _, _, question in sorted(ranked, key=lambda one: one[:2])][:QUESTIONS]


def drawn(draw: np.random.Generator, count: int, mender: Mender) -> tuple[Beliefs, Offer, Worth]:
    """Return some listings: what is believed of them, on what terms they are offered, and what they are worth."""
    shape = (count, CANDIDATES)
    number = SIBLINGS[draw.integers(0, len(SIBLINGS), count)[:, None], draw.integers(0, SIBLINGS.shape[1], shape)]
    present = np.stack([(RELEASES[part] != "").to_numpy()[number] for part in PARTS], axis=2)
    harm = draw.beta(0.8, 2.0, (*shape, len(PARTS), 1))
    chance = (1 - (1 - harm) ** np.exp(np.linspace(-1, 1, len(NODES)))) * present[..., None]
    bears = present & np.isin(PARTS, ("midsole", "outsole", "cushion", "bond"))
    said = draw.random((count, len(PARTS))) < 0.2
    whole = np.broadcast_to((draw.random((count, 1)) < 0.2) * draw.uniform(-3, 8, (count, 1)), shape)
    ruled = draw.uniform(-2, 6, (*shape, len(PARTS))) * (draw.random((*shape, len(PARTS))) < 0.2)
    weight = draw.dirichlet((6, 1, 0.5), count)
    evidence = Evidence(weight, NODES, chance, ruled, draw.uniform(-9, 15, said.shape) * said, whole.copy(), bears)
    ids = [f"{i:07d}" for i in range(count)]
    spoken = draw.random((count, QUESTIONS)) < 0.1
    listing, sign = np.nonzero(spoken)
    names = pl.Series([question.sign for question in ASKED])
    told = pl.DataFrame({"listing_id": pl.Series(ids).gather(listing), "sign": names.gather(sign)})
    groups = {question.group: draw.uniform(-5, 8, count) * spoken[:, i] for i, question in enumerate(ASKED)}
    beliefs = Beliefs(
        ids, RELEASES["model_id"].to_numpy()[number], evidence, chance, chance, chance.mean(axis=(1, 3)),
        present.any(axis=1), groups, told,
    )  # fmt: skip
    value = np.round(draw.lognormal(9.3, 0.4, (RELEASES.height, VALUES)), -2)[number, draw.integers(0, VALUES, shape)]
    price = np.round(value[:, 0] * draw.lognormal(-0.7, 0.7, count))
    many = np.ones(count)
    terms = Terms(0 * many, 600 * many, 0 * many, 15_000 * many, 0 * many, 15_000 * many, 0.19 * many, 100 * many)
    firm = draw.random(count) < 0.2
    back = np.where(draw.random(count) < 0.1, 0.7, 0.0)
    fits = draw.choice([0.12, 0.6, 1.0], count, p=[0.2, 0.4, 0.4])
    offer = Offer(pl.DataFrame(), price, terms, draw.random(count) < 0.5, fits, back, 800 * many, firm)
    return beliefs, offer, Worth(value, value * 0.8, value * 0.1)


def three_marginals(evidence: Evidence, rows: slice) -> list[tuple[np.ndarray, np.ndarray]]:
    """Return what is believed for short, middling and long lives, as stage 7 does before any call."""
    part = evidence.take(rows)
    return [marginals(part) for _ in range(3)]


def main() -> None:
    """Print seconds, calls and peak memory."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    draw, mender = np.random.default_rng(20261125), Mender(list(KNOWN.repairs.values()), MATERIALS, BUYER)
    spent, busy, calls, asked, digest = 0.0, 0.0, np.zeros(3, dtype=np.int64), 0, hashlib.sha256()
    for start in range(0, count, CHUNK_LISTINGS):
        beliefs, offer, worth = drawn(draw, min(CHUNK_LISTINGS, count - start), mender)
        began, processor = time.perf_counter(), time.process_time()
        for _ in in_order(partial(three_marginals, beliefs.evidence), slices(len(offer.price), BLOCK)):
            continue
        mending = mender.of(beliefs.construction, beliefs.evidence.bears)
        cases = cases_of(worth, mending, mender.mendings, BUYER, KNOWN.values)
        doubt = np.full(len(mending), 0.2)
        stakes = Stakes(BUYER, beliefs, offer, *cases, worth, mending, pl.Series(), worth.sound[:, 0], doubt)
        table = Table(stakes, pl.DataFrame(), ASKED, Texts({}, {}, [], {}), KNOWN.repairs, mender, KNOWN.values)
        for _, made in in_order(table.decided, table.blocks(np.arange(len(offer.price)))):
            calls += np.bincount(made.call, minlength=3)
            asked += int(made.asked.bits[made.call == ASK].sum())
            digest.update(made.offer.round().tobytes() + made.call.tobytes())
        spent, busy = spent + time.perf_counter() - began, busy + time.process_time() - processor
    print(f"{count} listings, {CANDIDATES} candidates, {len(ASKED)} questions: {spent:.1f} s on at most {CORES} cores")
    print(f"  {busy:.1f} s of processor time; buy, ask, skip: {calls.tolist()}, {asked} questions asked")
    print(f"  offers and calls: {digest.hexdigest()[:16]}")
    print(f"  peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20:.2f} GB")


ASKED = twelve()
SIBLINGS = siblings()


if __name__ == "__main__":
    main()
