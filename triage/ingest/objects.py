"""JSON values to rows of text: exact digits, dotted headings, faults that cost one row."""

import json
from collections import Counter
from typing import Any

from triage.ingest.rows import CELL_CHARACTERS, flat
from triage.ingest.text import undecodable

_DEPTH = 40


class RowError(Exception):
    """One row that can't be used, with the code and what was expected."""

    def __init__(self, code: str, hint: str) -> None:
        super().__init__(hint)
        self.code, self.hint = code, hint


def parse(text: str) -> Any:
    """Return a JSON value with numbers as the text they were written in.

    Raises:
        RowError: It is not JSON, nested beyond reason, or gives one key twice.
    """
    try:
        return json.loads(
            text, parse_int=str, parse_float=str, parse_constant=_refuse_constant, object_pairs_hook=_once
        )
    except json.JSONDecodeError as error:
        hint = f"a JSON value; {error.msg} at line {error.lineno}, column {error.colno}"
        raise RowError("broken-json", hint) from None
    except RecursionError:
        raise RowError("too-deep", f"JSON nested at most {_DEPTH} deep") from None


def row_cells(value: object) -> dict[str, str]:
    """Return an object as heading to text: nested objects flattened to dotted headings, lists as JSON text.

    Raises:
        RowError: It is no object, is nested beyond reason, or a cell can't be stored.
    """
    if not isinstance(value, dict):
        raise RowError("no-object", "a JSON object of heading to value")
    if depth(value) > _DEPTH:
        raise RowError("too-deep", f"JSON nested at most {_DEPTH} deep")
    cells: dict[str, str] = {}
    for heading, text in flat(value, as_text):
        if heading in cells:
            raise RowError("key-twice", f"one value for {heading!r}")
        if len(text) > CELL_CHARACTERS:
            raise RowError("cell-too-long", f"cells of at most {CELL_CHARACTERS} characters")
        if undecodable(text) or undecodable(heading):
            raise RowError("undecodable", "whole characters of the file's encoding")
        cells[heading] = text
    return cells


def dumps(row: dict[str, str]) -> str:
    """Return cells as a compact JSON object."""
    return json.dumps(row, ensure_ascii=False, separators=(",", ":"))


def as_text(value: Any) -> str:
    """Return the text of a leaf: a list stays JSON, true and false are words."""
    if isinstance(value, bool):
        return "true" if value else "false"
    return json.dumps(value, ensure_ascii=False)


def depth(value: Any) -> int:
    """Return how deep a JSON value is nested, without recursion."""
    level = 0
    layer = [value]
    while layer and level <= _DEPTH:
        layer = [inner for one in layer for inner in _inside(one)]
        level += 1
    return level


def _inside(value: Any) -> list[Any]:
    inside = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return [inner for inner in inside if isinstance(inner, dict | list)]


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Return an object; JSON allows a key twice, but then nobody can say which value holds."""
    made = dict(pairs)
    if len(made) < len(pairs):
        twice = Counter(key for key, _ in pairs).most_common(1)[0][0]
        raise RowError("key-twice", f"one value for {twice[:80]!r}")
    return made


def _refuse_constant(name: str) -> str:
    raise RowError("broken-json", f"a JSON value; {name} is none")
