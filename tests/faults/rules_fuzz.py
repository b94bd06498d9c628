"""Fuzzed expressions against the gate of the rules: no escape, none over two seconds unnoticed.

``python -m tests.faults.rules_fuzz COUNT [SEED]``. Expressions are built from the allowed grammar, from the attacks of
``tests/rules/test_gate.py``, from the rules that come along, and by cutting and joining all of these. What the gate
lets through is judged by other means than its own: DuckDB must find one SELECT over no table but ``facts``, every word
of the SQL must be on a list kept here, and it runs in the locked connection, which must be as it was afterwards.
"""

import os
import random
import re
import sys
import time
import tomllib
from collections import Counter
from pathlib import Path
from tempfile import TemporaryDirectory

import duckdb
import polars as pl

from tests.faults.common import ROOT, tell
from tests.rules.test_gate import ATTACKS, COLUMNS
from triage.rules.gate import Refused, parse
from triage.rules.locked import TooMuch, computed, locked_connection
from triage.store import Connection

SECONDS = 2.0
ROWS = 2_000
# Written out here on purpose: the gate's own lists are what is being tested.
WORDS = {
    "age_years", "condition", "deadstock", "photo_count",
    "and", "or", "not", "between", "in", "like", "case", "when", "then", "else", "end", "is", "null", "true", "false",
    "cast", "as", "double", "integer",
    "least", "greatest", "round", "abs", "floor", "ceil", "ln", "exp", "sqrt", "lower", "length", "contains",
    "starts_with",
}  # fmt: skip
SIGNS = set("()+-*/%,.<>=") | {" "}
_TEXT = re.compile(r"'(?:[^']|'')*'")
_WORD = re.compile(r"[A-Za-z_]\w*")
_NUMBER = re.compile(r"(?<![A-Za-z_])\d[\d_]*\.?[\d_]*(?:[eE][+-]?[\d_]+)?|\.[\d_]+(?:[eE][+-]?[\d_]+)?")
NUMBERS = ["age_years", "photo_count", "3", "0", "12.5", "1e308", "-1", "9223372036854775807", "1e-320", ".5"]
TEXTS = ["condition", "''", "'worn'", "'it''s'", "'%'", "'_'", "'%a%b%c%'", "'\\'", "'é'", "lower(condition)"]
TOKENS = [
    "(", ")", ",", ";", "'", '"', "--", "/*", "*/", "$$", "::", "[", "]", "{", "}", "?", "$1", ":", "->", ".", "@", "#",
    "SELECT", "FROM", "facts", "WHERE", "UNION ALL", "UNION", "LIMIT", "COPY", "ATTACH", "SET", "TRY", "IS NULL",
    "ESCAPE", "COLLATE", "FILTER", "OVER ()", "DISTINCT", "INTERVAL", "DATE", "E'\\x41'", "U&'\\0041'", "0x10", "1_000",
    "NULL", "ARRAY", "ROW", "EXISTS", "read_text", "query", "getenv", "COLUMNS(*)", "*", "rowid", "main.",
    "pg_catalog.", "||", "^", "**", "!~~*", "ILIKE", "GLOB", "SIMILAR TO", "\n", "\t", "\u00a0", "\u2028", "\ufeff",
    "\r", "；", "′",
]  # fmt: skip


def number(chance: random.Random, depth: int) -> str:
    """Return an expression for a number."""
    if depth <= 0 or chance.random() < 0.3:
        return chance.choice(NUMBERS)
    kind = chance.randrange(5)
    one, other = number(chance, depth - 1), number(chance, depth - 1)
    if kind == 0:
        return f"({one} {chance.choice('+-*/%')} {other})"
    if kind == 1:
        return f"{chance.choice(['least', 'greatest', 'LEAST'])}({one}, {other})"
    if kind == 2:
        return f"{chance.choice(['abs', 'floor', 'ceil', 'ln', 'exp', 'sqrt', 'round'])}({one})"
    if kind == 3:
        return f"CAST({one} AS {chance.choice(['DOUBLE', 'INTEGER', 'double'])})"
    return f"length({chance.choice(TEXTS)})"


def predicate(chance: random.Random, depth: int) -> str:
    """Return an expression for a truth, of the allowed grammar."""
    if depth <= 0:
        return chance.choice(["deadstock", "TRUE", "NOT deadstock", "age_years > 5", "condition = 'worn'"])
    kind = chance.randrange(6)
    if kind == 0:
        return f"({predicate(chance, depth - 1)} {chance.choice(['AND', 'OR', 'and'])} {predicate(chance, depth - 1)})"
    if kind == 1:
        return f"NOT ({predicate(chance, depth - 1)})"
    if kind == 2:
        return f"{number(chance, depth)} {chance.choice(['<', '<=', '=', '<>', '>', '>='])} {number(chance, depth)}"
    if kind == 3:
        return f"{number(chance, depth)} BETWEEN {number(chance, depth - 1)} AND {number(chance, depth - 1)}"
    if kind == 4:
        return f"{chance.choice(TEXTS)} {chance.choice(['LIKE', 'NOT LIKE', '=', '<>'])} {chance.choice(TEXTS)}"
    return f"{chance.choice(['contains', 'starts_with'])}({chance.choice(TEXTS)}, {chance.choice(TEXTS)})"


