"""A seller's standing sentences: what stands in most of his listings says nothing about any one of them."""

from collections.abc import Iterator
from itertools import pairwise

import numpy as np
import polars as pl

from triage.observation.sentence import SPEAKS, cut

FEWEST = 3  # different texts of one seller, before anything can be called a habit
MOST = 0.5
TEXTS_AT_ONCE = 50_000  # keeps memory flat; a seller is judged alone


def habitual(bodies: pl.DataFrame) -> pl.DataFrame:
    """Return the sentences that stand in most of a seller's different texts.

    Args:
        bodies: source, seller, body. A text that is listed twice counts once: a relist is no habit.

    Returns:
        source, seller, sentence (lower case, trimmed).
    """
    texts = bodies.unique()
    sellers = texts.group_by("source", "seller").agg(texts=pl.len()).filter(pl.col("texts") >= FEWEST)
    sellers = sellers.with_row_index("who")
    many = texts.join(sellers, on=["source", "seller"]).select("who", "texts", text="body").sort("who")
    found = [_standing(part) for part in _by_seller(many.with_row_index("tid"))]
    empty = pl.DataFrame(schema={"who": pl.UInt32, "sentence": pl.String})
    standing = pl.concat([empty, *found]).join(sellers, on="who")
    return standing.select("source", "seller", "sentence").sort(pl.all())


def _by_seller(texts: pl.DataFrame) -> Iterator[pl.DataFrame]:
    """Cut texts, in order of who wrote them, between one seller and the next."""
    begins = np.flatnonzero(np.diff(texts["who"].to_numpy(), prepend=np.uint32(2**32 - 1)))
    wanted = np.searchsorted(begins, np.arange(0, texts.height, TEXTS_AT_ONCE))
    cuts = np.unique([*begins[wanted[wanted < len(begins)]], texts.height])
    for first, after in pairwise(cuts.tolist()):
        yield texts.slice(first, after - first)


def _standing(texts: pl.DataFrame) -> pl.DataFrame:
    """Return who and sentence, from tid, who, texts (how many of his there are) and text."""
    used = (
        cut(texts)
        .filter(pl.col("text").str.contains(SPEAKS))
        .select("who", "texts", "tid", sentence=sentence_key(pl.col("text")))
    )
    # Counted by hash first: of millions of sentences only a few come back, and those are counted as they are.
    used = used.with_columns(key=pl.col("sentence").hash())
    return _shared(used.join(_shared(used, "key"), on=["who", "key"], how="semi"), "sentence")


def _shared(used: pl.DataFrame, key: str) -> pl.DataFrame:
    counted = used.select("who", "texts", "tid", key).unique()
    counted = counted.group_by("who", key).agg(share=pl.len() / pl.col("texts").first())
    return counted.filter(pl.col("share") > MOST).select("who", key)


def sentence_key(text: pl.Expr) -> pl.Expr:
    """Return a sentence as it is compared: lower case, letters and digits at both ends."""
    return text.str.to_lowercase().str.strip_chars(" \t\r\n.,;:!?|。！？")
