"""What differs from the night before: new, another price, another call, sold or gone."""

import json
import re
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import polars as pl

from triage.writeup import phrase
from triage.writeup.frames import Night
from triage.writeup.ticket import anchor, price_of

# A report is read in the morning: longer lists stay in verdicts.csv, and the page says how much it left out.
LINES = 400
NIGHT = re.compile(r"\d{4}-\d{2}-\d{2}")
# Best first; a listing's call is the best over all buyers.
CALLS = ("buy", "ask", "skip")
CALLED = {"listing_id": pl.String, "call": pl.String}
PIECE_BYTES = 2**26  # of a million verdicts the file is a gigabyte


@dataclass(frozen=True)
class ChangeLine:
    """A listing that is new, gone, or has another price or call."""

    anchor: str
    title: str
    language: str
    source: str
    words: str


@dataclass(frozen=True)
class Changes:
    """What differs between the last two nights exports were saved on.

    ``calls_since`` is the night of the report that calls are compared with; empty when there is none to compare with.
    """

    previous: str
    new: tuple[ChangeLine, ...]
    new_counts: str
    prices: tuple[ChangeLine, ...]
    calls: tuple[ChangeLine, ...]
    calls_since: str
    left: tuple[ChangeLine, ...]
    left_out: int


@dataclass(frozen=True)
class Earlier:
    """The calls of the report before this one: listing_id, before (the best call over all buyers)."""

    night: date
    calls: pl.DataFrame


def earlier_calls(out: Path, as_of: date) -> Earlier | None:
    """Return the calls of the last report published before a night; None when there is none that can be read.

    Args:
        out: Folder of all reports.
        as_of: The night.
    """
    names = (path.name for path in out.iterdir()) if out.is_dir() else iter(())
    nights = sorted((name for name in names if NIGHT.fullmatch(name) and name < as_of.isoformat()), reverse=True)
    for night in nights:
        try:
            day, called = date.fromisoformat(night), pl.concat([*_called(out / night / "verdicts.json")])
            if called["listing_id"].has_nulls() or called["call"].has_nulls():
                continue
            # The smallest is the best: in the order of ``CALLS``.
            best = called.group_by("listing_id").agg(before=pl.col("call").cast(pl.Enum(CALLS)).min().cast(pl.String))
        except (OSError, ValueError, KeyError, TypeError, pl.exceptions.PolarsError):
            continue
        return Earlier(day, best)
    return None


def _called(verdicts: Path) -> Iterator[pl.DataFrame]:
    """Yield the calls of a report, listing_id and call: piece by piece as ``tables.json_pieces`` writes them.

    Raises:
        OSError, ValueError, KeyError, TypeError, PolarsError: The file can't be read.
    """
    with verdicts.open("rb") as stream:
        head, rest, ended = stream.readline(), b"", False
        if not head.endswith(b"[\n"):
            yield _calls_in(json.loads(head + stream.read())["verdicts"])
            return
        yield pl.DataFrame(schema=CALLED)
        while piece := stream.read(PIECE_BYTES):
            # A verdict has a line of its own, and a line feed in a text is escaped.
            lines, _, rest = (rest + piece).rpartition(b"\n")
            ended = lines == b"]}" or lines.endswith(b"\n]}")
            lines = lines.removesuffix(b"]}") if ended else lines
            if lines:
                yield _called_in(lines)
    if not ended:
        raise ValueError("the file ends in the middle")


def _called_in(lines: bytes) -> pl.DataFrame:
    """Return the calls in some lines of verdicts: looked for, as to parse a million takes many times as long."""
    # No line has the separator, so each is one cell: JSON escapes control characters.
    cells = pl.read_csv(lines, separator="\x01", quote_char=None, has_header=False, schema={"line": pl.String})
    # A quote inside a text is escaped, so these stand for nothing but the names of two values.
    listing_id, call = r'^\{"listing_id":"([^"\\]*)"', r'"call":"([^"\\]*)"'
    found = cells.select(
        pl.col("line").str.extract(listing_id).alias("listing_id"), pl.col("line").str.extract(call).alias("call")
    )
    odd = found["listing_id"].is_null() | found["call"].is_null()
    parsed = [json.loads(line.removesuffix(",")) for line in cells["line"].filter(odd).fill_null("")]
    return pl.concat([found.filter(~odd), _calls_in(parsed)])


