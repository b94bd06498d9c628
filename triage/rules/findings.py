"""All rules compiled into one pass over the facts, in a connection that can reach nothing else."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from string import Formatter

import duckdb
import polars as pl

from triage.catalogue.facts import Fact
from triage.catalogue.penalties import Case, Rule
from triage.errors import Problem, TriageError
from triage.rules.facts import create_facts
from triage.rules.gate import ALLOWED, Expression, Refused, parse
from triage.store import Connection, frame, register, replace

FINDING = pl.Schema({
    "listing_id": pl.String(), "place": pl.Int64(), "rule_id": pl.String(), "part": pl.String(),
    "state": pl.String(), "decibans": pl.Float64(), "because": pl.String(), "missing": pl.List(pl.String()),
})  # fmt: skip

# Only memory, no files, no extensions, nothing that can be changed afterwards.
LOCKED: dict[str, str | bool | int | float | list[str]] = {
    "threads": 2, "memory_limit": "2GB", "temp_directory": "", "autoinstall_known_extensions": False,
    "autoload_known_extensions": False, "allow_community_extensions": False,
    "allow_unsigned_extensions": False, "allow_persistent_secrets": False, "python_enable_replacements": False,
}  # fmt: skip


@dataclass(frozen=True)
class Compiled:
    """A rule whose expressions passed the gate."""

    rule: Rule
    when: Expression
    weight: Expression
    because_sql: str


def locked_connection(facts: pl.DataFrame) -> Connection:
    """Return an in-memory connection that holds a copy of the facts and can reach nothing else."""
    connection = duckdb.connect(":memory:", config=LOCKED)
    register(connection, "incoming", facts)
    connection.execute("CREATE TABLE facts AS SELECT * FROM incoming")
    connection.unregister("incoming")
    connection.execute("SET enable_progress_bar = false")
    connection.execute("SET enable_external_access = false")
    connection.execute("SET lock_configuration = true")
    return connection


def columns_of(facts: Mapping[str, Fact], signs: Sequence[str]) -> dict[str, str]:
    """Return every column a rule may name, with its SQL type."""
    types: dict[str, str] = {name: fact.type for name, fact in facts.items()}
    return types | dict.fromkeys(signs, "BOOLEAN")


def compile_rules(rules: Sequence[Rule], columns: Mapping[str, str], problems: list[Problem]) -> list[Compiled]:
    """Return the rules whose expressions may run; the others become problems with file and line."""
    parser = duckdb.connect(":memory:")
    compiled = []
    for rule in rules:
        place = f"{rule.path}:{rule.when_line}"
        try:
            when = parse(parser, rule.when, columns)
            weight = parse(parser, str(rule.weight), columns, may_case=True)
            because = because_sql(rule.because, columns)
        except Refused as refused:
            problems.append(Problem(place, f"{rule.id} says {refused}", ALLOWED))
            continue
        compiled.append(Compiled(rule, when, weight, because))
    return compiled


def because_sql(template: str, columns: Mapping[str, str]) -> str:
    """Return SQL that fills a reason's ``{fact}`` and ``{fact:.0f}`` fields with values.

    Raises:
        Refused: A field is no fact, or its format is none of ``.0f`` to ``.3f``.
    """
    pieces = []
    for text, name, spec, conversion in Formatter().parse(template):
        if text:
            pieces.append("'" + text.replace("'", "''") + "'")
        if name is None:
            continue
        if name not in columns or conversion:
            raise Refused(f"{{{name}}} in because, which is no fact")
        if spec in (".0f", ".1f", ".2f", ".3f"):
            pieces.append(f"format('{{:{spec}}}', CAST(\"{name}\" AS DOUBLE))")
        elif spec:
            raise Refused(f"the format {spec!r} in because")
        else:
            pieces.append(f'CAST("{name}" AS VARCHAR)')
    return f"concat({', '.join(pieces)})"


def find(facts: pl.DataFrame, compiled: Sequence[Compiled], askable: frozenset[str]) -> pl.DataFrame:
    """Return what the rules find.

    Args:
        facts: One row per listing and candidate; NULL = not known.
        askable: Facts somebody could be asked for; a rule stays open only for those.

    Returns:
        Rows of the ``finding`` table, ordered by listing, place and rule.
    """
    if facts.is_empty() or not compiled:
        return pl.DataFrame(schema=FINDING)
    connection = locked_connection(facts)
    found = [frame(connection, _query(one, askable)).cast(FINDING) for one in compiled]
    connection.close()
    return pl.concat(found).sort("listing_id", "place", "rule_id", "part")


def _query(one: Compiled, askable: frozenset[str]) -> str:
    asked = [name for name in one.when.facts if name in askable]
    missing = ", ".join(f"CASE WHEN \"{name}\" IS NULL THEN '{name}' END" for name in asked) or "NULL"
    return f"""
