"""All rules in one pass over the facts: which fire, how much and why, and which a missing fact leaves open."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any, TypeVar

import numpy as np
import numpy.typing as npt
import polars as pl

from triage.blocks import in_order, slices
from triage.catalogue.facts import Fact
from triage.catalogue.penalties import Rule
from triage.catalogue.signs import Sign
from triage.errors import Problem, TriageError
from triage.once import once
from triage.order import ordered
from triage.rules.expressions import Compiled, columns_of, compile_rules
from triage.rules.facts import NOTHING, OFFERED, Known, read_facts, read_known
from triage.rules.left_open import LEFT_OPEN, OPEN, OPEN_RULE, TRUE, Answers, left_open_of, named
from triage.rules.locked import MAX_SECONDS, TooMuch, columns, computed, locked_connection
from triage.store import Connection, append, frame, pieces, replace

FIRED = pl.Schema({
    "listing_id": pl.String(), "place": pl.Int64(), "rule_id": pl.String(), "part": pl.String(),
    "grouping": pl.String(), "decibans": pl.Float64(), "because": pl.String(),
})  # fmt: skip
# A set that nobody leaves open any more.
UNMET = "DELETE FROM open_rule WHERE open_set NOT IN (SELECT open_set FROM finding_open)"
MET = "SELECT DISTINCT open_set FROM open_rule"
ROWS = {"row": pl.Int64, "rule": pl.Int64}
WEIGHTS = {"decibans": pl.Float64, "because": pl.String}
# DuckDB looks at the clock about every 100,000 rows a thread, so a slice has to be larger than that.
SLICE_ROWS = 262_144
# Rows that are worth looking at for what moved since they were looked at before.
FEW_ROWS = 16
# Weights of few rows that are kept, of pairs that are weighed again and again.
KEPT_WEIGHTS = 10_000
# Listings whose facts are read at once: a row of facts is wide.
LISTINGS_AT_ONCE = 120_000

Flags = npt.NDArray[np.bool_]
Worked = TypeVar("Worked")


@dataclass(frozen=True)
class Found:
    """What rules find in the facts of some listings.

    Attributes:
        fired: Rows of ``finding_fired``, ordered by listing, place, rule and part.
        left_open: Rows of ``finding_open``, ordered by listing and place.
        rules: Rows of ``open_rule``, once for each set in ``left_open``, ordered by set, rule and part.
    """

    fired: pl.DataFrame
    left_open: pl.DataFrame
    rules: pl.DataFrame

    def rows(self) -> pl.DataFrame:
        """Return the rows of ``finding``, ordered by listing, place, rule and part."""
        fired = self.fired.with_columns(state=pl.lit("fired"))
        waiting = self.left_open.join(self.rules, on="open_set").drop("open_set").with_columns(state=pl.lit("open"))
        together = pl.concat([fired, waiting], how="diagonal")
        return together.sort("listing_id", "place", "rule_id", "part")


def find(
    facts: pl.DataFrame, compiled: Sequence[Compiled], askable: frozenset[str], max_seconds: float = MAX_SECONDS
) -> Found:
    """Return what the rules find.

    Args:
        facts: One row per listing and candidate; NULL = not known.
        askable: Facts somebody could be asked for; a rule stays open only for those.
        max_seconds: How long one slice of the facts may take, in seconds.

    Raises:
        TriageError: Rules took more time or memory than they may; each is named.
    """
    if facts.is_empty() or not compiled:
        return Found(*(pl.DataFrame(schema=schema) for schema in (FIRED, LEFT_OPEN, OPEN_RULE)))
    rules = _by_id(compiled)
    rows = ordered(facts, "listing_id", "place")
    found = _in_slices(rows, rules, max_seconds, lambda locked, some: _slice(locked, some, rules, askable))
    if len(found) == 1:
        return found[0]
    met = pl.concat([one.rules for one in found]).unique(["open_set", "rule_id", "part"])
    return Found(
        pl.concat([one.fired for one in found]),
        pl.concat([one.left_open for one in found]),
        met.sort("open_set", "rule_id", "part"),
    )


@once
def _by_id(compiled: Sequence[Compiled]) -> list[Compiled]:
    return sorted(compiled, key=lambda one: (one.rule.id, one.rule.part))


def fired_by(facts: pl.DataFrame, compiled: Sequence[Compiled], max_seconds: float = MAX_SECONDS) -> Flags:
    """Return which rule fires on which row, [rows, rules].

    Raises:
        TriageError: Rules took more time or memory than they may; each is named.
    """
    told = _in_slices(facts, compiled, max_seconds, lambda locked, rows: _told(locked, rows, compiled))
    return np.asarray(np.concatenate(told) == TRUE)


def _in_slices(
    facts: pl.DataFrame,
    rules: Sequence[Compiled],
    max_seconds: float,
    work: Callable[[Connection, pl.DataFrame], Worked],
) -> list[Worked]:
    """Return the work of each slice; what was stopped is looked for rule by rule and named."""
    connection = _kept_connection(max_seconds)
    try:
        return [work(connection, facts[rows]) for rows in slices(facts.height, SLICE_ROWS)]
    except TooMuch as fault:
        _kept_connection.cache_clear()
        raise TriageError(runaways(facts, rules, max_seconds) or [_all_too_much(rules, fault)]) from None


@cache
def _kept_connection(max_seconds: float) -> Connection:
    """Return the connection of all passes: to open one takes as long as to weigh a pair, and nothing stays in it."""
    return locked_connection(max_seconds)


def runaways(facts: pl.DataFrame, compiled: Sequence[Compiled], max_seconds: float) -> list[Problem]:
    """Return the rules that take more time or memory than they may when run alone, with file and line."""
    problems = []
    connection = locked_connection(max_seconds)
    for one in compiled:
        try:
            _pass(connection, facts.head(SLICE_ROWS), [one])
        except TooMuch as fault:
            problems.append(Problem(one.place, f"{one.rule.id} was stopped: {fault}", "an expression that ends"))
    connection.close()
    return problems


def _all_too_much(compiled: Sequence[Compiled], fault: TooMuch) -> Problem:
    names = ", ".join(one.rule.id for one in compiled)
    return Problem("rules/penalties", f"the rules together were stopped: {fault}", f"less than all of {names}")


def _told(connection: Connection, facts: pl.DataFrame, rules: Sequence[Compiled]) -> Answers:
    """Return what each rule says of each row, [rows, rules]: ``TRUE``, ``FALSE`` or ``OPEN``.

    Of few rows only those rules are asked of whose facts some are others than of the rows before: of a pair that is
    weighed again those are few, and of any other a rule of whose facts none is known says what it says of nothing.
    """
    if facts.height > FEW_ROWS:
        return _pass(connection, facts, rules)
    cells = facts.select(_names(rules)).to_dict(as_series=False)
    last = _last(rules)
    if last and len(last[0].told) == facts.height:
        before, told = last[0].cells, last[0].told.copy()
    else:
        nothing = [None] * facts.height
        before = dict.fromkeys(cells, nothing)
        told = np.repeat(_of_nothing(connection, rules), facts.height, axis=0)
    moved = {name for name, column in cells.items() if column != before[name]}
    if asked := [number for number, one in enumerate(rules) if not moved.isdisjoint(one.when.facts)]:
        told[:, asked] = _pass(connection, facts, [rules[number] for number in asked])
    last[:] = [Told(cells, told)]
    return told


@dataclass(frozen=True)
class Told:
    """What rules said of few rows: cells by fact, and by row and rule ``TRUE``, ``FALSE`` or ``OPEN``."""

    cells: Mapping[str, list[Any]]
    told: Answers


@once
def _last(rules: Sequence[Compiled]) -> list[Told]:
    """Return the place where what rules said last of few rows is kept."""
    return []


def _names(rules: Sequence[Compiled]) -> list[str]:
    """Return the facts that rules look at."""
    return sorted({name for one in rules for name in one.when.facts})


@once
def _of_nothing(connection: Connection, rules: Sequence[Compiled]) -> Answers:
    """Return what rules say where no fact is known, [1, rules]."""
    types = {name: kind for one in rules for name, kind in one.types.items()}
    cells = ", ".join(f'CAST(NULL AS {kind}) AS "{name}"' for name, kind in types.items())
    return _numbers(connection.execute(f"{_words(rules)} FROM (SELECT {cells or 'NULL'})").fetchnumpy())


def _pass(connection: Connection, facts: pl.DataFrame, rules: Sequence[Compiled]) -> Answers:
    """Return what each rule says of each row, every rule asked of every row."""
    wanted = _names(rules) or ["listing_id"]
    return _numbers(columns(connection, facts.select(wanted), f"{_words(rules)} FROM facts"))


def _words(rules: Sequence[Compiled]) -> str:
    # TRY: a fault of arithmetic in one row is not known for that row, and no fault of the night.
    return "SELECT " + ", ".join(f"TRY({one.when.sql}) AS r{number}" for number, one in enumerate(rules))


def _numbers(words: Mapping[str, npt.NDArray[np.bool_]]) -> Answers:
    # What a rule says of all rows lies side by side: rule by rule is how it is gone through.
    return np.stack([np.ma.filled(one.astype(np.int8), OPEN) for one in words.values()]).T


def _slice(connection: Connection, facts: pl.DataFrame, rules: Sequence[Compiled], askable: frozenset[str]) -> Found:
    told = _told(connection, facts, rules)
    left_open, waiting = left_open_of(facts, told, rules, askable)
    # A weight that leans on a fact nobody knows is not known, so the rule has not fired.
    weighed = _weighed(connection, facts, told == TRUE, rules).filter(pl.col("decibans").is_not_null())
    weighed = weighed.sort("row", "rule")
    row, rule = weighed["row"], weighed["rule"]
    fired = named(rules)[rule].with_columns(
        facts["listing_id"].gather(row), facts["place"].gather(row), weighed["decibans"], weighed["because"]
    )
    return Found(fired.select(pl.col(name).cast(kind) for name, kind in FIRED.items()), left_open, waiting)


def _weighed(connection: Connection, facts: pl.DataFrame, fired: Flags, rules: Sequence[Compiled]) -> pl.DataFrame:
    """Return row, rule, decibans and because of every rule that fired; decibans NULL where the weight is not known."""
    rule, row = np.nonzero(fired.T)
    wanted = _of_weights(rules)
    known = facts.select(wanted).with_columns(row=0)[row] if wanted else pl.DataFrame({"row": row})
    known = known.with_columns(row=pl.Series(row, dtype=pl.Int64), rule=pl.Series(rule, dtype=pl.Int64))
    if facts.height > FEW_ROWS:
        return _weights(connection, known, rules)
    # Of few rows only what did not fire before, or weighed by other facts.
    cells, kept = known.drop("row").rows(), _kept_weights(rules)
    if fresh := [at for at, cell in enumerate(cells) if cell not in kept]:
        if len(kept) > KEPT_WEIGHTS:
            kept.clear()
            fresh = list(range(len(cells)))
        told = _weights(connection, known[fresh], rules).select("decibans", "because").rows()
        kept.update(zip((cells[at] for at in fresh), told, strict=True))
    told = [kept[cell] for cell in cells]
    return pl.DataFrame({"row": row, "rule": rule}, schema=ROWS).hstack(
        pl.DataFrame(told, schema=WEIGHTS, orient="row")
    )


@once
def _of_weights(rules: Sequence[Compiled]) -> list[str]:
    """Return the facts that weights and reasons look at."""
    return sorted({name for one in rules for name in (*one.weight.facts, *one.because.facts)})


@once
def _kept_weights(rules: Sequence[Compiled]) -> dict[tuple[Any, ...], tuple[Any, ...]]:
    """Return the place where weights and reasons of few rows are kept, by the facts they look at and the rule."""
    return {}


def _weights(connection: Connection, fired: pl.DataFrame, rules: Sequence[Compiled]) -> pl.DataFrame:
    """Return row, rule, decibans and because of what fired.

    Args:
        fired: row, rule and the facts that weights and reasons look at.
    """
    seen = fired["rule"].unique().sort().to_list()
    if not seen:
        return pl.DataFrame(schema={**ROWS, **WEIGHTS})
    weight, because = (
        " ".join(f"WHEN {number} THEN {sql(rules[number])}" for number in seen)
        for sql in (lambda one: f"CAST({one.weight.sql} AS DOUBLE)", lambda one: one.because.sql)
    )
    query = f"""
