"""The night as a whole: the account of what was read, and the lines below the tickets."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from triage.writeup import phrase
from triage.writeup.frames import Night
from triage.writeup.origin import link
from triage.writeup.ticket import Context, anchor, base_price, news_of, price_of

# A report is read in the morning: longer lists stay in verdicts.csv, and the page says how much it left out.
LINES = 400


@dataclass(frozen=True)
class FeedLine:
    """A line of the account: one export, or the sum of several."""

    name: str
    path: str
    seen_on: str
    read: int
    new: int
    further: int
    refused: int
    values: int
    whole: bool

    @property
    def adds_up(self) -> bool:
        """Whether every row that was read is accounted for exactly once."""
        return self.read == self.new + self.further + self.refused


@dataclass(frozen=True)
class RejectLine:
    """A file, row or value that could not be used."""

    place: str
    scope: str
    field: str
    value: str
    expected: str
    code: str


@dataclass(frozen=True)
class Account:
    """Where every row of the exports went."""

    feeds: tuple[FeedLine, ...]
    total: FeedLine
    earlier: FeedLine | None
    rejects: tuple[RejectLine, ...]
    rejects_left_out: int


@dataclass(frozen=True)
class SkipLine:
    """A listing that gets no ticket, with the reason."""

    anchor: str
    title: str
    language: str
    source: str
    url: str
    price: str
    price_base: str
    size: str
    foot: str
    model: str
    news: str
    buyers: tuple[str, ...]
    reason: str


def account_of(night: Night) -> Account:
    """Return the account of the exports that no earlier report held."""
    is_new = pl.lit(True) if night.reported_until is None else pl.col("seen_on") > night.reported_until
    is_new = is_new.fill_null(True)
    feeds, earlier = night.feed.filter(is_new), night.feed.filter(~is_new)
    rejects = night.reject.join(feeds.select("feed_id"), on="feed_id", how="semi", maintain_order="left")
    return Account(
        feeds=tuple(_feed_line(row) for row in feeds.iter_rows(named=True)),
        total=_sum(feeds, phrase.count(feeds.height, "export")),
        earlier=_sum(earlier, phrase.count(earlier.height, "earlier export")) if earlier.height else None,
        rejects=tuple(_reject_line(row) for row in rejects.head(LINES).iter_rows(named=True)),
        rejects_left_out=max(0, rejects.height - LINES),
    )


def _feed_line(row: Mapping[str, Any]) -> FeedLine:
    return FeedLine(
        name=phrase.plain(row["source"]) or "source not known",
        path=row["path"],
        seen_on=phrase.day(row["seen_on"]),
        read=row["rows_read"],
        new=row["first_rows"],
        further=row["further_rows"],
        refused=row["refused_rows"],
        values=row["refused_values"],
        whole=row["refused_whole"],
    )


def _sum(feeds: pl.DataFrame, name: str) -> FeedLine:
    columns = ("rows_read", "first_rows", "further_rows", "refused_rows", "refused_values")
    read, new, further, refused, values = (int(feeds[column].sum()) for column in columns)
    return FeedLine(name, "", "", read, new, further, refused, values, whole=False)


def _reject_line(row: Mapping[str, Any]) -> RejectLine:
    row_no = f", row {row['row_no']}" if row["row_no"] is not None else ""
    return RejectLine(
        place=f"{row['path']}{row_no}",
        scope={"file": "whole file", "row": "whole row", "value": "this value only"}[row["scope"]],
        field=row["field"],
        value=phrase.plain(row["value"]),
        expected=row["hint"],
        code=row["code"],
    )


def skip_lines(skips: pl.DataFrame, weighed: pl.DataFrame, context: Context) -> tuple[SkipLine, ...]:
    """Return a line per listing that nobody should buy or ask about, up to ``LINES`` of them.

    The reason is that of the buyer it was nearest to, with all buyers who share it.

    Args:
        skips: Leading verdicts, nearest first.
        weighed: Every verdict on open listings.
        context: What all tickets and lines of a page share.
    """
    shown = skips.head(LINES)
    names = {key: buyer.name for key, buyer in context.catalogue.buyers.items()}
    sharing = (
        weighed.join(shown.select("listing_id", "reason"), on=["listing_id", "reason"], how="semi")
        .with_columns(buyer_name=pl.col("buyer").replace(names))
        .sort("listing_id", "buyer_name")
        .group_by("listing_id")
        .agg(sharing=pl.col("buyer_name"))
    )
    lines = shown.join(sharing, on="listing_id", maintain_order="left")
    return tuple(_skip_line(row, context) for row in lines.iter_rows(named=True))


def _skip_line(row: Mapping[str, Any], context: Context) -> SkipLine:
    return SkipLine(
        anchor=anchor(row["listing_id"]),
        title=phrase.title_of(row["title"]),
        language=phrase.language_tag(row["language"]),
        source=phrase.plain(row["source"]),
        url=link(row["url"]),
        price=price_of(row),
        price_base=base_price(row),
        size=phrase.short(row["size_text"]),
        foot=f"{row['foot_mm_lo']:.0f}" if row["foot_mm_lo"] is not None else "",
        model=row["model"] or "",
        news=news_of(row, context),
        buyers=tuple(row["sharing"]),
        reason=phrase.plain(row["reason"]),
    )
