"""A seller's standing sentences: what stands in most of his listings says nothing about any one of them."""

import polars as pl

from triage.observation.sentence import sentences

FEWEST = 3  # different texts of one seller, before anything can be called a habit
MOST = 0.5


def habitual(bodies: pl.DataFrame) -> pl.DataFrame:
    """Return the sentences that stand in most of a seller's different texts.

    Args:
        bodies: source, seller, body. A text that is listed twice counts once: a relist is no habit.

    Returns:
        source, seller, sentence (lower case, trimmed).
    """
    texts = bodies.unique(maintain_order=True)
    many = texts.filter(pl.len().over("source", "seller") >= FEWEST)
    many = many.with_row_index("tid").with_columns(texts=pl.len().over("source", "seller"))
    found = sentences(many.select("tid", text="body", hint=pl.lit(None, pl.String)))
    used = found.join(many.select("tid", "source", "seller", "texts"), on="tid").with_columns(
        sentence=sentence_key(pl.col("text"))
    )
    shares = used.group_by("source", "seller", "sentence").agg(share=pl.col("tid").n_unique() / pl.col("texts").first())
    return shares.filter(pl.col("share") > MOST).select("source", "seller", "sentence").sort(pl.all())


def sentence_key(text: pl.Expr) -> pl.Expr:
    """Return a sentence as it is compared: lower case, letters and digits at both ends."""
    return text.str.to_lowercase().str.strip_chars(" \t\r\n.,;:!?|。！？")
