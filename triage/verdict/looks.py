"""The pairs of a chunk before one buyer: a first look at all, a second one at what might be asked."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
import polars as pl

from triage.blocks import in_order, slices
from triage.catalogue.repairs import Repair
from triage.catalogue.values import Values
from triage.verdict.asking import WHOLE, SignQuestion, suits
from triage.verdict.beliefs import Beliefs
from triage.verdict.calls import ASK, SKIP, Calls, Scene, decide
from triage.verdict.money import Array, Flags
from triage.verdict.questions import QUESTION, Texts, question_rows
from triage.verdict.reasons import with_reasons
from triage.verdict.scenes import Stakes
from triage.verdict.sensitivity import SENSITIVITY, sensitivity_rows
from triage.verdict.states import Places, masks_of
from triage.verdict.tables import (
    Columns,
    Judged,
    hoped,
    plan_columns,
    plan_rows,
    together,
    verdict_columns,
    verdict_rows,
)

# Pairs weighed together: few enough for the processor's cache, enough to outweigh each step's own cost.
BLOCK = 1024
# A release less likely than this is not asked after.
LIKELY_RELEASE = 0.05


def widths(weight: Array) -> Places:
    """Return how many candidates of each pair are weighed, [N]: 1, 2 or all there is room for."""
    found = (weight > 0).sum(axis=1)
    return np.asarray(np.where(found > 2, weight.shape[1], found))


@dataclass(frozen=True)
class Look:
    """What a look at a block of pairs found.

    Attributes:
        verdict, plan: Of those that are done with, as ``verdict_columns`` and ``plan_columns`` return them; ``row`` is
            the place of the pair among all of the table.
        left: Places of the pairs that want another look.
        more: Rows of ``question`` and ``sensitivity``.
    """

    verdict: Columns
    plan: Columns
    left: Places
    more: Mapping[str, pl.DataFrame] = field(default_factory=dict)

    @classmethod
    def at(cls, rows: Places, scene: Scene, calls: Calls, hope: tuple[Array, Flags], done: Flags) -> "Look":
        """Return the look at the pairs at some places, of which some are done with."""
        some = np.flatnonzero(done)
        verdict = {name: values[some] for name, values in verdict_columns(calls, hope).items()}
        plan = plan_columns(scene, calls, some)
        return cls({"row": rows[some], **verdict}, {**plan, "row": rows[plan["row"]]}, rows[~done])


@dataclass(frozen=True)
class Table:
    """The pairs of a chunk before one buyer."""

    stakes: Stakes
    sound: pl.DataFrame
    questions: list[SignQuestion]
    texts: Texts
    repairs: Mapping[str, Repair]
    values: Values

    @cached_property
    def open_questions(self) -> tuple[Array, Flags]:
        """Decibans each question's group carries now, and whether nobody spoke of the sign yet, [N, Q]."""
        current, unsaid = _open_questions(self.stakes.beliefs, self.questions)
        return current, unsaid & _sensible(self.stakes.beliefs, self.questions, self.stakes.prices.mender.materials)

    def blocks(self, rows: Places) -> Iterator[Places]:
        """Yield some of the pairs block by block, only those of the same parts and as many candidates together.

        What else is in a block then never moves a last bit: a pair is judged alike among all others, some or none.
        The few that somebody takes back come first: they take longest, and in all other blocks sending back is no
        matter.
        """
        beliefs = self.stakes.beliefs
        width = widths(beliefs.evidence.weight[rows])
        back = self.stakes.offer.refund_share[rows] > 0
        kind = np.stack([~back, masks_of(beliefs.present[rows]), width], axis=1)
        _, which, counts = np.unique(kind, axis=0, return_inverse=True, return_counts=True)
        rows = rows[np.argsort(which.ravel(), kind="stable")]
        for first, count in zip(np.cumsum(counts) - counts, counts, strict=True):
            yield from (rows[first : first + count][block] for block in slices(count, BLOCK))

    def decided(self, rows: Places) -> tuple[Scene, Calls]:
        """Return what the buyer faces in some pairs, and the calls.

        Only the candidates and parts that some of the pairs have are weighed: states double with each part.
        """
        beliefs, (current, unsaid) = self.stakes.beliefs, self.open_questions
        parts = np.flatnonzero(beliefs.present[rows].any(axis=0))
        candidates = int(widths(beliefs.evidence.weight[rows]).max())
        place = {int(part): number for number, part in enumerate(parts)} | {WHOLE: len(parts)}
        some = [number for number, question in enumerate(self.questions) if question.bit in place]
        questions = [replace(self.questions[number], bit=place[self.questions[number].bit]) for number in some]
        scene, at = self.stakes.narrowed(rows, candidates, parts), (rows[:, None], some)
        return scene, decide(scene, questions, current[at], unsaid[at])

    def first_look(self, rows: Places) -> Look:
        """Return what is told of the pairs that are left to others, and the places of the rest."""
        scene, calls = self.decided(rows)
        skips = calls.call == SKIP
        unasked = np.zeros(len(rows)), np.zeros(len(rows), dtype=np.bool_)
        return Look.at(rows, scene, calls, unasked, skips)

    def second_look(self, rows: Places) -> Look:
        """Return what is told of pairs to buy or ask about, with what answers and other numbers would do."""
        scene, (current, unsaid) = self.stakes.scene(rows), self.open_questions
        calls, hope = with_hope(scene, decide(scene, self.questions, current[rows], unsaid[rows]))
        ids = self.stakes.ids[rows]
        judged = Judged(ids, self.stakes.beliefs.construction[rows], scene, calls)
        more = {
            "question": question_rows(judged, self.texts, calls.call == ASK),
            "sensitivity": sensitivity_rows(self.stakes, rows, scene, ids, self.values),
        }
        return replace(Look.at(rows, scene, calls, hope, np.ones(len(rows), dtype=np.bool_)), more=more)