def _calls_in(verdicts: Iterable[Mapping[str, str]]) -> pl.DataFrame:
    return pl.DataFrame([(row["listing_id"], row["call"]) for row in verdicts], CALLED, orient="row")


def call_changes(earlier: Earlier | None, leads: pl.DataFrame) -> pl.DataFrame:
    """Return the open listings whose best call is another than in the last report, the best first.

    Args:
        earlier: The calls of the last report.
        leads: Every open listing in its best call, best first.

    Returns:
        The leads with another call, with ``before``, their call then.
    """
    if earlier is None:
        return leads.head(0).with_columns(before=pl.lit("", pl.String))
    # Joined by their ids alone: every other column is copied once, for the few that have another call.
    known = leads.select("listing_id").join(earlier.calls, on="listing_id", how="left", maintain_order="left")
    return leads.with_columns(known["before"]).filter(pl.col("before") != pl.col("call"))


def changes_of(
    night: Night,
    leads: pl.DataFrame,
    moved: pl.DataFrame,
    calls_since: date | None = None,
    ticketed: Collection[str] | None = None,
) -> Changes | None:
    """Return what changed since the night before; None when nothing is known of an earlier night.

    Args:
        night: Frames of the night.
        leads: Every open listing in its best call, best first.
        moved: Those with another call than in the last report, of ``call_changes``.
        calls_since: The night of that report; None when there is none.
        ticketed: Listings that have a ticket to lead to; all buys and asks when left out.
    """
    if len(night.nights) < 2:
        return None
    tonight, previous = night.nights
    new = leads.filter((pl.col("first_seen") > previous) & (pl.col("first_seen") <= night.as_of))
    calls = {call: new.filter(pl.col("call") == call).height for call in CALLS}
    worthy = new.filter(pl.col("call") != "skip")
    prices = price_changes(night.price_path, previous).join(leads, on="listing_id", maintain_order="left")
    left = _left(night.listing, tonight, previous)
    shown = leads.filter(pl.col("call") != "skip")["listing_id"] if ticketed is None else ticketed
    names = {listing_id: anchor(listing_id) for listing_id in shown}
    return Changes(
        previous=phrase.day(previous),
        new=tuple(_new_line(row, names) for row in worthy.head(LINES).iter_rows(named=True)),
        new_counts=", ".join(phrase.count(number, call) for call, number in calls.items()),
        prices=tuple(_price_line(row, names) for row in prices.head(LINES).iter_rows(named=True)),
        calls=tuple(_call_line(row, names) for row in moved.head(LINES).iter_rows(named=True)),
        calls_since=phrase.day(calls_since) if calls_since else "",
        left=tuple(_left_line(row) for row in left.head(LINES).iter_rows(named=True)),
        left_out=sum(max(0, frame.height - LINES) for frame in (worthy, prices, moved, left)),
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


def _new_line(row: Mapping[str, Any], names: Mapping[str, str]) -> ChangeLine:
    words = f"{row['call']}, {price_of(row)}"
    return ChangeLine(names.get(row["listing_id"], ""), *_whose(row), words)


def _price_line(row: Mapping[str, Any], names: Mapping[str, str]) -> ChangeLine:
    amounts = [phrase.money(minor, row["path_currency"]) for minor in row["path"]]
    words = f"{' → '.join(amounts)} ({phrase.change(row['share'])}), {row['call']}"
    return ChangeLine(names.get(row["listing_id"], ""), *_whose(row), words)


def _call_line(row: Mapping[str, Any], names: Mapping[str, str]) -> ChangeLine:
    words = f"{row['before']} → {row['call']}: {phrase.plain(row['reason'])}"
    return ChangeLine(names.get(row["listing_id"], ""), *_whose(row), words)


def _left_line(row: Mapping[str, Any]) -> ChangeLine:
    return ChangeLine("", *_whose(row), f"{row['status']}, last price {price_of(row)}")


def _whose(row: Mapping[str, Any]) -> tuple[str, str, str]:
    return phrase.title_of(row["title"]), phrase.language_tag(row["language"]), phrase.plain(row["source"])
