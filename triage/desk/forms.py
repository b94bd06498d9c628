"""What forms send, read with suspicion: every field has its bounds, and what is out of them is told."""

import math
import re
import secrets
from collections.abc import Iterable, Mapping
from urllib.parse import parse_qsl

from triage.catalogue import Catalogue
from triage.desk.again import Supposed
from triage.errors import fail

MOST_FIELDS = 400
LONGEST_TEXT = 20_000
TOLD = ("yes", "no", "not shown")
FORM = re.compile(r"[0-9a-f]{32}")
# No pair of the trade is older, none is worth more; beyond lies a slip of the finger.
YEARS = (1900, 2100)
MOST = 10_000_000
NO_BYTE = str.maketrans({"\x00": "", "\r": ""})


def fields_of(body: bytes) -> dict[str, str]:
    """Return the fields of a form or a query, the last of each name; what is no text is replaced.

    Raises:
        TriageError: There are more fields than any form has.
    """
    try:
        pairs = parse_qsl(
            body.decode("utf-8", "replace"), keep_blank_values=True, max_num_fields=MOST_FIELDS, errors="replace"
        )
    except ValueError:
        fail("form", f"more than {MOST_FIELDS} fields", "a form of this page")
    # Browsers end lines with two characters; where a reading stands is counted with one.
    return {name: value.translate(NO_BYTE) for name, value in pairs}


def new_form() -> str:
    """Return the name of one form on one page: sent twice, it is noted once."""
    return secrets.token_hex(16)


def form_of(fields: Mapping[str, str]) -> str:
    """Return which form was sent.

    Raises:
        TriageError: None of this page.
    """
    form = fields.get("form", "")
    if not FORM.fullmatch(form):
        fail("form", f"is {form[:40]!r}", "a form of this page; load it again")
    return form


def text_of(fields: Mapping[str, str], name: str = "text") -> str:
    """Return a text.

    Raises:
        TriageError: It is longer than any answer.
    """
    text = fields.get(name, "").strip()
    if len(text) > LONGEST_TEXT:
        fail(name, f"has {len(text)} characters", f"at most {LONGEST_TEXT}")
    return text


def told_of(fields: Mapping[str, str], prefix: str, signs: Iterable[str]) -> dict[str, str]:
    """Return what was told of signs by a form with one group of buttons each; what was left alone is left out.

    Raises:
        TriageError: Something else was told than a button says.
    """
    told = {sign: fields[f"{prefix}{sign}"] for sign in signs if fields.get(f"{prefix}{sign}")}
    for sign, state in told.items():
        if state not in TOLD:
            fail(sign, f"is {state[:40]!r}", f"one of {', '.join(TOLD)}")
    return told


def minor_of(text: str, name: str, decimals: int) -> int | None:
    """Return an amount in minor units; None for an empty field.

    Raises:
        TriageError: It is no amount.
    """
    if not text.strip():
        return None
    try:
        amount = float(text.strip().replace(",", "."))
    except ValueError:
        amount = math.nan
    if not 0 <= amount <= MOST:
        fail(name, f"is {text[:40]!r}", f"an amount from 0 to {MOST}")
    return round(amount * float(10**decimals))


def supposed_of(fields: Mapping[str, str], catalogue: Catalogue, repairs: tuple[str, ...]) -> Supposed:
    """Return what a form supposes.

    Raises:
        TriageError: A field holds what can't be supposed.
    """
    decimals = catalogue.words.money.decimals.get(catalogue.words.money.base_currency, 2)
    purpose, storage, year = (fields.get(name, "").strip() for name in ("purpose", "storage", "year"))
    purposes = ("wear", "restore", "display", "resell")
    if purpose and purpose not in purposes:
        fail("purpose", f"is {purpose[:40]!r}", f"one of {', '.join(purposes)}")
    if storage and storage not in catalogue.climates.storage:
        fail("storage", f"is {storage[:40]!r}", f"one of {', '.join(sorted(catalogue.climates.storage))}")
    if year and not (year.isascii() and year.isdigit() and len(year) == 4 and YEARS[0] <= int(year) <= YEARS[1]):
        fail("year", f"is {year[:40]!r}", f"a year from {YEARS[0]} to {YEARS[1]}")
    return Supposed(
        minor_of(fields.get("price", ""), "price", decimals),
        purpose or None,
        minor_of(fields.get("repair", ""), "repair price", decimals) if repairs else None,
        storage or None,
        int(year) if year else None,
        repairs,
    )
