"""The night in short, as plain text: what to buy, what to ask, what changed; a letter's body too."""

from collections.abc import Iterable, Iterator, Sequence
from textwrap import fill

from triage.writeup import phrase
from triage.writeup.changes import ChangeLine
from triage.writeup.ticket import Ticket
from triage.writeup.view import NightView

CAUTION = (
    "Estimates from age, material and what the seller wrote, not inspections. A pair can fail sooner: have the sole "
    "checked by a qualified shoe repairer before wearing."
)
# A digest is read on the way to work; the page has the rest.
PAIRS, CHANGES = 20, 10
WIDTH = 78


def digest_text(view: NightView) -> str:
    """Return the night as plain text, no line of ours longer than ``WIDTH``; a title or an address may be."""
    calls = view.calls
    skips = calls.near.height + calls.skip.height
    lines = [
        phrase.long_day(view.night.as_of),
        f"{phrase.count(view.weighed, 'open listing')}: {phrase.count(calls.buy.height, 'buy')}, "
        f"{phrase.count(calls.ask.height, 'ask')}, {phrase.count(skips, 'skip')}",
    ]
    for name, tickets, total in (("BUY", view.buys, calls.buy.height), ("ASK", view.asks, calls.ask.height)):
        lines += _pairs(name, tickets, total)
    lines += _changes(view)
    return "\n".join([*lines, "", fill(CAUTION, WIDTH)]) + "\n"


def worth_of(ticket: Ticket) -> str:
    """Return what a ticket comes down to: the highest sensible offer, the price, the plan and the chance."""
    lead = ticket.lead
    note = f" ({ticket.price_note})" if ticket.price_note else ""
    abroad = f" ({lead.offer_abroad})" if lead.offer_abroad else ""
    assumed = ", shipping assumed" if lead.shipping_assumed else ""
    offer = f"offer up to {lead.offer}{abroad}" if lead.offer != phrase.NO_OFFER else lead.offer
    return (
        f"{offer}; price {ticket.price}{note}, lands at {lead.landed}{assumed}; {lead.plan}; "
        f"wearable as it is {lead.chance}"
    )


def _pairs(name: str, tickets: Sequence[Ticket], total: int) -> Iterator[str]:
    yield from ("", name)
    if not tickets:
        yield "  nothing tonight"
    for ticket in tickets[:PAIRS]:
        yield from _pair(ticket)
    if total > PAIRS:
        yield f"  and {total - PAIRS} more in the report"


def _pair(ticket: Ticket) -> Iterator[str]:
    news = f" [{ticket.news}]" if ticket.news else ""
    yield f"{ticket.number:>3}. {ticket.title}{news}"
    for text in (f"{worth_of(ticket)}; for {', '.join(ticket.buyers)}", ticket.lead.reason):
        yield fill(text, WIDTH, initial_indent="     ", subsequent_indent="     ", break_long_words=False)
    asked = ticket.messages[0].questions if ticket.messages else ()
    for question in asked:
        yield fill(f"? {question.english or question.text}", WIDTH, initial_indent="     ", subsequent_indent="       ",
                   break_long_words=False)  # fmt: skip
    if ticket.url:
        yield f"     {ticket.url}"


def _changes(view: NightView) -> Iterator[str]:
    changes = view.changes
    if changes is None:
        return
    yield from ("", f"SINCE {changes.previous}", f"  new: {changes.new_counts}")
    for name, found in (("other price", changes.prices), ("other call", changes.calls), ("left", changes.left)):
        yield from _change_lines(name, found)


def _change_lines(name: str, found: Sequence[ChangeLine]) -> Iterable[str]:
    if not found:
        return
    yield f"  {name}: {len(found)}"
    for line in found[:CHANGES]:
        yield fill(f"{line.title}: {line.words}", WIDTH, initial_indent="    ", subsequent_indent="      ",
                   break_long_words=False)  # fmt: skip
    if len(found) > CHANGES:
        yield f"    and {len(found) - CHANGES} more in the report"
