"""From the tables to evidence: ageing, signs and rules of every pair as arrays."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property, partial

import numpy as np
import numpy.typing as npt
import polars as pl

from triage.catalogue.buyers import Outlook
from triage.catalogue.signs import Sign
from triage.handed import Lives, holding, read_said
from triage.once import once
from triage.order import ordered
from triage.store import Connection, frame
from triage.verdict.states import PARTS, Array, Chances, Evidence, Flags, Led, greatest

# A text as a whole may move a part's odds from 1/8 to 50 times, no more (our judgement): signs of one
# part are correlated, and words are only words. Answers and the buyer's own look are not held back.
TEXT_LEAST_DB, TEXT_MOST_DB = -9.0, 17.0
# All rules of a part together move its odds from 0.4 to 10 times, those of the pair as a whole 2.5 times
# either way (our judgement): they are rules of thumb beside what was said and what age does.
RULES_LEAST_DB, RULES_MOST_DB, WHOLE_RULES_DB = -4.0, 10.0, 4.0
# Where a part's decibans stand; those of the pair as a whole come last.
BIT_OF_PART = pl.DataFrame({"part": [*PARTS, "whole"], "bit": list(range(len(PARTS) + 1))})
NUMBER_OF_PART = {part: number for number, part in enumerate(PARTS)}
# Room for candidates, always a multiple of it: sums over more room may end in another last bit, and which other pairs
# are at hand is not to decide that.
SLOTS = 4

LED = """
SELECT listing_id, place, life
FROM life_led
WHERE listing_id IN (SELECT listing_id FROM chunk)
"""
# By their places: a join would read the lists of every row before it leaves most out.
LIVES = """
SELECT life, part, load_bearing, p_unfit_lo_node, p_unfit_node, p_unfit_hi_node
FROM life_part
WHERE rowid IN (
  SELECT rowid
  FROM life_part
  WHERE horizon_years = ? AND climate = ?
    AND life IN (SELECT life FROM life_led WHERE listing_id IN (SELECT listing_id FROM chunk))
)
"""
STORAGE_NODES = "SELECT weight FROM storage_node ORDER BY node"
CANDIDATES = """
SELECT listing_id, place, construction_id, probability
FROM candidate
WHERE listing_id IN (SELECT listing_id FROM chunk)
"""
FINDINGS = """
SELECT listing_id, place, rule_id, part, grouping, decibans
FROM finding_fired
WHERE listing_id IN (SELECT listing_id FROM chunk)
"""


@dataclass(frozen=True)
class Beliefs:
    """Evidence for N pairs, with the ageing range, in the order of ``listing_ids``."""

    listing_ids: list[str]
    construction: npt.NDArray[np.object_]
    evidence: Evidence
    low: Array | Chances | Led
    high: Array | Chances | Led
    prior: Array
    present: Flags
    group_db: Mapping[str, Array]
    said: pl.DataFrame

    def with_chance(self, chance: Array | Chances | Led) -> Evidence:
        """Return the evidence with other chances of ageing, for the ends of the range."""
        return replace(self.evidence, chance=chance)


@dataclass(frozen=True)
class Candidates:
    """The releases that the N listings in ``chunk`` may be.

    Attributes:
        slots: Where each candidate stands: listing_id, place, slot, row.
        weight, construction: By pair and slot, [N, C].
    """

    listing_ids: list[str]
    slots: pl.DataFrame
    weight: Array
    construction: npt.NDArray[np.object_]


@dataclass(frozen=True)
class Aged:
    """How the L lives that candidates led have aged; a last one stands for no life, of which no part is there.

    Attributes:
        low, mid, high: Chance of unfit of each part at each storage node, [L + 1, 8, K].
        bears: The part can drop, trip or cut the wearer, [L + 1, 8].
        life: Which of the lives each candidate led, [N, C].
        node_weight: Of each storage node, [K].
    """

    low: Chances
    mid: Chances
    high: Chances
    bears: Flags
    life: npt.NDArray[np.int64]
    node_weight: Array

    @property
    def bears_of_candidates(self) -> Flags:
        """Whether a part of each candidate can drop, trip or cut the wearer, [N, C, 8]."""
        return self.bears[self.life]


@dataclass(frozen=True)
class Heard:
    """What is known of the listings in ``chunk`` whatever the outlook: candidates, signs and rules.

    Attributes:
        sign_db, whole_db, rule_db: As in ``Evidence``.
        group_db: By group of signs what it carries now, decibans, [N].
        said: Signs somebody spoke of without a hedge: listing_id, sign.
    """

    candidates: Candidates
    sign_db: Array
    whole_db: Array
    rule_db: Array
    group_db: Mapping[str, Array]
    said: pl.DataFrame

    def beliefs(self, aged: Aged) -> Beliefs:
        """Return what is believed of the pairs with how their parts age in an outlook."""
        weight, life = self.candidates.weight, aged.life
        low, mid, high = (Led(ends, life) for ends in (aged.low, aged.mid, aged.high))
        bears, present = aged.bears_of_candidates, greatest(mid) > 0
        evidence = Evidence(weight, aged.node_weight, mid, self.rule_db, self.sign_db, self.whole_db, bears)
        prior = np.einsum("nc,ncj->nj", weight, (aged.mid @ aged.node_weight)[life])
        return Beliefs(
            self.candidates.listing_ids, self.candidates.construction, evidence, low, high, prior, present,
            self.group_db, self.said,
        )  # fmt: skip


@dataclass(frozen=True)
class Told:
    """What the store says of the listings in ``chunk``: what it comes to is worked out when asked, in any thread.

    Attributes:
        said: As ``read_said`` returns it.
        findings: Rows of ``finding_fired``.
        ages: Returns how the parts have aged, by outlook.
        signs: Signs by id.
        ageing: Signs that act through the age of the parts.
    """

    candidates: Candidates
    said: pl.DataFrame
    findings: pl.DataFrame
    ages: Mapping[Outlook, Callable[[], Aged]]
    signs: Mapping[str, Sign]
    ageing: frozenset[str]

    @cached_property
    def heard(self) -> Heard:
        """Return what is known whatever the outlook."""
        return heard_of(self.candidates, self.said, self.findings, self.signs, self.ageing)

    def beliefs(self, outlook: Outlook) -> Beliefs:
        """Return what is believed in an outlook."""
        return self.heard.beliefs(self.ages[outlook]())


def read_beliefs(store: Connection, signs: Mapping[str, Sign], ageing: frozenset[str], outlook: Outlook) -> Beliefs:
    """Return what is believed of the listings in ``chunk`` for one outlook.

    Args:
        ageing: Signs that act through the age of the parts.
    """
    candidates = read_candidates(store)
    return read_heard(store, signs, ageing, candidates).beliefs(read_aged(store, candidates, outlook))


def read_candidates(store: Connection) -> Candidates:
    """Return the releases that the listings in ``chunk`` may be."""
    candidates = ordered(frame(store, CANDIDATES), "listing_id", "place")
    candidates = candidates.with_columns(row=pl.col("listing_id").rle_id().cast(pl.Int64))
    # Where each listing's candidates begin: they stand together.
    first = np.flatnonzero(np.diff(candidates["row"].to_numpy(), prepend=-1))
    candidates = candidates.with_columns(slot=pl.int_range(pl.len()) - pl.lit(pl.Series(first)).gather("row"))
    ids = candidates["listing_id"].gather(first).to_list()
    most = int(candidates["slot"].max() or 0) + 1  # type: ignore[arg-type]
    shape = (len(ids), -(-most // SLOTS) * SLOTS)
    at = candidates["row"].to_numpy(), candidates["slot"].to_numpy()
    weight, construction = np.zeros(shape), np.full(shape, "", dtype=object)
    weight[at] = candidates["probability"].to_numpy()
    weight /= weight.sum(axis=1, keepdims=True)
    construction[at] = candidates["construction_id"].fill_null("").to_numpy()
    return Candidates(ids, candidates.select("listing_id", "place", "slot", "row"), weight, construction)


def read_heard(store: Connection, signs: Mapping[str, Sign], ageing: frozenset[str], candidates: Candidates) -> Heard:
    """Return what is known of the listings in ``chunk`` whatever the horizon.

    Args:
        ageing: Signs that act through the age of the parts.
        candidates: As ``read_candidates`` returns them.
    """
    return heard_of(candidates, read_said(store, "chunk"), read_findings(store), signs, ageing)


def heard_of(
    candidates: Candidates,
    said: pl.DataFrame,
    findings: pl.DataFrame,
    signs: Mapping[str, Sign],
    ageing: frozenset[str],
) -> Heard:
    """Return what is known of listings whatever the horizon; arguments as of ``Told``."""
    slots = candidates.slots
    rows = _first(slots.select("listing_id", "row"), "row")
    counted = said.filter("counts")
    weighed = weigh_signs(counted, signs, ageing)
    sign_db, whole, groups = _signs(weighed, rows)
    rule_db, rule_whole = _rules(strongest_rules(findings, weighed), slots, candidates.weight.shape)
    sure = _first(counted.filter(~pl.col("hedged")).select("listing_id", "sign"), "listing_id", "sign")
    return Heard(candidates, sign_db, whole[:, None] + rule_whole, rule_db, groups, sure)


def read_findings(store: Connection) -> pl.DataFrame:
    """Return the rows of ``finding`` that fired of the listings in ``chunk``."""
    return frame(store, FINDINGS)


def read_ages(store: Connection, candidates: Candidates, outlook: Outlook) -> Callable[[], Aged]:
    """Return what works out how the lives of candidates in ``chunk`` have aged in an outlook, in any thread."""
    node_weight = frame(store, STORAGE_NODES)["weight"].to_numpy()
    led = ordered(frame(store, LED), "listing_id", "place")
    return partial(aged_of, Lives(led, frame(store, LIVES, outlook)), candidates, node_weight)


def read_aged(store: Connection, candidates: Candidates, outlook: Outlook) -> Aged:
    """Return how the lives of candidates in ``chunk`` have aged in an outlook."""
    return read_ages(store, candidates, outlook)()


def aged_of(lives: Lives, candidates: Candidates, node_weight: Array) -> Aged:
    """Return how the lives of candidates have aged.

    Args:
        lives: In one outlook.
        node_weight: Of each storage node, [K].
    """
    rows = lives.parts
    numbers, nth = np.unique(rows["life"].to_numpy(), return_inverse=True)
    count = len(numbers)
    at = nth, rows["part"].replace_strict(NUMBER_OF_PART, return_dtype=pl.Int64).to_numpy()
    bears = np.zeros((count + 1, len(PARTS)), dtype=np.bool_)
    bears[at] = rows["load_bearing"].to_numpy()
    ends = []
    for name in ("p_unfit_lo_node", "p_unfit_node", "p_unfit_hi_node"):
        # Four bytes, as the store has them: every candidate gets a copy of its life's.
        values = np.zeros((count + 1, len(PARTS), len(node_weight)), dtype=np.float32)
        if count:
            values[at] = rows[name].explode().to_numpy().reshape(-1, len(node_weight))
        ends.append(values)
    led = lives.led.join(candidates.slots, on=["listing_id", "place"], maintain_order="left")
    number = np.searchsorted(numbers, led["life"].to_numpy())
    number[np.append(numbers, -1)[number] != led["life"].to_numpy()] = count
    life = np.full(candidates.weight.shape, count)
    life[led["row"].to_numpy(), led["slot"].to_numpy()] = number
    return Aged(ends[0], ends[1], ends[2], bears, life, node_weight)


@once
def sign_table(signs: Mapping[str, Sign]) -> pl.DataFrame:
    """Return one row per sign and speaker with its part, group and weights in decibans."""
    rows = [
        (sign.id, sign.part, sign.group, said_by, weight.if_true, weight.if_false)
        for sign in signs.values()
        for said_by, weight in sorted(sign.weight.items())
    ]
    kinds = {"sign": pl.String, "part": pl.String, "group": pl.String, "said_by": pl.String}
    return pl.DataFrame(rows, schema={**kinds, "if_true": pl.Float64, "if_false": pl.Float64}, orient="row")


def weigh_signs(counted: pl.DataFrame, signs: Mapping[str, Sign], ageing: frozenset[str]) -> pl.DataFrame:
    """Return what each group of signs carries: listing_id, part, group, sign, decibans, said_by, state, hedged.

    The strongest speaker on a sign decides; a hedge halves the decibans; of a group that says the same thing
    only the strongest weight counts.

    Args:
        counted: What counts, as ``read_said`` returns it.
        ageing: Signs that act through the age of the parts.
    """
    spoken = (
        holding(counted.filter(~pl.col("sign").is_in(sorted(ageing))))
        .join(sign_table(signs), on=["sign", "said_by"])
        .with_columns(decibans=pl.when(pl.col("state") == "affirmed").then("if_true").otherwise("if_false"))
        .with_columns(decibans=pl.when("hedged").then(pl.col("decibans") / 2).otherwise("decibans"))
    )
    ranked = spoken.with_columns(strength=pl.col("decibans").abs()).sort(
        "listing_id", "group", "strength", "sign", descending=[False, False, True, False]
    )
    return (
        _first(ranked, "listing_id", "group")
        .select("listing_id", "part", "group", "sign", "decibans", "said_by", "state", "hedged")
        .sort("listing_id", "part", "group")
    )


def _first(rows: pl.DataFrame, *keys: str) -> pl.DataFrame:
    """Return the first of rows that are alike in some columns; those alike stand together."""
    other = pl.any_horizontal(pl.col(key) != pl.col(key).shift() for key in keys)
    return rows.filter(other.fill_null(True))


def part_weights(weighed: pl.DataFrame) -> pl.DataFrame:
    """Return the decibans of each listing and part: the text held within its bounds, the rest added."""
    text = pl.col("said_by") == "listing"
    return weighed.group_by("listing_id", "part", maintain_order=True).agg(
        decibans=pl.col("decibans").filter(text).sum().clip(TEXT_LEAST_DB, TEXT_MOST_DB)
        + pl.col("decibans").filter(~text).sum()
    )


def _signs(weighed: pl.DataFrame, rows: pl.DataFrame) -> tuple[Array, Array, dict[str, Array]]:
    """Return sign decibans by part, [N, 8], of the pair as a whole, [N], and what each group carries."""
    by_part = np.zeros((rows.height, len(PARTS) + 1))
    totals = part_weights(weighed).join(rows, on="listing_id").join(BIT_OF_PART, on="part")
    by_part[totals["row"].to_numpy(), totals["bit"].to_numpy()] = totals["decibans"].to_numpy()
    found = weighed.select("group", "decibans", "listing_id").join(rows, on="listing_id", maintain_order="left")
    names = found["group"].unique(maintain_order=True)
    by_group = np.zeros((len(names), rows.height))
    number = found["group"].cast(pl.Enum(names)).to_physical().to_numpy()
    by_group[number, found["row"].to_numpy()] = found["decibans"].to_numpy()
    return by_part[:, :-1], by_part[:, -1], dict(zip(names, by_group, strict=True))


def _rules(found: pl.DataFrame, slots: pl.DataFrame, shape: tuple[int, ...]) -> tuple[Array, Array]:
    """Return rule decibans by part, [N, C, 8], and of the pair as a whole, [N, C], within their bounds."""
    found = found.join(slots, on=["listing_id", "place"]).join(BIT_OF_PART, on="part")
    values = np.zeros((*shape, len(PARTS) + 1))
    at = found["row"].to_numpy(), found["slot"].to_numpy(), found["bit"].to_numpy()
    np.add.at(values, at, found["decibans"].to_numpy())
    values = np.clip(values, RULES_LEAST_DB, RULES_MOST_DB)
    return values[..., :-1], np.clip(values[..., -1], -WHOLE_RULES_DB, WHOLE_RULES_DB)


def strongest_rules(findings: pl.DataFrame, weighed: pl.DataFrame) -> pl.DataFrame:
    """Return the findings that count, with what each adds: of a group only the strongest says anything.

    Args:
        findings: Rows of ``finding_fired``.
        weighed: As ``weigh_signs`` returns them. Where a sign of the group speaks of the same part, a
            weaker rule adds nothing and a stronger one what it is stronger.
    """
    told = weighed.select("listing_id", "part", "group", said_db="decibans")
    fired = findings.with_columns(pl.coalesce("grouping", "rule_id").alias("group"), strength=pl.col("decibans").abs())
    group = ("listing_id", "place", "part", "group")
    return (
        _first(fired.sort(*group, "strength", "rule_id", descending=[False] * 4 + [True, False]), *group)
        .join(told, on=["listing_id", "part", "group"], how="left", maintain_order="left")
        .with_columns(pl.col("said_db").fill_null(0.0))
        .filter(pl.col("strength") > pl.col("said_db").abs())
        .with_columns(decibans=pl.col("decibans") - pl.col("said_db"))
    )
