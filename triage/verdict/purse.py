"""The set of buys that brings most for one budget: an exact knapsack in which a pair is bought at most once."""

import numpy as np
import numpy.typing as npt
import polars as pl

Whole = npt.NDArray[np.int64]


def best_set(spend: Whole, gain: Whole, pair: Whole, purse: int) -> Whole:
    """Return which of N buys bring the highest total gain within a purse, as rising indices.

    Of several best sets it is the cheapest, and of those the one with the earliest buys. Whole numbers
    throughout, so nothing is rounded.

    Args:
        spend: What each costs all in, minor units, 0 or more, [N].
        gain: What each leaves over, minor units, [N]; one that leaves nothing is never chosen.
        pair: Number of the pair it is, [N]; listings of one pair share it, and only one of them is bought.
        purse: Most that may be spent on all together, minor units.

    Source:
        Nemhauser & Ullmann 1969 (Management Science 15:494): the sets that no cheaper set equals, one pair after
        the other; those that a fractional filling of the rest can't lift to a known sum are dropped.
    """
    usable = np.flatnonzero((gain > 0) & (spend <= purse))
    spends, gains, chosen = np.zeros(1, np.int64), np.zeros(1, np.int64), []
    # From the last pair to the first, so that a tie goes to the set that takes the earlier one.
    _, first = np.unique(pair[usable], return_index=True)
    pairs = pair[usable][np.sort(first)[::-1]]
    known = _greedy(spend[usable], gain[usable], pair[usable], purse)
    left = usable
    for one in pairs:
        group, left = usable[pair[usable] == one], left[pair[left] != one]
        count = len(spends)
        item = np.repeat(np.append(group, -1), count)
        parent = np.tile(np.arange(count), len(group) + 1)
        added = item >= 0
        costs = spends[parent] + np.where(added, spend[item], 0)
        worth = gains[parent] + np.where(added, gain[item], 0)
        fits = np.flatnonzero((costs <= purse) & (worth + _ceiling(spend[left], gain[left], purse - costs) >= known))
        # Stable: among equals the state that takes an earlier item stands first.
        order = fits[np.lexsort((-worth[fits], costs[fits]))]
        before = np.maximum.accumulate(np.append(-1, worth[order]))[:-1]
        order = order[worth[order] > before]
        spends, gains = costs[order], worth[order]
        chosen.append((parent[order], item[order]))
    at, found = len(spends) - 1, []
    for parents, items in reversed(chosen):
        found.append(items[at])
        at = parents[at]
    return np.array(sorted(item for item in found if item >= 0), dtype=np.int64)


def _greedy(spend: Whole, gain: Whole, pair: Whole, purse: int) -> int:
    """Return a gain that can be had: the best by gain a unit first, while they fit."""
    total, taken = 0, set()
    for at in np.argsort(-gain / np.maximum(spend, 1), kind="stable"):
        if spend[at] <= purse and pair[at] not in taken:
            purse, total = purse - int(spend[at]), total + int(gain[at])
            taken.add(pair[at])
    return total


def _ceiling(spend: Whole, gain: Whole, room: Whole) -> Whole:
    """Return a bound on what the remaining buys add in each room: filled with fractions, the best first."""
    order = np.argsort(-gain / np.maximum(spend, 1), kind="stable")
    filled, reached = (np.append(0, np.cumsum(one[order])) for one in (spend, gain))
    # The first of equal fillings would cut off what costs nothing.
    last = np.append(np.diff(filled) > 0, True)
    return np.asarray(np.ceil(np.interp(room, filled[last], reached[last]) + 1e-6), dtype=np.int64)


def numbered_pairs(listings: pl.Series, couples: pl.DataFrame) -> Whole:
    """Return a number for each listing that all listings of the same pair share, [N].

    Args:
        listings: Ids, [N].
        couples: listing_id, twin_id: the twin table, both ways; a twin's twin is the same pair too.
    """
    named = pl.concat([listings.alias("listing_id"), couples["listing_id"]]).unique(maintain_order=True)
    label = named.to_frame().with_row_index("label").with_columns(pl.col("label").cast(pl.Int64))
    while True:
        near = couples.join(label, left_on="twin_id", right_on="listing_id").group_by("listing_id").agg(
            near=pl.col("label").min()
        )  # fmt: skip
        lower = label.join(near, on="listing_id", how="left", maintain_order="left").select(
            "listing_id", label=pl.min_horizontal("label", "near")
        )
        if lower.equals(label):
            break
        label = lower
    return (
        listings.to_frame("listing_id")
        .join(label, on="listing_id", how="left", maintain_order="left")["label"]
        .to_numpy()
    )
