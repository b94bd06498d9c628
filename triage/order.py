"""Rows in the order of some columns, without sorting those that stand in it."""

from itertools import pairwise

import polars as pl


def ordered(rows: pl.DataFrame, *keys: str) -> pl.DataFrame:
    """Return rows in the order of columns, rows that agree in all of them as they stood.

    What a stage wrote it reads back in its order, unless nights are mixed: to look takes a fraction of sorting. Texts
    go by their bytes, as in the store.

    Args:
        keys: Columns without NULL.
    """
    return rows if _in_order(rows, keys) else rows.sort(*keys, maintain_order=True)


def _in_order(rows: pl.DataFrame, keys: tuple[str, ...]) -> bool:
    first = rows[keys[0]]
    if not first.is_sorted():
        return False
    # Whether a row agrees with the one before it in all keys so far; of the first row nothing is known.
    same = pl.Series([True]).new_from_index(0, rows.height)
    for before, key in pairwise(keys):
        same &= rows[before] == rows[before].shift()
        if (same & (rows[key] < rows[key].shift())).any():
            return False
    return True
