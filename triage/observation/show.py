"""A text with its readings marked in place, for people who want to see what was read where."""

from dataclasses import dataclass
from itertools import pairwise

import polars as pl


@dataclass(frozen=True)
class Piece:
    """A stretch of a text and everything that was read from it; the pieces joined are the text."""

    text: str
    readings: tuple[str, ...]


def pieces(text: str, readings: pl.DataFrame) -> tuple[Piece, ...]:
    """Cut a text where readings begin and end.

    Args:
        text: The text as typed.
        readings: sign, state, hedged, quote, start (characters); rows without a start are left out.

    Returns:
        Pieces in order, at least one; a reading's label says its sign, state and doubt.
    """
    placed = readings.drop_nulls(["quote", "start"]).with_columns(
        upto=pl.col("start") + pl.col("quote").str.len_chars(), label=_label()
    )
    spans = list(placed.select("start", "upto", "label").unique(maintain_order=True).iter_rows())
    edges = sorted({0, len(text), *(edge for start, upto, _ in spans for edge in (start, upto))})
    found = [
        Piece(text[here:after], tuple(label for start, upto, label in spans if start <= here and after <= upto))
        for here, after in pairwise(edges)
    ]
    return tuple(found) or (Piece(text, ()),)


def marked(text: str, readings: pl.DataFrame) -> str:
    """Return a text with each reading in brackets: ``[No crumbling | midsole_crumbling denied]``."""
    return "".join(
        f"[{piece.text} | {'; '.join(piece.readings)}]" if piece.readings else piece.text
        for piece in pieces(text, readings)
    )


def _label() -> pl.Expr:
    doubt = pl.when(pl.col("hedged")).then(pl.lit(" hedged")).otherwise(pl.lit(""))
    return pl.concat_str(pl.col("sign"), pl.lit(" "), pl.col("state"), doubt)
