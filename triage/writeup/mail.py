"""The night as a letter ready to send: a file that any mail program opens; nothing is ever sent from here.

Source:
    RFC 5322, Internet Message Format (2008), written by the standard library's ``email``.
"""

from datetime import UTC, datetime, time
from email.message import EmailMessage
from email.policy import SMTP
from hashlib import sha256

from triage.errors import fail
from triage.writeup import phrase
from triage.writeup.digest import digest_text
from triage.writeup.page import render
from triage.writeup.view import NightView


def empty_letter(sender: str, recipient: str, subject: str = "") -> EmailMessage:
    """Return a letter that says nothing yet; a sender or recipient that is empty is left to be filled in.

    Raises:
        TriageError: An address can't stand in a letter's head.
    """
    made = EmailMessage(policy=SMTP)
    made["Subject"] = subject
    for name, address in (("From", sender), ("To", recipient)):
        if not address:
            continue
        try:
            made[name] = address
        except ValueError:
            fail(f"mail_{name.lower()}", f"is {address!r}", "one address, such as me@example.org")
    return made


def letter(view: NightView, sender: str, recipient: str) -> bytes:
    """Return the letter: the digest as plain text, and the same as a page without images or links to load.

    Date, identifier and boundary follow from the night and its words, so the same night is the same bytes.

    Args:
        view: The night.
        sender, recipient: As ``empty_letter`` takes them.

    Raises:
        TriageError: An address can't stand in a letter's head.
    """
    text = digest_text(view)
    day = view.night.as_of
    counts = f"{phrase.count(view.calls.buy.height, 'buy')}, {phrase.count(view.calls.ask.height, 'ask')}"
    made = empty_letter(sender, recipient, f"Listings of {phrase.day(day)}: {counts}")
    made["Date"] = datetime.combine(day, time(), UTC)
    key = sha256(f"{sender}|{recipient}|{text}".encode()).hexdigest()[:32]
    made["Message-ID"] = f"<{key}@triage.invalid>"
    # Opened as a draft by programs that know this head; others ignore it. Common practice, no standard.
    made["X-Unsent"] = "1"
    made.set_content(text, cte="quoted-printable")
    made.add_alternative(render("letter.html", text=text, view=view), subtype="html", cte="quoted-printable")
    made.set_boundary(f"=_{key}")
    return made.as_bytes()
