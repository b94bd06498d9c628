"""Which rules missing facts leave open: sets of them, once for all listings that leave the very same open."""

import hashlib
import json
from collections.abc import Sequence
from functools import lru_cache
from itertools import compress, product

import numpy as np
import numpy.typing as npt
import polars as pl

from triage.rules.expressions import Compiled

LEFT_OPEN = pl.Schema({"listing_id": pl.String(), "place": pl.Int64(), "open_set": pl.UInt64()})
OPEN_RULE = pl.Schema({
    "open_set": pl.UInt64(), "rule_id": pl.String(), "part": pl.String(), "grouping": pl.String(),
    "missing": pl.List(pl.String()),
})  # fmt: skip
# What a rule says of a row: it holds, it doesn't, or the facts at hand don't tell.
TRUE, FALSE, OPEN = 1, 0, -1
# Rules of which is kept what they may wait for.
KEPT_WAITS = 1_000

Codes = npt.NDArray[np.int32]
Numbers = npt.NDArray[np.uint64]
Answers = npt.NDArray[np.int8]


def left_open_of(
    facts: pl.DataFrame, told: Answers, rules: Sequence[Compiled], askable: frozenset[str]
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Return which set of rules each row leaves open, and the rules of each set.

    What is open is asked about the likeliest release; of the others it would be most of the table. Listings wait for
    the same few facts, so that of a hundred listings two or three sets are left open. A set's number is the sum of
    its rules' numbers, whatever else is at hand: 64 bits of a hash, as the numbers in ``weighed`` are.

    Args:
        facts: One row per listing and candidate; NULL = not known.
        told: What each rule says of each row, [rows, rules].
        rules: In the order of their ids and parts.
        askable: Facts somebody could be asked for; a rule stays open only for those.

    Returns:
        Rows of ``finding_open``, in the order of the facts, and of ``open_rule``, by set, rule and part.
    """
    names = sorted({name for one in rules for name in one.when.facts if name in askable})
    silent = facts.select(pl.col(names).is_null().cast(pl.Int32)).to_numpy()
    column = {name: silent[:, number] for number, name in enumerate(names)}
    likeliest = (facts["place"] <= 1).to_numpy()
    open_set = np.zeros(facts.height, dtype=np.uint64)
    left: list[tuple[int, list[list[str]], Codes]] = []
    for number in np.flatnonzero((told == OPEN).any(axis=0)).tolist():
        rule = rules[number].rule
        asked = [name for name in rules[number].when.facts if name in askable]
        # Which of the facts are missing: a bit each, the first fact's the lowest.
        missing = np.zeros(facts.height, dtype=np.int32)
        for bit, name in enumerate(asked):
            missing |= column[name] << bit
        missing[(told[:, number] != OPEN) | ~likeliest] = 0
        if missing.any():
            lists, numbers = _waits(rule.id, rule.part, rule.group, *asked)
            open_set += numbers[missing]
            left.append((number, lists, missing))
    waits = np.flatnonzero(open_set)
    sets, first = np.unique(open_set[waits], return_index=True)
    left_open = facts.select("listing_id", "place")[waits].with_columns(open_set=pl.Series(open_set[waits]))
    return left_open.select(pl.col(name).cast(kind) for name, kind in LEFT_OPEN.items()), _rules_of(
        sets, [(number, lists, missing[waits[first]]) for number, lists, missing in left], rules
    )


def _rules_of(
    sets: Numbers, left: Sequence[tuple[int, list[list[str]], Codes]], rules: Sequence[Compiled]
) -> pl.DataFrame:
    """Return the rules of sets that are left open, rows of ``open_rule``, by set.

    Args:
        sets: The sets' numbers, in order.
        left: Of each rule left open, in order: its place among the rules, what it may wait for, and for each set
            the place in that.
    """
    codes = np.array([codes for _, _, codes in left], dtype=np.int32).reshape(len(left), len(sets))
    nth, of = np.nonzero(codes.T)
    begins = np.cumsum([0, *(len(lists) for _, lists, _ in left)])[:-1]
    missing = pl.Series([one for _, lists, _ in left for one in lists], dtype=pl.List(pl.String))
    found = named([rules[number] for number, _, _ in left])[of].with_columns(
        open_set=pl.Series(sets[nth]), missing=missing.gather(begins[of] + codes[of, nth])
    )
    return found.select(OPEN_RULE.names())


def named(rules: Sequence[Compiled]) -> pl.DataFrame:
    """Return the columns of a finding that are the rule's own, one row a rule: rule_id, part, grouping."""
    own = [(one.rule.id, one.rule.part, one.rule.group) for one in rules]
    return pl.DataFrame(own, schema=dict.fromkeys(("rule_id", "part", "grouping"), pl.String), orient="row")


@lru_cache(KEPT_WAITS)
def _waits(rule_id: str, part: str, group: str | None, *asked: str) -> tuple[list[list[str]], Numbers]:
    """Return which of the facts asked for are missing, by the bits of a number, and the number of the rule then.

    Bit 0 is the first fact. Where none is missing the rule waits for nothing and its number is 0.
    """
    lists = [list(compress(asked, bits[::-1])) for bits in product((0, 1), repeat=len(asked))]
    told = [json.dumps([rule_id, part, group, missing]).encode() for missing in lists]
    numbers = [int.from_bytes(hashlib.sha256(one).digest()[:8], "little") for one in told]
    return lists, np.array([0, *numbers[1:]], dtype=np.uint64)
