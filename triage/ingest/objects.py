"""JSON values to rows of text: exact digits, dotted headings, faults that cost one row."""

import json
from collections import Counter
from collections.abc import Callable
from typing import Any

from triage.ingest.rows import CELL_CHARACTERS, Broken, Piece, cells_frame, cut, flat
from triage.ingest.text import LINE_CHARACTERS, undecodable

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
        if "\0" in text or "\0" in heading:
            raise RowError("control-character", "text without NUL characters")
        if undecodable(text) or undecodable(heading):
            raise RowError("undecodable", "whole characters of the file's encoding")
        cells[heading] = text
    return cells


def objects_piece(values: list[Any]) -> Piece:
    """Return objects as one piece of rows; an element that is none is a broken row."""
    return _piece(values, lambda value: json.dumps(value, ensure_ascii=True), row_cells, 0)


def texts_piece(texts: list[str], rows_before: int) -> Piece:
    """Return JSON texts, one an object, as one piece of rows; a broken one is a broken row."""
    return _piece(texts, str.strip, _cells_of_text, rows_before)


def _piece(
    values: list[Any], shown: Callable[[Any], str], cells_of: Callable[[Any], dict[str, str]], rows_before: int
) -> Piece:
    headings: dict[str, None] = {}
    numbers: list[int] = []
    cells: list[str] = []
    broken: list[Broken] = []
    for row_no, value in enumerate(values, rows_before + 1):
        try:
            row = cells_of(value)
        except RowError as error:
            broken.append(Broken(row_no, cut(shown(value)), error.code, error.hint))
            continue
        headings.update(dict.fromkeys(row))
        numbers.append(row_no)
        cells.append(dumps(row))
    return Piece(tuple(headings), cells_frame(numbers, cells), tuple(broken))


def _cells_of_text(text: str) -> dict[str, str]:
    if len(text) > LINE_CHARACTERS:
        raise RowError("line-too-long", f"lines of at most {LINE_CHARACTERS} characters")
    return row_cells(parse(text))


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
