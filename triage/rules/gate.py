"""What a rule's expression may say: it is parsed, checked node by node, and written anew.

The text a user wrote never runs. DuckDB's own parser turns it into a tree; every node of the tree
must be of an allowed kind; the SQL that runs is written from the tree. Whatever is not known here
is refused, so a new kind of node in a later DuckDB is refused too.
"""

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from triage.store import Connection

COMPARISONS = {
    "COMPARE_EQUAL": "=", "COMPARE_NOTEQUAL": "<>", "COMPARE_LESSTHAN": "<", "COMPARE_GREATERTHAN": ">",
    "COMPARE_LESSTHANOREQUALTO": "<=", "COMPARE_GREATERTHANOREQUALTO": ">=",
}  # fmt: skip
OPERATORS = {"+", "-", "*", "/", "%", "~~", "!~~"}
FUNCTIONS = {
    "least", "greatest", "round", "abs", "floor", "ceil", "ln", "exp", "sqrt", "lower", "length", "contains",
    "starts_with",
}  # fmt: skip
# DuckDB's least and greatest leave NULL out, which would make silence an answer.
SKIP_NULL = {"least", "greatest"}
TYPES = {"DOUBLE", "INTEGER"}
MAX_LENGTH = 4000
MAX_NODES = 400
MAX_DEPTH = 40
MAX_FACTS = 12

ALLOWED = (
    "facts, numbers, texts, comparisons, AND, OR, NOT, BETWEEN, IN, LIKE, + - * / %, "
    + ", ".join(sorted(FUNCTIONS))
    + ", CAST to DOUBLE or INTEGER; CASE in a weight only"
)


class Refused(Exception):  # noqa: N818 - it reads as what it says
    """An expression says something a rule may not say."""


@dataclass(frozen=True)
class Expression:
    """An expression that passed: the SQL to run, and the facts it looks at."""

    sql: str
    facts: tuple[str, ...]


@dataclass
class _Writer:
    columns: Mapping[str, str]
    may_case: bool
    nodes: int = 0
    facts: set[str] = field(default_factory=set)

    def write(self, node: Any, depth: int = 0) -> str:
        self.nodes += 1
        if self.nodes > MAX_NODES or depth > MAX_DEPTH:
            raise Refused(f"more than {MAX_NODES} terms or deeper than {MAX_DEPTH}")
        if node.get("alias"):
            raise Refused("an alias")
        writer = _WRITERS.get(node["class"])
        if writer is None:
            raise Refused(node["class"].lower().replace("_", " "))
        return writer(self, node, depth + 1)


def _column(writer: _Writer, node: Any, depth: int) -> str:
    names = node["column_names"]
    if len(names) != 1 or names[0].lower() not in writer.columns:
        raise Refused(f"{'.'.join(names)!r}, which is no fact")
    name = str(names[0]).lower()
    writer.facts.add(name)
    return f'"{name}"'


def _constant(writer: _Writer, node: Any, depth: int) -> str:
    kind, text = node["literal"]["kind"], str(node["literal"].get("text", ""))
    if kind in ("INTEGER", "NUMERIC"):
        float(text)
        return text
    if kind == "BOOLEAN":
        return "TRUE" if text.lower() in ("true", "t", "1") else "FALSE"
    if kind == "STRING" and "\0" not in text:
        return "'" + text.replace("'", "''") + "'"
    raise Refused(f"the literal {text or kind}")


def _comparison(writer: _Writer, node: Any, depth: int) -> str:
    sign = COMPARISONS.get(node["type"])
    if sign is None:
        raise Refused(node["type"].lower().replace("_", " "))
    return f"({writer.write(node['left'], depth)} {sign} {writer.write(node['right'], depth)})"


def _conjunction(writer: _Writer, node: Any, depth: int) -> str:
    word = " AND " if node["type"] == "CONJUNCTION_AND" else " OR "
    return "(" + word.join(writer.write(child, depth) for child in node["children"]) + ")"


def _between(writer: _Writer, node: Any, depth: int) -> str:
    value, lower, upper = (writer.write(node[side], depth) for side in ("input", "lower", "upper"))
    return f"({value} BETWEEN {lower} AND {upper})"


def _operator(writer: _Writer, node: Any, depth: int) -> str:
    children = [writer.write(child, depth) for child in node["children"]]
    if node["type"] == "OPERATOR_NOT":
        return f"(NOT {children[0]})"
    if node["type"] in ("COMPARE_IN", "COMPARE_NOT_IN"):
        word = "IN" if node["type"] == "COMPARE_IN" else "NOT IN"
        return f"({children[0]} {word} ({', '.join(children[1:])}))"
    if node["type"] in ("OPERATOR_IS_NULL", "OPERATOR_IS_NOT_NULL", "OPERATOR_COALESCE"):
        raise Refused("a test for NULL: silence is not an answer")
    raise Refused(node["type"].lower().replace("_", " "))


