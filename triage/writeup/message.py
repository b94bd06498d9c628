"""The message to the seller: questions -> text in the seller's language, ready to copy."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from triage.writeup import phrase
from triage.writeup.knowledge import Catalogue
from triage.writeup.page import languages, render

LANGUAGE = {
    "en": "English",
    "de": "German",
    "fr": "French",
    "it": "Italian",
    "es": "Spanish",
    "ja": "Japanese",
}

PRICE_FACT = "price_minor"

Row = Mapping[str, Any]


@dataclass(frozen=True)
class QuestionView:
    """A question with what it is about and what each answer would do."""

    about: str
    text: str
    english: str
    if_yes: str
    if_no: str
    gain: str


@dataclass(frozen=True)
class Message:
    """One message for the buyers who would ask the same questions."""

    buyers: tuple[str, ...]
    language: str
    language_name: str
    text: str
    questions: tuple[QuestionView, ...]


def messages_of(
    listing: Row, verdicts: Sequence[Row], questions: Iterable[Row], catalogue: Catalogue
) -> tuple[Message, ...]:
    """Return the messages for the buyers whose call is ask; one where they ask the same.

    Without a question the ask is an offer below the price, and the message makes it.

    Args:
        listing: The listing's columns.
        verdicts: Ask verdicts on it, the leading one first.
        questions: Question rows on it, of any buyer, by place.
        catalogue: Words for signs, names of buyers.
    """
    asked = defaultdict(list)
    for row in questions:
        asked[row["buyer"]].append(row)
    groups: dict[tuple[str, ...], list[Row]] = defaultdict(list)
    for verdict in verdicts:
        groups[tuple(row["text"] for row in asked[verdict["buyer"]])].append(verdict)
    messages = (_message(listing, group, asked[group[0]["buyer"]], catalogue) for group in groups.values())
    return tuple(message for message in messages if message is not None)


def _message(listing: Row, verdicts: Sequence[Row], questions: Sequence[Row], catalogue: Catalogue) -> Message | None:
    lead = verdicts[0]
    # An offer is made where its price is the question, or where there is no other.
    asked = [row for row in questions if row["fact"] != PRICE_FACT]
    offer = _offer(listing, lead) if len(asked) < len(questions) or not questions else ""
    texts = [row["text"] for row in (asked if offer else questions)]
    if not texts and not offer:
        return None
    wanted = questions[0]["language"] if questions else listing["language"]
    language = wanted if wanted in languages() else "en"
    text = render(
        f"message/{language}.txt",
        title=phrase.title_of(listing["title"]),
        plan=lead["plan"] if lead["plan"] in ("wear", "restore", "display") else "parts",
        questions=[phrase.plain(line) for line in texts],
        offer=offer,
    )
    buyers = (catalogue.buyers.get(row["buyer"]) for row in verdicts)
    return Message(
        buyers=tuple(b.name if b else row["buyer"] for b, row in zip(buyers, verdicts, strict=True)),
        language=language,
        language_name=LANGUAGE.get(language, language),
        text=text.strip(),
        questions=tuple(_question(row, lead["currency"], offer, catalogue) for row in questions),
    )


def _offer(listing: Row, verdict: Row) -> str:
    """Return the highest sensible offer in the seller's money, where an offer can be made at all."""
    usable = listing["price_kind"] in ("fixed", "unknown") and verdict["offer_minor"] and listing["price_base_minor"]
    if not usable:
        return ""
    abroad = verdict["offer_minor"] * listing["price_minor"] // listing["price_base_minor"]
    currency = listing["price_currency"] or verdict["currency"]
    return phrase.at_most(min(abroad, listing["price_minor"]), currency).replace(phrase.NARROW, phrase.NO_BREAK)


def _question(row: Row, currency: str, offer: str, catalogue: Catalogue) -> QuestionView:
    sign, fact = catalogue.signs.get(row["sign"] or ""), catalogue.facts.get(row["fact"] or "")
    about, english = (row["sign"] or row["fact"] or "").replace("_", " "), ""
    if sign:
        about = f"{sign.part.replace('_', ' ')}: {sign.affirmed}"
        english = sign.question.en if sign.question else ""
    elif offer and row["fact"] == PRICE_FACT:
        about = f"the offer of {offer}"
    elif fact:
        about, english = fact.short or fact.about, fact.ask.get("en", "")
    return QuestionView(
        about=about,
        text=phrase.plain(row["text"]),
        english=english if row["language"] != "en" else "",
        if_yes=row["if_yes"],
        if_no=row["if_no"],
        gain=phrase.estimate(row["gain_minor"], currency) if row["gain_minor"] else "",
    )
