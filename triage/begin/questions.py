"""The questions about the buyer, each with its usual answer; a wrong answer is asked again, saying what is expected."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, get_args

import typer

from triage.catalogue import Catalogue
from triage.catalogue.buyers import TOLERANCES, Purpose
from triage.writeup.phrase import minor_digits

PURPOSES: Sequence[str] = get_args(Purpose)
Read = Callable[[str], Any]


@dataclass(frozen=True)
class Question:
    """One thing to be known of the buyer.

    Attributes:
        key: Field of the profile.
        text: The question, with what may be answered.
        usual: The answer when there is none.
        read: From the answer to the field's value; raises ValueError that says what is expected.
    """

    key: str
    text: str
    usual: str
    read: Read


def questions(catalogue: Catalogue) -> tuple[Question, ...]:
    """Return the questions; what may be answered follows from the rules."""
    served = countries(catalogue)
    climates = sorted(catalogue.climates.climates)
    currency = catalogue.words.money.base_currency
    return (
        Question("name", "How shall the reports call you?", "Me", _name),
        Question("purposes", f"What do you buy for? Any of {', '.join(PURPOSES)}", "wear, restore", _some(PURPOSES)),
        Question("foot_mm", "Length of your foot, heel to longest toe, standing, in mm; any = any adult size", "any",
                 _foot),
        Question("country", f"Where does the parcel go? Costs are known into {', '.join(served)}", served[0],
                 _one(served, str.upper)),
        Question("budget_minor", f"Most you would spend on a pair, all in, in {currency}", "120",
                 _money(minor_digits(currency))),
        Question("repair_tolerance", f"Most you would have done to it: {' < '.join(TOLERANCES)}", "cobbler",
                 _one(TOLERANCES, str.lower)),
        Question("does_own_repairs", "Do you do repairs yourself? yes or no", "no", _yes),
        Question("climate", f"Where will the pair live? One of {', '.join(climates)}",
                 "unknown" if "unknown" in climates else climates[0], _one(climates, str.lower)),
    )  # fmt: skip


def countries(catalogue: Catalogue) -> list[str]:
    """Return the countries that a cost route from anywhere leads to."""
    return sorted({country for route in catalogue.routes if "*" in route.from_ for country in route.to})


def usual(catalogue: Catalogue) -> dict[str, Any]:
    """Return the profile of whoever answers nothing."""
    return _profile(catalogue, {one.key: one.read(one.usual) for one in questions(catalogue)})


def ask(catalogue: Catalogue) -> dict[str, Any]:
    """Return the profile as answered in the terminal; Enter takes the usual answer."""
    typer.echo("A few questions; Enter takes what stands in brackets. Everything can be changed later.")
    return _profile(catalogue, {one.key: _answer(one) for one in questions(catalogue)})


def _answer(question: Question) -> Any:
    def read(text: str) -> Any:
        try:
            return question.read(text)
        except ValueError as error:
            raise typer.BadParameter(f"{text!r}; expected {error}") from None

    return typer.prompt(question.text, default=question.usual, value_proc=read)


def _profile(catalogue: Catalogue, answers: Mapping[str, Any]) -> dict[str, Any]:
    return {**answers, "currency": catalogue.words.money.base_currency}


def _name(text: str) -> str:
    if not text.strip() or not text.isprintable():
        raise ValueError("a name")
    return text.strip()


def _some(allowed: Sequence[str]) -> Read:
    def read(text: str) -> list[str]:
        found = text.replace(",", " ").lower().split()
        if not found or not set(found) <= set(allowed):
            raise ValueError(f"one or more of {', '.join(allowed)}")
        return [one for one in allowed if one in found]

    return read


def _one(allowed: Sequence[str], fold: Callable[[str], str]) -> Read:
    def read(text: str) -> str:
        if fold(text.strip()) not in allowed:
            raise ValueError(f"one of {', '.join(allowed)}")
        return fold(text.strip())

    return read


def _foot(text: str) -> float | None:
    if text.strip().lower() in ("any", ""):
        return None
    expected = "a length from 101 to 399 mm, such as 268, or any"
    value = _number(text.lower().removesuffix("mm"), expected)
    if not 100 < value < 400:
        raise ValueError(expected)
    return value


def _money(digits: int) -> Read:
    def read(text: str) -> int:
        value = _number(text, "an amount such as 120")
        if not 0 < value < 1e7:
            raise ValueError("an amount above 0, such as 120")
        minor: int = round(value * 10**digits)
        return minor

    return read


def _number(text: str, expected: str) -> float:
    try:
        return float(text.strip().replace(",", "."))
    except ValueError:
        raise ValueError(expected) from None


def _yes(text: str) -> bool:
    answers = {"yes": True, "y": True, "no": False, "n": False}
    if text.strip().lower() not in answers:
        raise ValueError("yes or no")
    return answers[text.strip().lower()]
