"""The first half of stage 7: what is believed of every pair, for each outlook -> posterior, soundness."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
import polars as pl

from triage.blocks import in_order, slices
from triage.catalogue.buyers import Outlook
from triage.store import Connection, append
from triage.verdict.beliefs import Beliefs, Told
from triage.verdict.chunks import chunks_of, forget, told_of
from triage.verdict.ground import Ground
from triage.verdict.known import Known, read_listings
from triage.verdict.looks import BLOCK
from triage.verdict.money import Array
from triage.verdict.states import PARTS, greatest, marginals, masks_of
from triage.verdict.tables import weak_part


@dataclass(frozen=True)
class Held:
    """What is believed of few pairs in an outlook, and their rows of ``soundness``."""

    beliefs: Beliefs
    sound: pl.DataFrame


def believe(store: Connection, ground: Ground, known: Known | None = None) -> dict[Outlook, Held]:
    """Write posterior and soundness; return what is believed, by outlook, where it is of few pairs."""
    forget(store, ("posterior", "soundness"), known)
    pairs = (read_listings(store) if known is None else known.listings).filter("pair")
    held: dict[Outlook, Held] = {}
    # While chunks are weighed, the next is read and what was found of the one before is written.
    told = (told_of(store, ground, known) for _ in chunks_of(store, pairs, known))
    believed = partial(_believed, ground.outlooks(), pairs.height <= BLOCK)
    for found in in_order(believed, told, few=known is not None):
        for outlook, (beliefs, posterior, sound) in found.items():
            append(store, "posterior", posterior)
            append(store, "soundness", sound)
            if beliefs is not None:
                held[outlook] = Held(beliefs, sound)
    return held


def _believed(
    outlooks: Sequence[Outlook], few: bool, told: Told
) -> dict[Outlook, tuple[Beliefs | None, pl.DataFrame, pl.DataFrame]]:
    """Return by outlook what is believed of pairs, where they are few, and the rows of ``posterior`` and ``soundness``.

    What is believed of many would fill the memory.
    """
    found = {}
    for outlook in outlooks:
        beliefs = told.beliefs(outlook)
        found[outlook] = (beliefs if few else None, *_believed_rows(beliefs, outlook))
    return found


def _believed_rows(beliefs: Beliefs, outlook: Outlook) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Return the rows of ``posterior`` and ``soundness`` of pairs in an outlook."""
    evidence, count = beliefs.evidence, len(beliefs.listing_ids)
    there = np.maximum(greatest(beliefs.low), greatest(beliefs.high)) > 0
    width = (evidence.weight > 0).sum(axis=1)
    # Pairs with as many candidates and the same parts stand together: what none of a block has isn't reckoned.
    order = np.lexsort((masks_of(there), width))
    part, wearable = np.zeros((3, count, len(PARTS))), np.zeros((3, count))

    def looked(block: slice) -> None:
        rows = order[block]
        parts, candidates = np.flatnonzero(there[rows].any(axis=0)), int(width[rows].max())
        for end, chance in enumerate((beliefs.low, evidence.chance, beliefs.high)):
            some = beliefs.with_chance(chance).take(rows).narrowed(candidates, parts)
            part[end][rows[:, None], parts], wearable[end, rows] = marginals(some)

    for _ in in_order(looked, slices(count, BLOCK)):
        pass
    ends, (high, mid, low) = list(part), wearable
    # Long lives, the low chances of unfit, are the upper end of wearable.
    sound = {
        "listing_id": beliefs.listing_ids,
        **outlook._asdict(),
        "p_wearable_lo": np.minimum(low, mid),
        "p_wearable": mid,
        "p_wearable_hi": np.maximum(high, mid),
        "weak_part": weak_part(ends[1], beliefs.evidence, beliefs.present),
    }
    return posterior_rows(beliefs, ends, outlook), pl.DataFrame(sound)


def posterior_rows(beliefs: Beliefs, ends: Sequence[Array], outlook: Outlook) -> pl.DataFrame:
    """Return the rows of ``posterior``: per part the prior, the decibans and what is believed.

    Args:
        ends: Chance of unfit of each part with long, middling and short lives, [N, 8] each.
    """
    low, mid, high = ends
    rule = np.einsum("nc,ncj->nj", beliefs.evidence.weight, beliefs.evidence.rule_db)
    count, width = mid.shape
    rows = pl.DataFrame(
        {
            "listing_id": pl.Series(beliefs.listing_ids, dtype=pl.String).gather(np.repeat(np.arange(count), width)),
            **outlook._asdict(),
            "part": pl.Series(PARTS).gather(np.tile(np.arange(width), count)),
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
