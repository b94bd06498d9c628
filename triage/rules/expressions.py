"""Rules whose expressions passed the gate: what to run, which facts it looks at, how the reason is written."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from string import Formatter

import duckdb

from triage.catalogue.facts import Fact
from triage.catalogue.penalties import Rule
from triage.errors import Problem
from triage.rules.gate import ALLOWED, Expression, Refused, parse
from triage.rules.locked import locked_connection
from triage.store import Connection

FORMATS = (".0f", ".1f", ".2f", ".3f")
NUMBERS = ("DOUBLE", "INTEGER", "BIGINT")


@dataclass(frozen=True)
class Compiled:
    """A rule whose expressions passed the gate, with the SQL types of the facts its ``when`` looks at."""

    rule: Rule
    when: Expression
    weight: Expression
    because: Expression
    types: Mapping[str, str]

    @property
    def place(self) -> str:
        """Where the rule's ``when`` stands: file and line."""
        return f"{self.rule.path}:{self.rule.when_line}"

    @property
    def facts(self) -> frozenset[str]:
        """Every fact the rule looks at."""
        return frozenset((*self.when.facts, *self.weight.facts, *self.because.facts))


def columns_of(facts: Mapping[str, Fact], signs: Sequence[str]) -> dict[str, str]:
    """Return every column a rule may name, with its SQL type."""
    types: dict[str, str] = {name: fact.type for name, fact in facts.items()}
    return types | dict.fromkeys(signs, "BOOLEAN")


def compile_rules(rules: Sequence[Rule], columns: Mapping[str, str], problems: list[Problem]) -> list[Compiled]:
    """Return the rules whose expressions may run; the others become problems with file and line."""
    parser = locked_connection()
    cells = ", ".join(f'CAST(NULL AS {kind}) AS "{name}"' for name, kind in columns.items())
    parser.execute(f"CREATE TABLE facts AS SELECT {cells} WHERE FALSE")
    compiled = []
    for rule in rules:
        try:
            when = parse(parser, rule.when, columns)
            weight = parse(parser, str(rule.weight), columns, may_case=True)
            types = {name: columns[name] for name in when.facts}
            one = Compiled(rule, when, weight, reason(rule.because, columns), types)
            _bind(parser, one)
        except Refused as refused:
            problems.append(Problem(f"{rule.path}:{rule.when_line}", f"{rule.id} says {refused}", ALLOWED))
            continue
        compiled.append(one)
    parser.close()
    return compiled


def _bind(parser: Connection, one: Compiled) -> None:
    """Refuse what parses but cannot run: a text added to a number, a predicate that is none."""
    try:
        query = f"SELECT {one.when.sql}, {one.weight.sql}, {one.because.sql} FROM facts"
        told, weight = (str(kind) for kind in parser.sql(query).types[:2])
    except duckdb.Error as error:
        raise Refused(f"what cannot run ({str(error).splitlines()[0]})") from None
    if told != "BOOLEAN":
        raise Refused(f"a {told} in when, which is no predicate")
    if weight in ("VARCHAR", "BOOLEAN"):
        raise Refused(f"a {weight} as weight, which is no number")


def reason(template: str, columns: Mapping[str, str]) -> Expression:
    """Return SQL that fills a reason's ``{fact}`` and ``{fact:.0f}`` fields with values.

    Raises:
        Refused: A field is no fact, or its format is none of ``.0f`` to ``.3f`` or it is no number.
    """
    pieces, facts = [], set()
    for text, name, spec, conversion in _fields(template):
        if text:
            pieces.append("'" + text.replace("'", "''") + "'")
        if name is None:
            continue
        if name not in columns or conversion:
            raise Refused(f"{{{name}}} in because, which is no fact")
        if spec and (spec not in FORMATS or columns[name] not in NUMBERS):
            raise Refused(f"the format {spec!r} in because")
        facts.add(name)
        pieces.append(f"format('{{:{spec}}}', CAST(\"{name}\" AS DOUBLE))" if spec else f'CAST("{name}" AS VARCHAR)')
    return Expression(f"concat({', '.join(pieces)})", tuple(sorted(facts)))


def _fields(template: str) -> list[tuple[str, str | None, str | None, str | None]]:
    try:
        return list(Formatter().parse(template))
    except ValueError as error:
        raise Refused(f"because with {error}") from None
