"""The night and one listing as plain text: no colour, no markup, nothing a terminal would obey."""

from collections.abc import Iterable, Sequence
from datetime import date

import polars as pl

from triage.errors import fail
from triage.store import Connection, frame
from triage.writeup import phrase
from triage.writeup.calls import Calls, best_calls
from triage.writeup.explain import Mark, chain
from triage.writeup.frames import nearest_id, read_detail, read_night
from triage.writeup.knowledge import Catalogue
from triage.writeup.queries import INSPECTIONS_ON, LISTING, VERDICTS_ON
from triage.writeup.ticket import price_of

# A terminal shows the head of the list; the report has the rest.
BUYS_SHOWN = 20


def summary(store: Connection, as_of: date) -> str:
    """Return how the night went: the account in a line, the calls in a line, a line per buy."""
    night = read_night(store, as_of)
    calls = best_calls(night.listing, night.verdict, {})
    feed = night.feed if night.reported_until is None else night.feed.filter(
        (pl.col("seen_on") > night.reported_until).fill_null(True)
    )  # fmt: skip
    read, new, further, refused = (
        int(feed[column].sum()) for column in ("rows_read", "first_rows", "further_rows", "refused_rows")
    )
    lines = [
        phrase.long_day(as_of),
        f"{phrase.count(feed.height, 'export')}: {read} rows read = {new} new + {further} seen again"
        f" + {refused} rejects{'' if read == new + further + refused else ': DOES NOT ADD UP'}",
        _calls_line(calls),
        *buy_lines(calls.buy.head(BUYS_SHOWN)),
    ]
    if calls.buy.height > BUYS_SHOWN:
        lines.append(f"and {phrase.count(calls.buy.height - BUYS_SHOWN, 'more buy')} in the report")
    return "\n".join(lines) + "\n"


def _calls_line(calls: Calls) -> str:
    total = calls.tickets.height + calls.near.height + calls.skip.height
    skips = calls.near.height + calls.skip.height
    return (
        f"{phrase.count(total, 'open listing')} weighed: {phrase.count(calls.buy.height, 'buy')}, "
        f"{phrase.count(calls.ask.height, 'ask')}, {phrase.count(skips, 'skip')}"
    )


def buy_lines(buys: pl.DataFrame) -> Iterable[str]:
    """Return a line per buy, best first: offer, price, for whom, plan, title."""
    for row in buys.iter_rows(named=True):
        offer = phrase.at_most(row["offer_minor"], row["currency"])
        yield (
            f"buy  up to {offer}, price {price_of(row)}, for {', '.join(row['buyers'])}, "
            f"{phrase.PLAN[row['plan']]}: {phrase.plain(row['title'])} [{phrase.plain(row['listing_id'])}]"
        )


def explain(store: Connection, catalogue: Catalogue, listing_id: str, mark: Mark | None = None) -> str:
    """Return the whole chain for one listing, from the row as exported to the call.

    Args:
        mark: From a text and its observations to the text with them marked in place.

    Raises:
        TriageError: The store has no such listing; the message names the most similar id.
    """
    found = frame(store, LISTING, [listing_id]).to_dicts()
    if not found:
        like = nearest_id(store, listing_id)
        fail(f"listing {listing_id}", "not in the store", f"an id of the store, such as {like}" if like else "a night")
    verdicts: Sequence[dict[str, object]] = frame(store, VERDICTS_ON, [listing_id]).to_dicts()
    inspections = frame(store, INSPECTIONS_ON, [listing_id]).to_dicts()
    detail = read_detail(store, pl.Series([listing_id]))
    return chain(found[0], verdicts, inspections, detail, catalogue, mark)
