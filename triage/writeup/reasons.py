"""Reasons: what was said of a pair and what the rules add, as lines with the words themselves."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from triage.writeup import phrase
from triage.writeup.knowledge import Catalogue

Row = Mapping[str, Any]


@dataclass(frozen=True)
class Said:
    """What somebody affirmed or denied, with the words themselves."""

    part: str
    meaning: str
    speaker: str
    quote: str
    language: str
    hedged: bool


@dataclass(frozen=True)
class Finding:
    """What a rule adds, as a reason and a weight."""

    part: str
    because: str
    decibans: str
    against: bool


def said_of(observations: Iterable[Row], weak_part: str | None, catalogue: Catalogue) -> tuple[Said, ...]:
    """Return what was said and counts, the weak part first; a sign the catalogue lacks goes by its id."""
    views = []
    for row in observations:
        if not row["counts"]:
            continue
        sign = catalogue.signs.get(row["sign"])
        words = row["sign"].replace("_", " ")
        meaning = (sign.affirmed if row["state"] == "affirmed" else sign.denied) if sign else ""
        views.append(
            Said(
                part=sign.part.replace("_", " ") if sign else "",
                meaning=meaning or (words if row["state"] == "affirmed" else f"not: {words}"),
                speaker=phrase.SPEAKER[row["said_by"]],
                quote=phrase.short(row["quote"]),
                language=phrase.language_tag(row["language"]),
                hedged=row["hedged"],
            )
        )
    first = {weak_part: 0, "whole": 2, "identity": 3, "terms": 3, "size": 3, "not a shoe": 3}
    return tuple(sorted(views, key=lambda said: first.get(said.part, 1)))


def findings_of(findings: Iterable[Row]) -> tuple[Finding, ...]:
    """Return the rules that hold for the likeliest release, the heaviest first."""
    return tuple(
        Finding(row["part"], row["because"] or row["rule_id"], phrase.signed(row["decibans"]), row["decibans"] > 0)
        for row in findings
        if row["place"] == 1 and row["state"] == "fired" and row["decibans"] is not None
    )


def open_facts_of(findings: Iterable[Row], catalogue: Catalogue) -> tuple[str, ...]:
    """Return what nobody stated and could still decide a rule, that of most rules first."""
    times: dict[str, int] = defaultdict(int)
    for row in findings:
        if row["place"] == 1 and row["state"] == "open":
            for fact in row["missing"] or ():
                times[_wanted(fact, catalogue)] += 1
    return tuple(sorted(times, key=lambda fact: (-times[fact], fact)))


def _wanted(fact: str, catalogue: Catalogue) -> str:
    if fact in catalogue.signs:
        return f"whether {catalogue.signs[fact].affirmed}"
    return catalogue.facts[fact].about if fact in catalogue.facts else fact.replace("_", " ")
