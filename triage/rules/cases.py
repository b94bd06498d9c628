"""The cases of every rule, run: what must hit hits, what must clear clears, what must stay open stays open."""

from collections.abc import Mapping, Sequence

import duckdb

from triage.catalogue.penalties import Case, Rule
from triage.errors import Problem
from triage.rules.expressions import Compiled, compile_rules
from triage.rules.locked import locked_connection
from triage.store import Connection

EXPECTED = {"hits": True, "clears": False, "unknowns": None}


def check_rules(rules: Sequence[Rule], columns: Mapping[str, str]) -> list[Problem]:
    """Return what is wrong with the rules: expressions that may not run, and cases that fail."""
    problems: list[Problem] = []
    connection = locked_connection()
    for one in compile_rules(rules, columns, problems):
        for kind in EXPECTED:
            for number, case in enumerate(getattr(one.rule, kind), 1):
                found = _fault(connection, one, columns, case, EXPECTED[kind])
                if found is not None:
                    problems.append(Problem(one.place, f"{kind} {number} of {one.rule.id} {found[0]}", found[1]))
    connection.close()
    return problems


def _fault(
    connection: Connection, one: Compiled, columns: Mapping[str, str], case: Case, expected: bool | None
) -> tuple[str, str] | None:
    """Return what was found and what was expected, or None when the case gives what it says."""
    strangers = sorted(fact for fact in case if fact not in columns)
    if strangers:
        return f"names {strangers[0]!r}", "a fact or a sign"
    cells = ", ".join(f'CAST(? AS {columns[name]}) AS "{name}"' for name in sorted(one.facts | set(case)))
    query = f"SELECT {one.when.sql}, CAST({one.weight.sql} AS DOUBLE) FROM (SELECT {cells or '1'})"
    try:
        told, weight = connection.execute(query, [case.get(name) for name in sorted(one.facts | set(case))]).fetchall()[
            0
        ]
    except duckdb.Error as error:
        return f"stops: {str(error).splitlines()[0]}", "an expression that runs"
    if told is not expected:
        return f"gives {told}", str(expected)
    if expected and weight is None:
        return "has a weight of NULL", "a number of decibans"
    return None