SELECT row, rule, TRY(CASE rule {weight} END) AS decibans, TRY(CASE rule {because} END) AS because
FROM facts
"""
    told = computed(connection, fired, query)
    return told.with_columns(pl.when(pl.col("decibans").is_finite()).then("decibans").alias("decibans"))


def ensure(rules: Sequence[Rule], facts: Mapping[str, Fact], signs: Mapping[str, Sign]) -> None:
    """Raise a TriageError that lists every rule that may not run."""
    _ready(rules, facts, signs)


def run(
    store: Connection,
    rules: Sequence[Rule],
    facts: Mapping[str, Fact],
    signs: Mapping[str, Sign],
    offered: str = OFFERED,
    known: Known | None = None,
) -> pl.DataFrame | None:
    """Write the findings of the listings in ``todo``.

    Args:
        facts: Documented facts by name.
        signs: Signs by id.
        offered: Query of what the open pairs of each release ask, where the store holds some of them only.
        known: What ``know`` returned of these listings, which are few.

    Returns:
        Which rules fired, of few listings: rows of ``finding_fired``.

    Raises:
        TriageError: A rule may not run; nothing was written.
    """
    ready = _ready(rules, facts, signs)
    asked = {sign.id: sign.question is not None for sign in signs.values()}
    wanted = _wanted(ready)
    for table in ("finding_fired", "finding_open"):
        replace(store, table, pl.DataFrame())
    store.execute(UNMET)
    met = frame(store, MET)
    if known is None:
        # Of all pairs on offer, and the same for all pieces.
        store.execute(f"CREATE OR REPLACE TEMP TABLE offered_now AS {offered}")
        offered = "FROM offered_now"
    told = (
        read_facts(store, signs, wanted, piece, offered, known or NOTHING) for piece in pieces(store, LISTINGS_AT_ONCE)
    )
    # One at a time, as all passes share a connection; meanwhile facts of the next listings are read.
    for found in in_order(lambda rows: find(rows, ready, askable(facts, asked)), told, cores=1, few=known is not None):
        append(store, "finding_fired", found.fired)
        append(store, "finding_open", found.left_open)
        fresh = found.rules.join(met, on="open_set", how="anti", maintain_order="left")
        append(store, "open_rule", fresh)
        met = pl.concat([met, fresh.select("open_set").unique()])
    if known is not None:
        return found.fired
    store.execute("DROP TABLE offered_now")
    return None


def know(
    store: Connection, rules: Sequence[Rule], facts: Mapping[str, Fact], signs: Mapping[str, Sign], offered: str
) -> Known:
    """Return what rules look at of the listings in ``todo`` that hangs on nothing said, and ask the rules of all.

    Few listings; arguments as of ``run``. What the rules say is kept until they are asked of other listings.
    """
    ready = _ready(rules, facts, signs)
    known = read_known(store, _wanted(ready), offered)
    find(read_facts(store, signs, _wanted(ready), known=known), ready, frozenset())
    return known


@once
def _wanted(ready: Sequence[Compiled]) -> frozenset[str]:
    return frozenset(name for one in ready for name in one.facts)


@once
def _ready(rules: Sequence[Rule], facts: Mapping[str, Fact], signs: Mapping[str, Sign]) -> list[Compiled]:
    problems: list[Problem] = []
    compiled = compile_rules(rules, columns_of(facts, tuple(signs)), problems)
    if problems:
        raise TriageError(problems)
    return compiled


def askable(facts: Mapping[str, Fact], signs: Mapping[str, bool]) -> frozenset[str]:
    """Return the facts and signs somebody could be asked for."""
    asked = {name for name, fact in facts.items() if fact.ask}
    return frozenset(asked | {sign for sign, has_question in signs.items() if has_question})