def judged_rows(table: Table, rows: Places) -> dict[str, pl.DataFrame]:
    """Return the rows of ``verdict``, ``plan``, ``question`` and ``sensitivity`` for some of the pairs.

    What is worth buying or asking about takes a longer look, and few pairs do: they are gathered, and judged
    once more together.
    """
    table.open_questions  # noqa: B018 - worked out once, before the blocks share it
    looks = list(in_order(table.first_look, table.blocks(rows)))
    left = np.concatenate([look.left for look in looks])
    looks += in_order(table.second_look, (left[block] for block in slices(len(left), BLOCK)))
    verdicts = verdict_rows(table.stakes, table.sound, together([look.verdict for look in looks]))
    found = {
        name: pl.concat([pl.DataFrame(schema=kinds), *(look.more[name] for look in looks if name in look.more)])
        for name, kinds in (("question", QUESTION), ("sensitivity", SENSITIVITY))
    }
    plans = plan_rows(table.stakes, table.repairs, together([look.plan for look in looks]))
    return {"verdict": with_reasons(verdicts, found["question"]), "plan": plans, **found}


def with_hope(scene: Scene, calls: Calls) -> tuple[Calls, tuple[Array, Flags]]:
    """Return the calls with asks that no answer could turn into a buy made skips, and what may be hoped for."""
    hope = hoped(scene, calls)
    lost = (calls.call == ASK) & ~calls.haggle & (hope[0] <= 0)
    return replace(calls, call=np.where(lost, SKIP, calls.call)), hope


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


def _sensible(beliefs: Beliefs, questions: list[SignQuestion], materials: Mapping[str, Mapping[str, str]]) -> Flags:
    """Return of which pairs a question makes sense, [N, Q]: some likely release has what it is about."""
    cells = pl.Series(beliefs.construction.ravel().tolist(), dtype=pl.String)
    names = cells.unique()
    at = cells.replace_strict(names, pl.int_range(len(names), eager=True), return_dtype=pl.Int64).to_numpy()
    sensible = suits(questions, [materials.get(name) for name in names])[at]
    likely = (beliefs.evidence.weight >= LIKELY_RELEASE)[..., None]
    return np.asarray((sensible.reshape(*beliefs.construction.shape, len(questions)) & likely).any(axis=1))
