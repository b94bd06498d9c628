"""The night as a whole: the account of what was read, what changed, and the lines below the tickets."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

import polars as pl

from triage.writeup import phrase
from triage.writeup.frames import Night
from triage.writeup.ticket import anchor, link, price_of

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
class ChangeLine:
    """A listing that is new, gone, or has another price."""

    anchor: str
    title: str
    language: str
    source: str
    words: str


@dataclass(frozen=True)
class Changes:
    """What differs between the last two nights exports were saved on."""

    previous: str
    new: tuple[ChangeLine, ...]
    new_counts: str
    prices: tuple[ChangeLine, ...]
    left: tuple[ChangeLine, ...]
    left_out: int


@dataclass(frozen=True)
class SkipLine:
    """A listing that gets no ticket, with the reason."""

    anchor: str
    title: str
    language: str
    source: str
    url: str
    price: str
    buyers: str
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


def changes_of(night: Night, leads: pl.DataFrame) -> Changes | None:
    """Return what changed since the night before; None when the store knows one night only.

    Args:
        night: Frames of the night.
        leads: Every open listing in its best call, best first.
    """
    if len(night.nights) < 2:
        return None
    tonight, previous = night.nights
    new = leads.filter((pl.col("first_seen") > previous) & (pl.col("first_seen") <= night.as_of))
    calls = {call: new.filter(pl.col("call") == call).height for call in ("buy", "ask", "skip")}
    ticketed = new.filter(pl.col("call") != "skip")
    prices = price_changes(night.price_path, previous).join(leads, on="listing_id", maintain_order="left")
    left = _left(night.listing, tonight, previous)
    return Changes(
        previous=phrase.day(previous),
        new=tuple(_new_line(row) for row in ticketed.head(LINES).iter_rows(named=True)),
        new_counts=", ".join(phrase.count(number, call) for call, number in calls.items()),
        prices=tuple(_price_line(row) for row in prices.head(LINES).iter_rows(named=True)),
        left=tuple(_left_line(row) for row in left.head(LINES).iter_rows(named=True)),
        left_out=sum(max(0, frame.height - LINES) for frame in (ticketed, prices, left)),
    )


def price_changes(price_path: pl.DataFrame, previous: date) -> pl.DataFrame:
    """Return the listings whose price changed after a night, the deepest drop first.

    Args:
        price_path: listing_id, seen_on, price_minor, currency: one row per price a listing has had, in order.
        previous: The night before.

    Returns:
        listing_id, path (list of prices, minor units), path_currency, share (price now over price
        before, minus 1; NULL when it was free before).
    """
    paths = price_path.group_by("listing_id", maintain_order=True).agg(
        path=pl.col("price_minor"),
        path_currency=pl.col("currency").last(),
        one_currency=pl.col("currency").n_unique() == 1,
        changed_on=pl.col("seen_on").last(),
    )
    before, now = pl.col("path").list.get(-2, null_on_oob=True), pl.col("path").list.get(-1)
    share = pl.when((before > 0) & pl.col("one_currency")).then(now / before - 1)
    changed = (pl.col("path").list.len() > 1) & (pl.col("changed_on") > previous) & pl.col("one_currency")
    kept = paths.filter(changed).with_columns(share=share)
    return kept.select("listing_id", "path", "path_currency", "share").sort("share", "listing_id", nulls_last=True)


def _left(listing: pl.DataFrame, tonight: date, previous: date) -> pl.DataFrame:
    """Return the listings that were open the night before and are sold or gone now."""
    sold = (pl.col("status") == "sold") & (pl.col("last_seen") == tonight) & (pl.col("first_seen") <= previous)
    # A marketplace that was exported tonight and no longer shows it; one not exported says nothing.
    gone = (
        (pl.col("status") == "gone")
        & (pl.col("source_night") == tonight)
        & (pl.col("last_seen") == pl.col("source_night_before"))
    )
    return listing.filter(sold | gone).sort("status", "listing_id")


def _new_line(row: Mapping[str, Any]) -> ChangeLine:
    words = f"{row['call']}, {price_of(row)}"
    return ChangeLine(anchor(row["listing_id"]), *_whose(row), words)


def _price_line(row: Mapping[str, Any]) -> ChangeLine:
    amounts = [phrase.money(minor, row["path_currency"]) for minor in row["path"]]
    words = f"{' → '.join(amounts)} ({phrase.change(row['share'])}), {row['call']}"
    return ChangeLine(anchor(row["listing_id"]) if row["call"] != "skip" else "", *_whose(row), words)


def _left_line(row: Mapping[str, Any]) -> ChangeLine:
    return ChangeLine("", *_whose(row), f"{row['status']}, last price {price_of(row)}")


def _whose(row: Mapping[str, Any]) -> tuple[str, str, str]:
    return phrase.plain(row["title"]), phrase.language_tag(row["language"]), phrase.plain(row["source"])


def skip_lines(skips: pl.DataFrame, weighed: pl.DataFrame, names: Mapping[str, str]) -> tuple[SkipLine, ...]:
    """Return a line per listing that nobody should buy or ask about, up to ``LINES`` of them.

    The reason is that of the buyer it was nearest to, with all buyers who share it.

    Args:
        skips: Leading verdicts, nearest first.
        weighed: Every verdict on open listings.
        names: Buyers' names by id.
    """
    shown = skips.head(LINES)
    sharing = (
        weighed.join(shown.select("listing_id", "reason"), on=["listing_id", "reason"], how="semi")
        .with_columns(buyer_name=pl.col("buyer").replace(names))
        .sort("listing_id", "buyer_name")
        .group_by("listing_id")
        .agg(sharing=pl.col("buyer_name"))
    )
    lines = shown.join(sharing, on="listing_id", maintain_order="left")
    return tuple(_skip_line(row) for row in lines.iter_rows(named=True))


def _skip_line(row: Mapping[str, Any]) -> SkipLine:
    return SkipLine(
        anchor=anchor(row["listing_id"]),
        title=phrase.plain(row["title"]),
        language=phrase.language_tag(row["language"]),
        source=phrase.plain(row["source"]),
        url=link(row["url"]),
        price=price_of(row),
        buyers=", ".join(row["sharing"]),
        reason=phrase.plain(row["reason"]),
    )
