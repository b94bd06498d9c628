"""New buys and asks as an Atom feed.

Source:
    RFC 4287, The Atom Syndication Format (2005); RFC 9562 for identifiers made from names.
"""

from uuid import NAMESPACE_OID, uuid5
from xml.etree import ElementTree as ET

from triage.writeup import phrase
from triage.writeup.digest import CAUTION, worth_of
from triage.writeup.ticket import Ticket
from triage.writeup.view import NightView

NAMESPACE = "http://www.w3.org/2005/Atom"
# Names that identifiers are made from; a listing keeps its own as long as its call stays.
FEED = uuid5(NAMESPACE_OID, "triage")


def atom_text(view: NightView) -> str:
    """Return the feed of a night: an entry for every buy and ask that no earlier night had.

    Texts are plain text, links http or https only, and the time is the night's, never the clock's.
    """
    ET.register_namespace("", NAMESPACE)
    moment = f"{view.night.as_of.isoformat()}T00:00:00Z"
    feed = _element("feed")
    _add(feed, "id", f"urn:uuid:{FEED}")
    _add(feed, "title", "New buys and asks")
    _add(feed, "subtitle", CAUTION)
    _add(feed, "updated", moment)
    _add(_add(feed, "author"), "name", "triage")
    for ticket in view.fresh:
        entry = _add(feed, "entry")
        _add(entry, "id", f"urn:uuid:{uuid5(FEED, f'{ticket.listing_id}|{ticket.call}')}")
        _add(entry, "title", f"{ticket.call}: {ticket.title}")
        _add(entry, "updated", moment)
        if ticket.url:
            _add(entry, "link", href=ticket.url, rel="alternate")
        _add(entry, "category", term=ticket.call)
        _add(entry, "content", _words(ticket), type="text")
    ET.indent(feed, " ")
    return '<?xml version="1.0" encoding="utf-8"?>\n' + ET.tostring(feed, encoding="unicode") + "\n"


def _words(ticket: Ticket) -> str:
    lines = [f"{worth_of(ticket)}, for {', '.join(ticket.buyers)}.", ticket.lead.reason]
    lines += [message.text for message in ticket.messages]
    return "\n".join([*lines, CAUTION])


def _element(tag: str) -> ET.Element:
    return ET.Element(f"{{{NAMESPACE}}}{tag}")


def _add(parent: ET.Element, tag: str, text: str | None = None, **attributes: str) -> ET.Element:
    made = ET.SubElement(parent, f"{{{NAMESPACE}}}{tag}", attributes)
    made.text = phrase.sound_xml(text) if text is not None else None
    return made
