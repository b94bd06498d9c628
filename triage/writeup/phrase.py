"""Numbers as a reader wants them: chances, money, dates and the contract's codes in plain words."""

from collections.abc import Mapping
from datetime import date
from math import floor, isfinite, log10
from typing import Any
from unicodedata import category

# Minor unit exponents that differ from 2. Source: ISO 4217, list one, column "minor unit" (from memory).
MINOR_DIGITS = {
    **dict.fromkeys(
        ("BIF", "CLP", "DJF", "GNF", "ISK", "JPY", "KMF", "KRW", "PYG", "RWF", "UGX", "VND", "VUV", "XAF"), 0
    ),
    **dict.fromkeys(("XOF", "XPF"), 0),
    **dict.fromkeys(("BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND"), 3),
}

MONTHS = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")

# Source of the terms and limits: IPCC, Guidance Note on Consistent Treatment of Uncertainties (2010), table 1;
# "about as likely as not" is shortened to "about even".
LIKELIHOOD = ((0.90, "very likely"), (0.66, "likely"), (0.33, "about even"), (0.10, "unlikely"))

CONDITION = {
    "deadstock": "never worn",
    "tried_on": "tried on only",
    "worn_lightly": "lightly worn",
    "worn": "worn",
    "worn_heavily": "heavily worn",
    "unknown": "wear not stated",
}
PLAN = {
    "wear": "wear as it is",
    "restore": "restore, then wear",
    "display": "display",
    "parts": "use for parts",
    "return": "send back",
    "none": "no plan",
}
LEVEL = {
    "style_number": "by its style number",
    "release": "by its release",
    "model": "by its model name",
    "generic": "a kind, not a release",
    "none": "in no table",
}
PRICE_KIND = {
    "fixed": "",
    "bid": "bid so far",
    "request": "price on request",
    "free": "free",
    "swap": "swap only",
    "unknown": "no price kind stated",
}
SPEAKER = {
    "listing": "the listing says",
    "answer": "the seller answered",
    "buyer": "seen in the photos",
    "inspection": "found on arrival",
}
KIND = {"relist": "relisted by the same seller", "copy": "the same pair on another marketplace"}

NO_OFFER = "no offer makes sense"
NO_BREAK = "\u00a0"
NARROW = "\u202f"
JOINERS = "\u200c\u200d"


def likelihood(chance: float) -> str:
    """Return the word for a chance of 0 to 1.

    Source:
        IPCC, Guidance Note on Consistent Treatment of Uncertainties (2010), table 1.
    """
    return next((word for least, word in LIKELIHOOD if chance >= least), "very unlikely")


def likelihood_range(lo: float, hi: float) -> str:
    """Return the words for a range of chance, "unlikely to about even"; one word where both ends share it."""
    low, high = likelihood(lo), likelihood(hi)
    return low if low == high else f"{low} to {high}"


def step(chance: float) -> int:
    """Return the step of ``likelihood``, 1 (very unlikely) to 5 (very likely); hatching goes by it."""
    return 5 - next((at for at, (least, _) in enumerate(LIKELIHOOD) if chance >= least), 4)


def whole_percent(chance: float) -> str:
    """Return a chance as whole percent; never 0 or 100, because no estimate here is that sure."""
    if chance < 0.01:
        return "under 1"
    if chance > 0.99:
        return "over 99"
    return str(floor(chance * 100 + 0.5))


def percent_range(lo: float, hi: float) -> str:
    """Return a range of chance in whole percent, "61 to 78 %", or "about 61 %" where both ends meet."""
    low, high = whole_percent(lo), whole_percent(hi)
    if low == high:
        return f"{low}{NO_BREAK}%" if not low.isdigit() else f"about {low}{NO_BREAK}%"
    return f"{low} to {high}{NO_BREAK}%"


def percent(chance: float) -> str:
    """Return a single chance, "about 61 %"."""
    return percent_range(chance, chance)


def decibans(chance: float) -> float:
    """Return the odds of a chance in decibans, cut to -60 .. 60 so that a certainty can be printed.

    Source:
        I. J. Good, Probability and the Weighing of Evidence (1950): 10 log10(p / (1 - p)).
    """
    if chance <= 1e-6:
        return -60.0
    return 60.0 if chance >= 1 - 1e-6 else 10 * log10(chance / (1 - chance))


def change(share: float | None) -> str:
    """Return a change of price in words, "down 22 %"."""
    if share is None:
        return "changed"
    return f"{'down' if share < 0 else 'up'} {abs(share) * 100:.0f}{NO_BREAK}%"


def signed(value: float) -> str:
    """Return decibans with their sign and one decimal, with a true minus."""
    if not isfinite(value):
        return "not known"
    text = f"{abs(value):.1f}"
    return f"−{text}" if value < 0 and text != "0.0" else f"+{text}"


