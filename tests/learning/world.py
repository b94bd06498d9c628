"""A world whose numbers are known: pairs offered, said things of, chosen by what was said, and inspected.

Everything the buyer sees is drawn as the model says it comes about, from numbers drawn from the table's own ranges;
releases, places, signs and the table are those that come along.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from triage.catalogue import Catalogue
from triage.catalogue.climates import Climate
from triage.learning.belief import belief_of
from triage.learning.evidence import lives_of, said_of
from triage.learning.fitting import LEAST_DB, Belief
from triage.learning.likelihood import FIT, NOT_LOOKED_AT, UNFIT, WHOLE, Inspected, Lives, Numbers, Said
from triage.prognosis.ageing import normal_nodes
from triage.prognosis.chances import STORAGE_NODES, Materials, chances_after
from triage.prognosis.parts import PARTS, materials_of, part_rows
from triage.verdict.beliefs import TEXT_LEAST_DB, TEXT_MOST_DB
from triage.verdict.states import Evidence, marginals, odds_ratio

# Two signs a part that sellers speak of often, each told in the listing or in an answer.
SPOKEN = {
    "midsole": ("midsole_crumbling", "midsole_springy"),
    "outsole": ("outsole_hard", "outsole_flexible"),
    "bond": ("sole_separation", "bond_solid"),
    "upper": ("upper_synthetic_peeling", "upper_good"),
    "trim": ("trim_brittle", "trim_intact"),
}
SPEAKERS = ("listing", "answer")
OFFERED_PER_BOUGHT = 4
# How often a part is spoken of, and how often it is left out of an inspection.
SAID_OFTEN, NOT_INSPECTED = 0.6, 0.1


@dataclass(frozen=True)
class World:
    """The numbers as they are, what is believed of them, and the pairs that were bought.

    Attributes:
        truth: The numbers the pairs were drawn with.
        belief: What the table says of them.
        inspected: The bought pairs, with what was found.
        offered: How many were offered for them.
    """

    truth: Numbers
    belief: Belief
    inspected: Inspected
    offered: int


def materials(catalogue: Catalogue) -> Materials:
    return Materials(tuple(sorted(catalogue.materials)), dict(catalogue.materials), catalogue.unknown)


def weights() -> pl.DataFrame:
    """Return the weights at play, in their order."""
    rows = [
        (sign, said_by, side)
        for signs in SPOKEN.values()
        for sign in signs
        for said_by in SPEAKERS
        for side in ("if_true", "if_false")
    ]
    return pl.DataFrame(rows, schema=["sign", "said_by", "side"], orient="row")


def drawn(belief: Belief, rng: np.random.Generator) -> Numbers:
    """Return numbers drawn from a belief; weights that would change sides are drawn again."""
    eta = belief.middle.ln_eta + belief.sd.ln_eta * rng.standard_normal(len(belief.middle.ln_eta))
    beta = np.maximum(belief.middle.ln_beta + belief.sd.ln_beta * rng.standard_normal(len(eta)), 0.01)
    side = np.sign(belief.middle.weight_db)
    db = np.zeros_like(side)
    while (wrong := db * side < LEAST_DB).any():
        again = belief.middle.weight_db + belief.sd.weight_db * rng.standard_normal(len(side))
        db = np.where(wrong, again, db)
    return Numbers(eta, beta, db)


def world(catalogue: Catalogue, seed: int, pairs: int, truth: Numbers | None = None, one_story: bool = False) -> World:
    """Return a world of so many bought pairs.

    Args:
        truth: The numbers as they are; drawn from the table's ranges when left out.
        one_story: All parts of a pair share the year of manufacture and whether the wear was real, as in life; the
            model takes each part's for its own.
    """
    rng = np.random.default_rng(seed)
    known = materials(catalogue)
    belief = belief_of(catalogue, known.keys, weights(), {})
    truth = drawn(belief, rng) if truth is None else truth
    offered = OFFERED_PER_BOUGHT * pairs
    pieces = part_rows(_lives(catalogue, offered, rng), materials_of(_releases(catalogue), known))
    pieces = pieces.rename({"life": "candidate"}).with_columns(now=pl.col("looked_at"))
    lives, bears = lives_of(pieces, known, offered)
    unfit = _failed(lives, truth, rng, offered, one_story)
    has = np.zeros((offered, WHOLE), dtype=bool)
    has[lives.candidate, lives.part] = True
    said = _said(unfit, has, truth, rng)
    bought = _chosen(catalogue, known, lives, bears, said, belief, rng)[:pairs]
    return World(truth, belief, _inspected(pieces, unfit, has, said, bought, known, rng), offered)


def _releases(catalogue: Catalogue) -> pl.DataFrame:
    return catalogue.constructions.table.select(pl.col("model_id").alias("construction_id"), *PARTS)


def _lives(catalogue: Catalogue, count: int, rng: np.random.Generator) -> pl.DataFrame:
    """Return pairs of the table's releases that lay in the table's climates, looked at when 8 to 35 years old."""
    table = catalogue.constructions.table.select(
        pl.col("model_id").alias("construction_id"), "made_from", "made_to", "life_factor"
    )
    homes = list(catalogue.climates.climates.values())
    home = rng.integers(0, len(homes), count)
    release = table[rng.integers(0, table.height, count)]
    looked = release["made_to"].to_numpy() + rng.uniform(6, 33, count)
    worn = rng.random(count) < 0.3
    return release.with_columns(
        made_lo="made_from", made_hi="made_to",
        new_sole_lo=pl.lit(None, pl.Float64), new_sole_hi=pl.lit(None, pl.Float64),
        proof_year=pl.Series(np.where(worn, looked - rng.uniform(0, 8, count), np.nan)).fill_nan(None),
        trust=pl.Series(np.where(worn, rng.choice([0.3, 0.6], count), 0.0)),
        temp_c=pl.Series(np.array([one.temp_c for one in homes])[home]),
        rh_pct=pl.Series(np.array([one.rh_pct for one in homes])[home]),
        rate_factor=pl.lit(1.0), boxed=pl.Series(rng.random(count) < 0.3),
        storage_sd=pl.Series(rng.choice([0.30, 0.45], count)), looked_at=pl.Series(looked),
    ).with_row_index("life")  # fmt: skip


def _failed(lives: Lives, truth: Numbers, rng: np.random.Generator, pairs: int, one_story: bool) -> np.ndarray:
    """Return which parts are unfit, [pairs, 8]: one storage a pair, each piece with its own year and its own luck."""
    past = lives.past
    rows = np.arange(len(past.material))
    candidate = lives.candidate[lives.alternative]
    stored = np.exp(past.storage_sd * rng.standard_normal(pairs)[candidate])
    of = candidate if one_story else rows
    luck = len(rows) if not one_story else pairs
    year = rng.integers(0, past.aged.shape[0], luck)[of]
    scale = np.exp(truth.ln_eta[past.material]) * past.life_factor
    beta = np.exp(truth.ln_beta[past.material])
    hazard, proof = ((years[year, rows] * stored / scale) ** beta for years in (past.aged, past.proven))
    true_proof = rng.random(luck)[of] < past.trust
    held = rng.random(len(rows)) < np.exp(-(hazard - proof * true_proof))
    whole = np.logical_and.reduceat(held, np.flatnonzero(np.diff(lives.alternative, prepend=-1)))
    unfit = np.zeros((pairs, WHOLE), dtype=bool)
    unfit[lives.candidate, lives.part] = ~whole
    return unfit


def _said(unfit: np.ndarray, has: np.ndarray, truth: Numbers, rng: np.random.Generator) -> pl.DataFrame:
    """Return what was said: of a part one sign by one speaker, true or false as often as its weights say."""
    frames, number = [], 0
    for name, signs in SPOKEN.items():
        part = PARTS.index(name)
        speaks = has[:, part] & (rng.random(len(unfit)) < SAID_OFTEN)
        which = rng.integers(0, len(signs) * len(SPEAKERS), len(unfit))
        for choice in range(len(signs) * len(SPEAKERS)):
            said_by = SPEAKERS[choice % len(SPEAKERS)]
            true_db, false_db = truth.weight_db[number : number + 2]
            if said_by == "listing":
                true_db, false_db = np.clip([true_db, false_db], TEXT_LEAST_DB, TEXT_MOST_DB)
            ratio, denied = odds_ratio(true_db), odds_ratio(false_db)
            if_fit = (1 - denied) / (ratio - denied)
            rows = np.flatnonzero(speaks & (which == choice))
            affirmed = rng.random(len(rows)) < np.where(unfit[rows, part], ratio, 1.0) * if_fit
            hedged = np.zeros(len(rows), dtype=bool)
            frames.append(
                pl.DataFrame(
                    {"pair": rows, "place": part, "weight": number + ~affirmed, "said_by": said_by}
                ).with_columns(factor=pl.Series(np.where(hedged, 0.5, 1.0)))
            )
            number += 2
    return pl.concat(frames).sort("pair", "place")


def _chosen(catalogue, known, lives, bears, said, belief, rng) -> np.ndarray:
    """Return the pairs that were bought: their chance of wearable, as the table has it, is above what it costs."""
    evidence = evidence_of(lives, bears, said_of(said), belief.middle.weight_db, known, home_of(catalogue))
    wearable = marginals(evidence)[1]
    # The cheap ones are bought with little hope, for parts or a new sole.
    return np.flatnonzero(wearable > rng.beta(1.0, 1.5, len(wearable)))


def home_of(catalogue: Catalogue) -> Climate:
    return catalogue.climates.climates["unknown"]


def chances_of(inspected: Inspected, known: Materials, weight_db: np.ndarray, home: Climate) -> np.ndarray:
    """Return what the night says of each part given what was said, [N, 8]."""
    evidence = evidence_of(inspected.lives, inspected.bears, inspected.said, weight_db, known, home)
    return marginals(evidence)[0]


def evidence_of(lives: Lives, bears, said: Said, weight_db, known: Materials, home: Climate) -> Evidence:
    """Return pairs of one known release as the night weighs them."""
    pairs = len(bears)
    piece = 1 - chances_after(lives.past, known, home, 0.0)[1]
    chance = np.zeros((pairs, 1, WHOLE, STORAGE_NODES))
    first = np.flatnonzero(np.diff(lives.alternative, prepend=-1))
    chance[lives.candidate, 0, lives.part] = 1 - np.multiply.reduceat(piece, first, axis=0)
    sign_db = np.zeros((pairs, WHOLE))
    np.add.at(sign_db, (said.pair, said.part), weight_db[said.weight] * said.factor)
    return Evidence(
        np.ones((pairs, 1)), normal_nodes(STORAGE_NODES)[1], chance, np.zeros((pairs, 1, WHOLE)), sign_db,
        np.zeros((pairs, 1)), bears[:, None],
    )  # fmt: skip


def _inspected(pieces, unfit, has, said, bought, known, rng) -> Inspected:
    number = pl.DataFrame({"candidate": bought, "pair": np.arange(len(bought))}).cast(
        {"candidate": pieces.schema["candidate"]}
    )
    mine = pieces.join(number, on="candidate", maintain_order="left").drop("candidate").rename({"pair": "candidate"})
    lives, bears = lives_of(mine, known, len(bought))
    heard = said.join(number.rename({"candidate": "at"}).cast(pl.Int64), left_on="pair", right_on="at").drop("pair")
    heard = heard.rename({"pair_right": "pair"}).sort("pair", "place")
    looked = has[bought] & (rng.random((len(bought), WHOLE)) > NOT_INSPECTED)
    found = np.where(looked, np.where(unfit[bought], UNFIT, FIT), NOT_LOOKED_AT).astype(np.int8)
    return Inspected(
        found, np.arange(len(bought)), np.ones(len(bought)), np.zeros((len(bought), WHOLE + 1)), bears, lives,
        said_of(heard),
    )  # fmt: skip
