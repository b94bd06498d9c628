"""The night and one listing in the terminal: nothing of a stranger's text is markup or obeyed."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import polars as pl
from rich.console import Console
from rich.table import Table
from rich.text import Text

from triage.errors import fail
from triage.store import Connection, frame
from triage.writeup import phrase
from triage.writeup.arrivals import arrival_lines
from triage.writeup.calls import Calls, best_calls
from triage.writeup.explain import Mark, chain
from triage.writeup.frames import nearest_id, read_detail, read_night
from triage.writeup.knowledge import Catalogue
from triage.writeup.queries import LISTING, VERDICTS_ON
from triage.writeup.ticket import price_of

# A terminal shows the head of the list; the report has the rest.
BUYS_SHOWN = 20


@dataclass(frozen=True)
class Summary:
    """How a night went: the account in a line, the calls in a line, the buys."""

    head: tuple[str, ...]
    buys: pl.DataFrame

    @property
    def text(self) -> str:
        """The summary as plain lines, one per buy."""
        return "\n".join([*self.head, *buy_lines(self.buys.head(BUYS_SHOWN)), *self._more]) + "\n"

    @property
    def _more(self) -> tuple[str, ...]:
        left = self.buys.height - BUYS_SHOWN
        return (f"and {phrase.count(left, 'more buy')} in the report",) if left > 0 else ()

    def show(self, console: Console | None = None) -> None:
        """Print the summary: as a table on a terminal, as plain lines elsewhere; ``NO_COLOR`` is honoured."""
        shown = console or Console(highlight=False)
        if not shown.is_terminal or self.buys.is_empty():
            shown.print(Text(self.text), end="", soft_wrap=True)
            return
        shown.print(Text("\n".join(self.head)))
        table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
        for heading in ("up to", "price"):
            table.add_column(heading, justify="right", no_wrap=True)
        for heading in ("for", "plan", "title"):
            table.add_column(heading, overflow="ellipsis", no_wrap=heading == "title")
        for row in self.buys.head(BUYS_SHOWN).iter_rows(named=True):
            # Text, never a string: a seller's [bold] is a title, not markup.
            table.add_row(*(Text(cell) for cell in _cells(row)))
        shown.print(table)
        shown.print(Text("\n".join([*self._more, "Estimates, not inspections."])))


def summary(store: Connection, as_of: date) -> Summary:
    """Return how the night went."""
    night = read_night(store, as_of)
    calls = best_calls(night.listing, night.verdict, {})
    feed = night.feed if night.reported_until is None else night.feed.filter(
        (pl.col("seen_on") > night.reported_until).fill_null(True)
    )  # fmt: skip
    read, new, further, refused = (
        int(feed[column].sum()) for column in ("rows_read", "first_rows", "further_rows", "refused_rows")
    )
    account = (
        f"{phrase.count(feed.height, 'export')}: {read} rows read = {new} new + {further} seen again"
        f" + {refused} rejects{'' if read == new + further + refused else ': DOES NOT ADD UP'}"
    )
    return Summary((phrase.long_day(as_of), account, _calls_line(calls)), calls.buy)


def _calls_line(calls: Calls) -> str:
    total = calls.tickets.height + calls.near.height + calls.skip.height
    skips = calls.near.height + calls.skip.height
    return (
        f"{phrase.count(total, 'open listing')} weighed: {phrase.count(calls.buy.height, 'buy')}, "
        f"{phrase.count(calls.ask.height, 'ask')}, {phrase.count(skips, 'skip')}"
    )


def _cells(row: dict[str, Any]) -> tuple[str, str, str, str, str]:
    offer = phrase.at_most(row["offer_minor"], row["currency"])
    buyers, title = ", ".join(row["buyers"]), phrase.title_of(row["title"])
    return offer, price_of(row), buyers, phrase.PLAN[row["plan"]], f"{title} [{phrase.plain(row['listing_id'])}]"


def buy_lines(buys: pl.DataFrame) -> Iterable[str]:
    """Return a line per buy, best first: offer, price, for whom, plan, title."""
    for row in buys.iter_rows(named=True):
        offer, price, buyers, plan, title = _cells(row)
        yield f"buy  up to {offer}, price {price}, for {buyers}, {plan}: {title}"


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
    detail = read_detail(store, pl.Series([listing_id]))
    return chain(found[0], verdicts, arrival_lines(store, listing_id), detail, catalogue, mark)