def minor_digits(currency: str | None) -> int:
    """Return how many decimals a currency has."""
    return MINOR_DIGITS.get(currency or "", 2)


def money(minor: int | None, currency: str | None) -> str:
    """Return a stated amount, "EUR 96" or "EUR 96.50"; decimals only where they are not zero."""
    if minor is None:
        return "not stated"
    digits = minor_digits(currency)
    text = f"{abs(minor) / 10**digits:,.{digits}f}"
    if digits and int(minor) % 10**digits == 0:
        text = text[: -digits - 1]
    sign = "−" if minor < 0 else ""
    return f"{currency or '?'}{NO_BREAK}{sign}{text.replace(',', NARROW)}"


def estimate(minor: int | None, currency: str | None) -> str:
    """Return an amount that was estimated, to the nearest whole unit of the currency."""
    unit = 10 ** minor_digits(currency)
    return "not known" if minor is None else money((minor + unit // 2) // unit * unit, currency)


def at_most(minor: int | None, currency: str | None) -> str:
    """Return a highest sensible offer in whole units of the currency: rounded up it would be too high."""
    unit = 10 ** minor_digits(currency)
    return "not known" if minor is None else money(minor // unit * unit, currency)


def gap(row: Mapping[str, Any], currency: str) -> str:
    """Return what sets the best deadstock and the best worn pair apart for a purpose."""
    worth, asked = row["gap_minor"], row["asked_minor"]
    may = f"may cost {estimate(worth, currency)} more" if worth >= 0 else f"must cost {estimate(-worth, currency)} less"
    does = f"costs {estimate(asked, currency)} more" if asked >= 0 else f"costs {estimate(-asked, currency)} less"
    return (
        f"of the best two the {row['better']} one is the better buy: at the door the deadstock pair {may} than the "
        f"worn one before the worn one is, and it {does}"
    )


def day(when: date | None) -> str:
    """Return a date as "25 Nov 2026", in no locale's debt."""
    return "not known" if when is None else f"{when.day} {MONTHS[when.month - 1][:3]} {when.year}"


def long_day(when: date) -> str:
    """Return a date as "Wednesday 25 November 2026"."""
    return f"{WEEKDAYS[when.weekday()]} {when.day} {MONTHS[when.month - 1]} {when.year}"


def years(lo: float | None, hi: float | None) -> str:
    """Return a range of decimal years as whole ones, "1991 to 1994"."""
    if lo is None or hi is None:
        return "not known"
    # made_to is the end of a month, so the end of December is the next year's number exactly.
    first, last = int(lo), max(int(lo), int(hi - 1e-6))
    return str(first) if first == last else f"{first} to {last}"


def count(number: int, one: str, many: str = "") -> str:
    """Return "1 buy" or "9 buys"."""
    return f"{number} {one if number == 1 else many or one + 's'}"


# Longer runs of one text are no title any more; the exported row and the JSON keep them whole.
LONGEST = 300


def plain(text: str | None) -> str:
    """Return seller's text on one line without control, direction-changing or invisible characters.

    A terminal would obey escape codes, a reversed run of letters can hide what a link says, and XML allows neither
    control characters nor noncharacters. The joiners that Persian, Hindi and emoji are written with stay.
    """
    if text is None or (text.isascii() and text.isprintable()):
        return " ".join((text or "").split())
    kept = "".join(" " if c.isspace() or category(c) in ("Zl", "Zp") else c for c in text if _shows(c))
    return " ".join(kept.split())


def short(text: str | None) -> str:
    """Return a text on one line, cut with an ellipsis where it is longer than any title."""
    shown = plain(text)
    return shown if len(shown) <= LONGEST else shown[: LONGEST - 1].rstrip() + "…"


def title_of(text: str | None) -> str:
    """Return a title as ``short`` has it; a listing whose title shows nothing still has a name to click on."""
    return short(text) or "(no title)"


def _shows(character: str) -> bool:
    if character.isspace() or character in JOINERS:
        return True
    code = ord(character)
    return category(character) not in ("Cc", "Cf", "Cs") and code & 0xFFFE != 0xFFFE and not 0xFDD0 <= code <= 0xFDEF


def sound_xml(text: str) -> str:
    """Return a text of several lines that any XML reader takes: line by line as ``plain`` has it, indents kept."""
    lines = (line[: len(line) - len(line.lstrip(" "))] + plain(line) for line in text.split("\n"))
    return "\n".join(lines)


def language_tag(language: str | None) -> str:
    """Return a language code fit for a lang attribute; empty when there is none."""
    return language if language and language.isascii() and language.isalpha() and len(language) == 2 else ""
