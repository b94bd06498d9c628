"""``rules/inspection.toml``: the tests of a pair that has arrived, in order, and how long there is to complain."""

from collections.abc import Collection
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from triage.catalogue.documents import Document, line_of, read_toml, validated
from triage.catalogue.repairs import Part
from triage.errors import Problem

Said = Annotated[str, Field(min_length=3)]


class Test(Document):
    """One test: what to do, what makes a part unfit, and the signs a seller may have claimed of it."""

    do: Said
    unfit: str
    parts: tuple[Part, ...] = ()
    signs: tuple[str, ...] = ()
    stop: bool = False
    source: Said


class Claim(Document):
    """How long there is to do something about a pair that is not as described, and where that holds."""

    days: Annotated[int, Field(ge=0, le=3650)]
    from_: Annotated[tuple[str, ...], Field(alias="from")] = ()
    seller: Literal["private", "business"] | None = None
    source_of: str = ""
    what: Said
    source: Said

    def fits(self, ships_from: str | None, seller_kind: str | None, marketplace: str) -> bool:
        """Return whether it holds for a listing; what the listing does not say fits nothing narrower."""
        return (
            (not self.from_ or ships_from in self.from_)
            and self.seller in (None, seller_kind)
            and self.source_of in ("", marketplace)
        )


class Inspection(Document):
    """The tests in their order, the claims, and the signs that say a pair has gone to pieces."""

    pieces: tuple[str, ...]
    test: Annotated[tuple[Test, ...], Field(min_length=1)]
    claim: tuple[Claim, ...] = ()


def load_inspection(path: Path, signs: Collection[str], problems: list[Problem]) -> Inspection | None:
    """Return the file; signs that no file of signs/ has are problems."""
    values = read_toml(path, problems)
    found = validated(Inspection, values, path, problems) if values is not None else None
    if found is None:
        return None
    text = path.read_text("utf-8")
    named = {"pieces": found.pieces, "test": [sign for test in found.test for sign in test.signs]}
    problems.extend(
        Problem(f"{path}:{_line(text, key, sign)}", f"sign {sign!r}", "the id of a file in signs/")
        for key, ids in named.items()
        for sign in ids
        if sign not in signs
    )
    return found


def _line(text: str, key: str, sign: str) -> int:
    """Return the line that names a sign, from 1."""
    lines = text.splitlines()
    return next((at for at, line in enumerate(lines, 1) if f'"{sign}"' in line), line_of(text, key))
