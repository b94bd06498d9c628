"""What each state of a pair is worth under its best plan: wear, restore, display, parts or return."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from triage.catalogue.buyers import Buyer
from triage.catalogue.repairs import Repair
from triage.verdict.mending import Mending, mend
from triage.verdict.states import BITS, PARTS, STATES, Array, Flags, unwearable

PLANS = ("wear", "restore", "display", "parts", "return")
WEARING = (0, 1)
MASK = 1 << np.arange(len(PARTS))


@dataclass(frozen=True)
class Worth:
    """Value of each pair and candidate to one buyer, minor units, [N, C]."""

    sound: Array
    display: Array
    parts: Array


@dataclass(frozen=True)
class Valued:
    """Value of every candidate and state under its best plan.

    Attributes:
        value: Minor units, repairs paid, [N, C, 256].
        plan: Index into ``PLANS``, [N, C, 256].
        repair: The set of repairs of a ``restore``, index into the mending's sets, [N, C, 256].
        mending: Index into ``mendings``, [N, C].
    """

    value: Array
    plan: npt.NDArray[np.int8]
    repair: npt.NDArray[np.int64]
    mending: npt.NDArray[np.int64]
    mendings: tuple[Mending, ...]


def lost_share(unfit_share: Mapping[str, float]) -> Array:
    """Return the share of value that unfit parts take away, per state; shares multiply."""
    kept = np.array([1.0 - unfit_share.get(part, 0.0) for part in PARTS])
    return np.asarray(1.0 - np.prod(np.where(BITS == 1, kept, 1.0), axis=1))


def mendings_for(
    construction: npt.NDArray[np.object_],
    bears: Flags,
    materials: Mapping[str, Mapping[str, str]],
    repairs: Sequence[Repair],
    buyer: Buyer,
) -> tuple[npt.NDArray[np.int64], tuple[Mending, ...]]:
    """Return for every pair and candidate which mending it has, [N, C], and the distinct mendings."""
    masks = bears @ MASK
    keys = np.array([f"{name}|{mask}" for name, mask in zip(construction.flat, masks.flat, strict=True)])
    distinct, index = np.unique(keys, return_inverse=True)
    found = []
    for key in distinct:
        name, _, mask = str(key).rpartition("|")
        found.append(mend(repairs, materials.get(name, {}), int(mask), buyer))
    return index.reshape(masks.shape), tuple(found)


def value_states(
    worth: Worth,
    bears: Flags,
    mendings: tuple[npt.NDArray[np.int64], tuple[Mending, ...]],
    buyer: Buyer,
    shares: tuple[Array, float, float],
    refund: Array,
) -> Valued:
    """Return what each state is worth under the best plan this buyer has for it.

    Args:
        shares: ``lost_share`` per state, the value of a pair with a foreign sole against an original
            one, and how much of the loss counts for a display piece.
        refund: What sending the pair back returns, minor units, [N]; -inf where nobody takes it back.
    """
    lost, restored_share, display_loss = shares
    index, kinds = mendings
    wears = {"wear", "resell"} & set(buyer.purposes)
    shows = {"display", "resell"} & set(buyer.purposes)
    mends = {"restore", "wear", "resell"} & set(buyer.purposes)
    never = np.full((*worth.sound.shape, STATES), -np.inf)
    sound, kept = worth.sound[..., None], 1.0 - lost
    wear = np.where(unwearable(bears), -np.inf, sound * kept) if wears else never
    restore, sets = _restored(sound, index, kinds, lost, restored_share) if mends else (never, None)
    shown = worth.display[..., None] * (1.0 - display_loss * lost)
    display = np.broadcast_to(shown, never.shape) if shows else never
    parts = np.broadcast_to(worth.parts[..., None], never.shape)
    back = np.broadcast_to(refund[:, None, None], never.shape)
    options = np.stack([wear, restore, display, parts, back])
    best = options.argmax(axis=0)
    chosen = sets if sets is not None else np.zeros(never.shape, dtype=np.int64)
    return Valued(options.max(axis=0), best.astype(np.int8), chosen, index, kinds)


def _restored(
    sound: Array,
    index: npt.NDArray[np.int64],
    kinds: tuple[Mending, ...],
    lost: Array,
    restored_share: float,
) -> tuple[Array, npt.NDArray[np.int64]]:
    """Return the value after the better of full and least repair, and its set; -inf where none holds."""

    def stacked(name: str) -> Array:
        return np.stack([getattr(kind, name) for kind in kinds])[index]

    def net(chosen: str, left: Array) -> Array:
        keeps = np.stack([kind.keeps[np.maximum(getattr(kind, chosen), 0)] for kind in kinds])[index]
        factor = np.where(keeps, 1.0, restored_share) * (1.0 - left)
        return np.asarray(sound * factor - stacked(f"{chosen}_cost"))

    full = net("full", np.zeros(1))
    least = net("least", lost[stacked("left").astype(np.int64)])
    better = np.where(full >= least, stacked("full"), stacked("least")).astype(np.int64)
    # The empty set of repairs is "wear", not "restore".
    value = np.where(better > 0, np.maximum(full, least), -np.inf)
    return value, better
