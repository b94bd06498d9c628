"""A seller's reply: what is read from it with the words marked, and how it is noted once corrected."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from typing import Any

import polars as pl

from triage.catalogue import Catalogue
from triage.desk.inline import inline
from triage.observation import read_text
from triage.observation.show import Piece, pieces

STRUCK = "…"
AS_TOLD = {"affirmed": "yes", "denied": "no"}


@dataclass(frozen=True)
class Heard:
    """What a sign was read as, or was asked for.

    Attributes:
        told: yes, no, or empty where nothing was said of it.
        quote: The words; empty where there are none.
    """

    sign: str
    part: str
    question: str
    told: str
    quote: str
    hedged: bool


@dataclass(frozen=True)
class Reply:
    """A reply with its words marked, and a line for every sign it speaks of or was asked for."""

    text: str
    language: str
    pieces: tuple[Piece, ...]
    heard: tuple[Heard, ...]

    @property
    def mark(self) -> str:
        """What tells this text from any other; empty for no text."""
        return sha256(self.text.encode("utf-8", "replace")).hexdigest()[:16] if self.text else ""


@inline
def reply_of(text: str, language: str | None, asked: Sequence[str], catalogue: Catalogue) -> Reply:
    """Return what a reply says.

    Args:
        text: The reply as pasted.
        language: Language of the listing; the reply's words decide.
        asked: Signs that were asked for, best first.
        catalogue: The words.
    """
    read = read_text(text, catalogue.reading, language) if text else None
    rows = [] if read is None else read.filter("counts").to_dicts()
    told = {row["sign"]: row for row in rows}
    signs = dict.fromkeys([*(sign for sign in asked if sign in catalogue.signs), *told])
    spoken = pl.Series([row["language"] for row in rows], dtype=pl.String).mode()
    return Reply(
        text,
        str(spoken[0]) if len(spoken) else language or "",
        (Piece(text, ()),) if read is None else pieces(text, _labelled(read, catalogue)),
        tuple(_heard(sign, told.get(sign), catalogue) for sign in signs),
    )


def corrections(reply: Reply, told: Mapping[str, str], mark: str) -> dict[str, str]:
    """Return what of a form's buttons was said of this reply, and not only left as they stood for another text.

    Args:
        reply: The reply as it was sent.
        told: yes, no or "not shown" by sign, as the buttons stood.
        mark: Mark of the text that the buttons were set by.
    """
    if mark == reply.mark:
        return dict(told)
    # Set by no text: a yes or a no was chosen by hand, the rest was never touched.
    return {sign: word for sign, word in told.items() if word != "not shown"} if not mark else {}


def noted(reply: Reply, corrected: Mapping[str, str]) -> dict[str, Any]:
    """Return what is noted of a reply: its words, and yes or no for signs that were told otherwise than read.

    What was read and is called not said is struck from the words, so that nobody reads it again.

    Args:
        corrected: yes, no or "not shown" by sign.
    """
    text, signs = reply.text, {}
    for one in reply.heard:
        told = corrected.get(one.sign, one.told)
        if told == "not shown":
            if one.told:
                text = text.replace(one.quote, STRUCK, 1)
        elif told != one.told:
            signs[one.sign] = told
    content: dict[str, Any] = {"text": text, "signs": signs}
    return content if text == reply.text else content | {"as_pasted": reply.text}


def _heard(sign: str, row: Mapping[str, Any] | None, catalogue: Catalogue) -> Heard:
    known = catalogue.signs[sign]
    told, quote, hedged = ("", "", False) if row is None else (AS_TOLD[row["state"]], row["quote"] or "", row["hedged"])
    return Heard(sign, known.part.replace("_", " "), known.affirmed, told, quote, hedged)


def _labelled(read: pl.DataFrame, catalogue: Catalogue) -> pl.DataFrame:
    """Return readings with the words of their signs in place of the ids."""
    words = [
        (sign.affirmed if row["state"] == "affirmed" else sign.denied) or row["sign"]
        for row in read.to_dicts()
        for sign in [catalogue.signs[row["sign"]]]
    ]
    return read.with_columns(sign=pl.Series(words, dtype=pl.String), state=pl.lit(""))
