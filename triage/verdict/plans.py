"""What each state of a pair is worth under its best plan: wear, restore, display, parts or return."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from threading import Lock
from typing import TypeVar

import numpy as np
import numpy.typing as npt
import polars as pl

from triage.catalogue.buyers import Buyer
from triage.catalogue.repairs import Repair
from triage.verdict.mending import Mending, mend, possible
from triage.verdict.states import BITS, PARTS, SHARED, STATES, Array, Flags, Places, Rows, masks_of

PLANS = ("wear", "restore", "display", "parts", "return")
WEARING = (0, 1)

Number = TypeVar("Number", bound=np.generic)


@dataclass(frozen=True)
class Worth:
    """Value of each pair and candidate to one buyer, minor units, [N, C]."""

    sound: Array
    display: Array
    parts: Array

    def take(self, rows: Rows) -> "Worth":
        """Return the values of some of the pairs."""
        return Worth(self.sound[rows], self.display[rows], self.parts[rows])

    def times(self, factor: Array) -> "Worth":
        """Return the values times a factor for each pair, [N]."""
        return Worth(*(value * factor[:, None] for value in (self.sound, self.display, self.parts)))


@dataclass(frozen=True)
class Valued:
    """Value of every candidate and state under its best plan, returns aside.

    Attributes:
        value: Minor units, repairs paid, [..., 256]; ``...`` is [N, C], or [U] where each different case is
            kept once.
        plan: Index into ``PLANS``, [..., 256].
        repair: The set of repairs of a ``restore``, index into the mending's sets, [..., 256].
        spent: What those repairs cost, minor units, 0 under any other plan, [..., 256].
        mending: Index into ``mendings``, [...].
    """

    value: Array
    plan: npt.NDArray[np.int8]
    repair: npt.NDArray[np.int16]
    spent: Array
    mending: Places
    mendings: Sequence[Mending]

    def take(self, rows: Rows) -> "Valued":
        """Return the values of some of the pairs; of any shape, from those that are kept once."""
        by_state = (self.value[rows], self.plan[rows], self.repair[rows], self.spent[rows])
        return Valued(*by_state, self.mending[rows], self.mendings)


@dataclass(frozen=True)
class Narrowed:
    """Some pairs in some of their states, of a ``Valued`` that keeps each case once: laid out when asked for.

    Attributes:
        cases: Of which they are.
        rows: Case of every pair and candidate, [N, C].
        states: Those of the states that are weighed, [S].
    """

    cases: Valued
    rows: Places
    states: Places

    def take(self, rows: Rows) -> "Narrowed":
        """Return some of the pairs."""
        return Narrowed(self.cases, self.rows[rows], self.states)

    @cached_property
    def value(self) -> Array:
        """Return as ``Valued``, [N, C, S]."""
        return self._laid(self.cases.value)

    @cached_property
    def plan(self) -> npt.NDArray[np.int8]:
        """Return as ``Valued``, [N, C, S]."""
        return self._laid(self.cases.plan)

    @cached_property
    def repair(self) -> npt.NDArray[np.int16]:
        """Return as ``Valued``, [N, C, S]."""
        return self._laid(self.cases.repair)

    @cached_property
    def spent(self) -> Array:
        """Return as ``Valued``, [N, C, S]."""
        return self._laid(self.cases.spent)

    @cached_property
    def mending(self) -> Places:
        """Return as ``Valued``, [N, C]."""
        return self.cases.mending[self.rows]

    @property
    def mendings(self) -> Sequence[Mending]:
        """Return as ``Valued``."""
        return self.cases.mendings

    @cached_property
    def _at(self) -> Places:
        # One index into the flat arrays: as fast again as one for rows and one for states.
        return (self.rows * STATES)[..., None] + self.states

    def _laid(self, by_case: npt.NDArray[Number]) -> npt.NDArray[Number]:
        if len(self.states) == STATES:
            return by_case[self.rows]
        return by_case.take(self._at)


def lost_share(unfit_share: Mapping[str, float]) -> Array:
    """Return the share of value that unfit parts take away, per state; shares multiply."""
    kept = np.array([1.0 - unfit_share.get(part, 0.0) for part in PARTS])
    return np.asarray(1.0 - np.prod(np.where(BITS == 1, kept, 1.0), axis=1))


class Mender:
    """The mendings of one buyer, worked out once for each set of possible repairs and load-bearing parts.

    Constructions are many, the ways they can be mended few.
    """

    def __init__(self, repairs: Sequence[Repair], materials: Mapping[str, Mapping[str, str]], buyer: Buyer) -> None:
        self._repairs, self.materials, self._buyer = repairs, materials, buyer
        self._possible: dict[tuple[str, ...], tuple[str, ...]] = {}
        self._numbers: dict[tuple[tuple[str, ...], int], int] = {}
        self._ends: dict[int, list[Mending]] = {0: [], 1: [], 2: []}
        # Several threads ask at once, and what one of them adds moves no number of another.
        self._lock = Lock()

    @property
    def mendings(self) -> list[Mending]:
        """The mendings met so far, with what the repairs cost most likely."""
        return self.at(1)

    def at(self, end: int) -> list[Mending]:
        """Return the mendings met so far with what the repairs cost at least, end 0, most likely, 1, or at most, 2."""
        with self._lock:
            known = self._ends[end]
            for some, bears in list(self._numbers)[len(known) :]:
                known.append(mend(self._usable(some), bears, self._buyer, end))
            return [*known]

    def of(self, construction: npt.NDArray[np.object_], bears: Flags) -> Places:
        """Return for every pair and candidate the index of its mending in ``mendings``, [N, C]."""
        names = {"name": construction.ravel().tolist(), "mask": masks_of(bears).ravel()}
        cells = pl.DataFrame(names, schema={"name": pl.String, "mask": pl.Int64})
        some = cells.unique(maintain_order=True)
        with self._lock:
            numbers = pl.Series("number", [self._number(name, mask) for name, mask in some.iter_rows()], dtype=pl.Int64)
        found = cells.join(some.with_columns(numbers), on=["name", "mask"], how="left", maintain_order="left")
        return np.asarray(found["number"].to_numpy().reshape(construction.shape))

    def _number(self, construction: str, bears: int) -> int:
        made_of = self.materials.get(construction, {})
        # Releases are many, what they are made of is not.
        kind = tuple(made_of.get(part, "") for part in PARTS)
        if kind not in self._possible:
            some = [repair.id for repair in self._repairs if possible(repair, made_of, self._buyer)]
            self._possible[kind] = tuple(some)
        return self._numbers.setdefault((self._possible[kind], bears), len(self._numbers))

    def _usable(self, ids: tuple[str, ...]) -> list[Repair]:
        return [repair for repair in self._repairs if repair.id in ids]


def value_states(
    worth: Worth, mending: Places, mendings: Sequence[Mending], buyer: Buyer,
    shares: tuple[Array, float, float],
) -> Valued:  # fmt: skip
    """Return what each state is worth under the best plan this buyer has for it; of equal ones the first.

    Args:
        worth: Of any shape, such as [N, C].
        mending: As ``Mender.of`` returns it, of the same shape.
        mendings: The mender's.
        shares: ``lost_share`` per state, the value of a pair with a foreign sole against an original
            one, and how much of the loss counts for a display piece.
    """
    lost, restored_share, display_loss = shares
    shape = (*worth.sound.shape, STATES)
    sound, kept = worth.sound[..., None], 1.0 - lost
    value, plan = np.full(shape, -np.inf), np.zeros(shape, dtype=np.int8)
    repair, spent = np.zeros(shape, dtype=np.int16), np.zeros(shape)

    def offered(number: int, worth_so: Array) -> Flags:
        better = worth_so > value
        np.copyto(value, worth_so, where=better)
        np.copyto(plan, np.int8(number), where=better)
        return better

    if {"wear", "resell"} & set(buyer.purposes):
        unwearable = SHARED[[kind.bears for kind in mendings]][mending]
        offered(0, np.where(unwearable, -np.inf, sound * kept))
    if {"restore", "wear", "resell"} & set(buyer.purposes):
        restored, sets, cost = _restored(sound, mending, mendings, lost, restored_share)
        better = offered(1, restored)
        np.copyto(repair, sets, where=better)
        np.copyto(spent, cost, where=better)
    for number, share, of in ((2, 1.0 - display_loss * lost, worth.display), (3, np.ones(1), worth.parts)):
        if number == 3 or {"display", "resell"} & set(buyer.purposes):
            spent[offered(number, of[..., None] * share)] = 0.0
    return Valued(value, plan, repair, spent, mending, mendings)


def _restored(
    sound: Array, index: Places, kinds: Sequence[Mending], lost: Array, restored_share: float
) -> tuple[Array, npt.NDArray[np.int16], Array]:
    """Return the value after the better of full and least repair, -inf where none holds, its set and its cost."""
    options = []
    for chosen in ("full", "least"):
        left = [lost[kind.left] if chosen == "least" else np.zeros(STATES) for kind in kinds]
        keeps = [kind.keeps[np.maximum(getattr(kind, chosen), 0)] for kind in kinds]
        factor = np.where(np.stack(keeps), 1.0, restored_share) * (1.0 - np.stack(left))
        cost = np.stack([getattr(kind, f"{chosen}_cost") for kind in kinds])[index]
        sets = np.stack([getattr(kind, chosen) for kind in kinds]).astype(np.int16)[index]
        options.append((sound * factor[index] - cost, sets, cost))
    (full, full_set, full_cost), (least, least_set, least_cost) = options
    first = full >= least
    sets = np.where(first, full_set, least_set)
    # The empty set of repairs is "wear", not "restore".
    value = np.where(sets > 0, np.maximum(full, least), -np.inf)
    return value, sets, np.where(first, full_cost, least_cost)