def own_rules() -> list[str]:
    """Return the predicates of the rules that come along."""
    return [
        tomllib.loads(path.read_text("utf-8"))["when"] for path in sorted((ROOT / "rules" / "penalties").glob("*.toml"))
    ]


def expression(chance: random.Random, known: list[str]) -> str:
    """Return one expression: built, taken, cut and joined, or with odd tokens put in."""
    kind = chance.randrange(10)
    if kind < 4:
        text = predicate(chance, chance.randrange(1, 6))
    elif kind == 4:
        text = chance.choice(known)
    else:
        one, other = chance.choice(known), predicate(chance, 2)
        text = one[: chance.randrange(len(one) + 1)] + other[chance.randrange(len(other) + 1) :]
    for _ in range(chance.choice((0, 0, 0, 1, 1, 2, 4)) if kind != 4 else 0):
        at = chance.randrange(len(text) + 1)
        text = text[:at] + chance.choice((" ", "")) + chance.choice(TOKENS) + chance.choice((" ", "")) + text[at:]
    if chance.random() < 0.02:
        text = " OR ".join([text] * chance.randrange(2, 60))
    return text


def stray(sql: str) -> str | None:
    """Return the first word or sign of a text that no rule may hold."""
    rest = _NUMBER.sub(" ", bare(sql))
    for word in _WORD.findall(rest):
        if word.lower() not in WORDS:
            return str(word)
    return next((sign for sign in _WORD.sub(" ", rest) if sign not in SIGNS), None)


def bare(sql: str) -> str:
    """Return SQL without its texts and the quotes around names."""
    return re.sub(r'"(\w+)"', r"\1", _TEXT.sub(" ", sql))


def escape(runner: Connection, sql: str) -> str | None:
    """Return how an expression that was let through is more than an expression."""
    query = f"SELECT {sql} AS told FROM facts"
    if (odd := stray(sql)) is not None:
        return f"a stray {odd!r}"
    if len(duckdb.extract_statements(query)) != 1:
        return "more than one statement"
    if runner.get_table_names(query) != {"facts"}:
        return f"tables {runner.get_table_names(query)}"
    return None


def tried(text: str, plain: Connection, runner: Connection, rows: pl.DataFrame) -> tuple[str, str | None]:
    """Return how an expression ended, and what was wrong about that."""
    start = time.monotonic()
    end, fault = "ran", None
    try:
        passed = parse(plain, text, COLUMNS)
        fault = escape(plain, passed.sql)
        # least and greatest are written with the test for NULL that a rule may not say.
        if " IS NULL" not in passed.sql and parse(plain, passed.sql, COLUMNS).facts != passed.facts:
            fault = "means something else when written anew"
        told = computed(runner, rows, f"SELECT TRY(({passed.sql})::BOOLEAN) AS told FROM facts")
        if told.shape != (ROWS, 1):
            fault = f"answers with {told.shape}"
    except Refused:
        end = "refused"
    except TooMuch:
        end = "stopped and named"
    except duckdb.Error as error:
        # Types that don't fit: told at load, with file and line, by the binding of every rule.
        end = f"not bound: {type(error).__name__}"
    except BaseException as error:
        fault = f"{type(error).__name__}: {error}"
    took = time.monotonic() - start
    if took > SECONDS + 1 and end != "stopped and named":
        fault = f"took {took:.1f} s unnoticed"
    return end, fault


def facts() -> pl.DataFrame:
    """Return rows with every kind of value a fact can have."""
    return pl.DataFrame({
        "age_years": [None if i % 7 == 0 else i / 10 for i in range(ROWS)],
        "condition": [None if i % 5 == 0 else "worn " * (i % 50) for i in range(ROWS)],
        "deadstock": [None if i % 3 == 0 else i % 2 == 0 for i in range(ROWS)],
        "photo_count": pl.Series([i % 13 for i in range(ROWS)], dtype=pl.Int32),
    })  # fmt: skip


def main(count: int, seed: int) -> int:
    """Try that many expressions; return how many faults were found."""
    chance = random.Random(seed)
    known = [*ATTACKS, *own_rules()]
    ends: Counter[str] = Counter()
    faults, began, rows = 0, time.monotonic(), facts()
    plain = duckdb.connect(":memory:")
    plain.execute("CREATE TABLE facts (age_years DOUBLE, condition VARCHAR, deadstock BOOLEAN, photo_count INTEGER)")
    runner = locked_connection(SECONDS)
    settings = runner.execute("SELECT name, value FROM duckdb_settings() ORDER BY ALL").fetchall()
    here = os.getcwd()
    with TemporaryDirectory() as folder:
        os.chdir(folder)
        for index in range(count):
            text = expression(chance, known)
            end, fault = tried(text, plain, runner, rows)
            ends[end] += 1
            if fault:
                faults += 1
                print(f"seed {seed} number {index}: {fault}: {text!r}", flush=True)
        os.chdir(here)
        left = list(Path(folder).iterdir())
    if left or runner.execute("SELECT name, value FROM duckdb_settings() ORDER BY ALL").fetchall() != settings:
        faults += 1
        print(f"seed {seed}: files {left} or settings changed")
    tell("rules_fuzz", seed, expressions=count, ends=dict(ends), faults=faults, seconds=round(time.monotonic() - began))
    return faults


if __name__ == "__main__":
    sys.exit(bool(main(int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 1)))