def _function(writer: _Writer, node: Any, depth: int) -> str:
    name = str(node["function_name"]).lower()
    plain = node["qualified_name"]["path"] == [node["function_name"]] and not node["schema"]
    if not plain or node["distinct"] or node["filter"] or node["order_bys"]["orders"]:
        raise Refused(f"the function {name} written in an unusual way")
    values = [writer.write(argument["expression"], depth) for argument in node["arguments"]]
    if node["is_operator"] and name in OPERATORS:
        return _operation(name, values)
    if node["is_operator"] or name not in FUNCTIONS:
        raise Refused(f"the function {name}")
    call = f"{name}({', '.join(values)})"
    if name in SKIP_NULL:
        unknown = " OR ".join(f"{value} IS NULL" for value in values)
        return f"(CASE WHEN {unknown} THEN NULL ELSE {call} END)"
    return call


def _operation(name: str, values: list[str]) -> str:
    if len(values) == 1:
        return f"({name}{values[0]})"
    word = {"~~": "LIKE", "!~~": "NOT LIKE"}.get(name, name)
    return f"({values[0]} {word} {values[1]})"


def _case(writer: _Writer, node: Any, depth: int) -> str:
    if not writer.may_case:
        raise Refused("CASE: its ELSE would make silence an answer")
    checks = [
        f"WHEN {writer.write(check['when_expr'], depth)} THEN {writer.write(check['then_expr'], depth)}"
        for check in node["case_checks"]
    ]
    other = node.get("else_expr")
    otherwise = f" ELSE {writer.write(other, depth)}" if other else ""
    return f"(CASE {' '.join(checks)}{otherwise} END)"


def _cast(writer: _Writer, node: Any, depth: int) -> str:
    name = str(node["type_expr"]["type_name"]).upper()
    if name not in TYPES or node["try_cast"]:
        raise Refused(f"a cast to {name}")
    return f"CAST({writer.write(node['child'], depth)} AS {name})"


_WRITERS: dict[str, Callable[[_Writer, Any, int], str]] = {
    "COLUMN_REF": _column,
    "CONSTANT": _constant,
    "COMPARISON": _comparison,
    "CONJUNCTION": _conjunction,
    "BETWEEN": _between,
    "OPERATOR": _operator,
    "FUNCTION": _function,
    "CASE": _case,
    "CAST": _cast,
}

_SINGLE = ("where_clause", "having", "sample", "qualify")


def parse(parser: Connection, text: str, columns: Mapping[str, str], may_case: bool = False) -> Expression:
    """Return an expression that may run, written anew from its parse tree.

    Args:
        parser: Any connection; only its parser is used.
        text: What the user wrote.
        columns: Facts by name, lower case.
        may_case: CASE is let through; for weights, which count only where ``when`` is TRUE.

    Raises:
        Refused: The text is no single allowed expression; the message says what was found.
    """
    if len(text) > MAX_LENGTH or "\0" in text:
        raise Refused(f"more than {MAX_LENGTH} characters or a NUL")
    answer = parser.execute("SELECT json_serialize_sql('SELECT ' || ?)", [text]).fetchall()[0][0]
    tree = json.loads(answer)
    if tree.get("error"):
        raise Refused(f"no expression ({tree.get('error_message', 'it does not parse')})")
    if len(tree["statements"]) != 1 or tree["statements"][0]["node"]["type"] != "SELECT_NODE":
        raise Refused("more than one expression")
    node = tree["statements"][0]["node"]
    alone = (
        len(node["select_list"]) == 1
        and node["from_table"]["type"] == "EMPTY"
        and not any(node[clause] for clause in (*_SINGLE, "modifiers", "group_expressions", "group_sets"))
        and not node["cte_map"]["map"]
    )
    if not alone:
        raise Refused("more than one expression, or a FROM, WHERE, GROUP or ORDER")
    writer = _Writer(columns, may_case)
    try:
        sql = writer.write(node["select_list"][0])
    except (KeyError, ValueError, TypeError, AttributeError) as error:
        raise Refused(f"a term that is not known here ({error})") from None
    if len(writer.facts) > MAX_FACTS:
        raise Refused(f"more than {MAX_FACTS} facts")
    return Expression(sql, tuple(sorted(writer.facts)))
