"""Time the rules: a million listings, a hundred rules, two threads.

``python benchmarks/rules_speed.py [LISTINGS] [RULES]``. The facts are those of the demo night, repeated under new
ids, one candidate release each; the rules are the program's own, and as many more as are wanting, made from them
with other bounds. Prints the time of the pass alone, without reading the facts or storing the findings, best of three.
"""

import re
import resource
import sys
import time
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import polars as pl

from triage import batch, catalogue, ingest, listing, store
from triage.catalogue.penalties import Rule
from triage.errors import Problem
from triage.rules import Compiled, askable, columns_of, compile_rules, find

ROOT = Path(__file__).parent.parent
AS_OF = date(2026, 11, 25)
NUMBER = re.compile(r"(?<=[<>] )\d+(\.\d+)?")


@dataclass(frozen=True)
class World:
    """What is timed: facts, rules, and what can be asked."""

    facts: pl.DataFrame
    rules: list[Compiled]
    asked: frozenset[str]


def demo_facts(known: catalogue.Catalogue) -> pl.DataFrame:
    """Return the facts of the demo night's first candidates."""
    connection = store.connect()
    ingest.run(connection, known.feeds, [ROOT / "demo_feeds"], AS_OF)
    listing.run(connection, known.words, AS_OF)
    batch.weigh(connection, known, AS_OF)
    return store.frame(connection, "SELECT * FROM facts WHERE place = 1 ORDER BY listing_id")


def world(listings: int, rules: int) -> World:
    """Return the demo's facts repeated, and the rules with as many variants as are wanting."""
    known = catalogue.load(ROOT / "rules")
    demo = demo_facts(known)
    copies = [
        demo.with_columns(listing_id=pl.col("listing_id") + f"-{copy}") for copy in range(listings // demo.height + 1)
    ]
    problems: list[Problem] = []
    own = compile_rules(known.rules, columns_of(known.facts, tuple(known.signs)), problems)
    assert not problems
    more = [variant(own[number % len(own)], number) for number in range(max(0, rules - len(own)))]
    extra = compile_rules(more, columns_of(known.facts, tuple(known.signs)), problems)
    assert not problems
    asked = askable(known.facts, batch.signs_asked(known))
    return World(pl.concat(copies).head(listings).rechunk(), [*own, *extra][:rules], asked)


def variant(one: Compiled, number: int) -> Rule:
    """Return a rule like another, under a new id and with every bound moved a little."""
    moved = NUMBER.sub(lambda bound: f"{float(bound[0]) * (1 + number / 997):.3f}", one.rule.when)
    return one.rule.model_copy(update={"id": f"{one.rule.id}-{number}", "when": moved})


if __name__ == "__main__":
    sizes = [int(text) for text in sys.argv[1:]]
    made = world(*sizes, *(1_000_000, 100)[len(sizes) :])
    walls, works = [], []
    for _ in range(3):
        wall, work = time.perf_counter(), time.process_time()
        found = find(made.facts, made.rules, made.asked)
        walls.append(time.perf_counter() - wall)
        works.append(time.process_time() - work)
    fired = found.filter(pl.col("state") == "fired").height
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    print(
        f"{made.facts.height} listings x {len(made.rules)} rules: {min(walls):.2f} s, {min(works):.2f} s of processor "
        f"on all threads; {fired} fired, {found.height - fired} open, {memory:.1f} GB with the facts"
    )