SELECT listing_id, place, '{one.rule.id}' AS rule_id, '{one.rule.part}' AS part, state,
  CASE WHEN state = 'fired' THEN CAST({one.weight.sql} AS DOUBLE) END AS decibans,
  CASE WHEN state = 'fired' THEN {one.because_sql} ELSE NULL END AS because,
  CASE WHEN state = 'open' THEN missing END AS missing
FROM (
  SELECT *, list_filter([{missing}], lambda name: name IS NOT NULL) AS missing,
    CASE WHEN TRY(CAST({one.when.sql} AS BOOLEAN)) THEN 'fired'
         WHEN TRY(CAST({one.when.sql} AS BOOLEAN)) IS NULL THEN 'open' END AS state
  FROM facts
)
WHERE state = 'fired' OR (state = 'open' AND len(missing) > 0)
"""


def check_rules(rules: Sequence[Rule], columns: Mapping[str, str]) -> list[Problem]:
    """Return what is wrong with the rules: expressions that may not run, and cases that fail."""
    problems: list[Problem] = []
    for one in compile_rules(rules, columns, problems):
        for kind, expected in (("hits", True), ("clears", False), ("unknowns", None)):
            for number, case in enumerate(getattr(one.rule, kind), 1):
                problems.extend(_check_case(one, columns, case, f"{kind} {number}", expected))
    return problems


def _check_case(
    one: Compiled, columns: Mapping[str, str], case: Case, name: str, expected: bool | None
) -> list[Problem]:
    place = f"{one.rule.path}:{one.rule.when_line}"
    strangers = [fact for fact in case if fact not in columns]
    if strangers:
        return [Problem(place, f"{name} of {one.rule.id} names {strangers[0]!r}", "a fact or a sign")]
    cells = ", ".join(f'CAST(? AS {kind}) AS "{fact}"' for fact, kind in columns.items())
    connection = duckdb.connect(":memory:")
    try:
        query = f"SELECT CAST({one.when.sql} AS BOOLEAN), CAST({one.weight.sql} AS DOUBLE) FROM (SELECT {cells})"
        told, weight = connection.execute(query, [case.get(fact) for fact in columns]).fetchall()[0]
    except duckdb.Error as error:
        return [Problem(place, f"{name} of {one.rule.id}: {str(error).splitlines()[0]}", "an expression that runs")]
    finally:
        connection.close()
    if told is not expected:
        return [Problem(place, f"{name} of {one.rule.id} gives {told}", str(expected))]
    if expected and weight is None:
        return [Problem(place, f"{name} of {one.rule.id} has a weight of NULL", "a number of decibans")]
    return []


def ensure(rules: Sequence[Rule], facts: Mapping[str, Fact], signs: Mapping[str, bool]) -> None:
    """Raise a TriageError that lists every rule that may not run."""
    problems: list[Problem] = []
    compile_rules(rules, columns_of(facts, tuple(signs)), problems)
    if problems:
        raise TriageError(problems)


def run(store: Connection, rules: Sequence[Rule], facts: Mapping[str, Fact], signs: Mapping[str, bool]) -> None:
    """Write the findings of the listings in ``todo``.

    Args:
        facts: Documented facts by name.
        signs: Sign id to whether it has a question.

    Raises:
        TriageError: A rule may not run; nothing was written.
    """
    create_facts(store, tuple(signs))
    columns = columns_of(facts, tuple(signs))
    problems: list[Problem] = []
    compiled = compile_rules(rules, columns, problems)
    if problems:
        raise TriageError(problems)
    askable = frozenset(name for name, fact in facts.items() if fact.ask)
    askable |= {sign for sign, asked in signs.items() if asked}
    replace(store, "finding", find(frame(store, "SELECT * FROM facts"), compiled, askable))
