"""What became of the pairs beside what was believed of them on the day: tables -> frames, nothing recomputed."""

from collections.abc import Mapping, Sequence
from datetime import date

import polars as pl

from triage.catalogue.signs import Sign
from triage.learning.release import PARTS
from triage.store import Connection, frame, registered

# Which call a pair was bought after: the last up to the purchase. Where no purchase is recorded the first inspection
# stands for it, and where it is not told for whom, the buyer it suited best. The chances are those of that row.
HELD = """
CREATE OR REPLACE TEMP TABLE held_call AS
WITH bought AS (
  SELECT * FROM purchase
  WHERE bought_on <= $1
  QUALIFY row_number() OVER (PARTITION BY listing_id ORDER BY rowid DESC) = 1
),
looked AS (
  SELECT listing_id, min(inspected_on) AS looked_on FROM inspection WHERE inspected_on <= $1 GROUP BY listing_id
),
held AS (
  SELECT
    coalesce(b.listing_id, l.listing_id) AS listing_id,
    b.listing_id IS NOT NULL AS recorded,
    coalesce(b.bought_on, l.looked_on) AS held_on,
    b.buyer AS bought_for,
    b.landed_minor AS paid_minor,
    b.currency AS paid_currency,
    b.repair_minor,
    b.worth_minor
  FROM bought b
  FULL JOIN looked l ON l.listing_id = b.listing_id
),
last_call AS (
  SELECT h.*
  FROM call_history h
  JOIN held USING (listing_id)
  WHERE h.as_of <= held.held_on AND (held.bought_for IS NULL OR h.buyer = held.bought_for)
  QUALIFY row_number() OVER (PARTITION BY h.listing_id, h.buyer ORDER BY h.place DESC) = 1
),
best AS (
  SELECT *
  FROM last_call
  QUALIFY row_number() OVER (
    PARTITION BY listing_id
    ORDER BY CASE call WHEN 'buy' THEN 1 WHEN 'ask' THEN 2 ELSE 3 END, surplus_minor DESC NULLS LAST, buyer
  ) = 1
)
SELECT
  held.*,
  best.buyer,
  best.call,
  best.as_of AS called_on,
  best.p_unfit,
  best.surplus_minor,
  best.landed_minor,
  best.currency,
  best.construction_id,
  best.heard
FROM held
LEFT JOIN best USING (listing_id)
"""
FOUND = """
WITH latest AS (
  SELECT * FROM inspection
  WHERE inspected_on <= $1
  QUALIFY row_number() OVER (PARTITION BY listing_id, part ORDER BY inspected_on DESC, rowid DESC) = 1
),
made_of AS (
  UNPIVOT (SELECT model_id, midsole, outsole, cushion, bond, trim, coating, upper, lining FROM construction)
  ON midsole, outsole, cushion, bond, trim, coating, upper, lining
  INTO NAME part VALUE material
)
SELECT
  i.listing_id,
  i.part,
  i.state = 'unfit' AS unfit,
  h.held_on,
  h.recorded,
  h.buyer,
  h.call,
  h.p_unfit[i.part] AS chance,
  coalesce(nullif(m.material, ''), '?') AS material,
  h.heard
FROM latest i
JOIN held_call h USING (listing_id)
LEFT JOIN made_of m ON m.model_id = h.construction_id AND m.part = i.part
ORDER BY i.listing_id, i.part
"""
# What was left over, had it gone as expected, at the price that was paid; and what was.
MONEY = """
SELECT
  listing_id,
  held_on,
  buyer,
  call,
  currency,
  coalesce(paid_minor, landed_minor) AS paid_minor,
  surplus_minor + landed_minor - coalesce(paid_minor, landed_minor) AS expected_minor,
  worth_minor - coalesce(repair_minor, 0) - coalesce(paid_minor, landed_minor) AS realised_minor
FROM held_call
WHERE recorded AND worth_minor IS NOT NULL AND surplus_minor IS NOT NULL AND currency = paid_currency
ORDER BY held_on, listing_id
"""
ASKED = """
WITH ask AS (
  SELECT
    *,
    lead(as_of) OVER earlier AS next_on,
    lead(call) OVER earlier AS next_call,
    lead(heard) OVER earlier AS next_heard
  FROM call_history
  WHERE as_of <= $1
  WINDOW earlier AS (PARTITION BY listing_id, buyer ORDER BY place)
),
told AS (
  SELECT ask.*, a.state IS DISTINCT FROM 'no_reply' AS replied
  FROM ask
  JOIN answer a ON a.listing_id = ask.listing_id AND a.said_by = 'answer' AND a.answered_on BETWEEN ask.as_of AND $1
    AND (ask.next_on IS NULL OR a.answered_on <= ask.next_on)
  WHERE ask.call = 'ask'
),
one AS (
  SELECT
    listing_id,
    buyer,
    bool_or(replied) AS replied,
    coalesce(bool_or(
      replied AND next_call <> 'ask'
      AND len(list_filter(next_heard, lambda one: starts_with(one, 'answer ') AND NOT list_contains(heard, one))) > 0
    ), FALSE) AS changed
  FROM told
  GROUP BY listing_id, buyer
)
SELECT
  (SELECT count(DISTINCT (listing_id, buyer)) FROM ask WHERE call = 'ask') AS asks,
  count(*) FILTER (replied) AS answered,
  count(*) FILTER (NOT replied) AS silent,
  count(*) FILTER (changed) AS changed
FROM one
"""
# A pair nobody bought, skipped for every buyer at last, and what the store has seen of it since.
CENSORED = """
WITH last_call AS (
  SELECT listing_id, call, as_of
  FROM call_history
  WHERE as_of <= $1
  QUALIFY row_number() OVER (PARTITION BY listing_id, buyer ORDER BY place DESC) = 1
),
skipped AS (
  SELECT listing_id, max(as_of) AS skipped_on
  FROM last_call
  WHERE listing_id NOT IN (SELECT listing_id FROM held_call)
  GROUP BY listing_id
  HAVING bool_and(call = 'skip')
),
later AS (
  SELECT t.listing_id, t.twin_id
  FROM twin t
  JOIN listing l ON l.listing_id = t.listing_id
  JOIN listing o ON o.listing_id = t.twin_id
  WHERE t.kind = 'relist' AND o.first_seen > l.first_seen AND o.first_seen <= $1
),
broken AS (
  SELECT DISTINCT later.listing_id
  FROM later
  JOIN observation o ON o.listing_id = later.twin_id
  JOIN piece USING (sign)
  WHERE o.counts AND o.state = 'affirmed'
)
SELECT
  CASE
    WHEN s.listing_id IN (SELECT listing_id FROM broken) THEN 'in pieces'
    WHEN s.listing_id IN (SELECT listing_id FROM later) THEN 'relisted'
    WHEN l.status = 'sold' THEN 'sold'
    WHEN l.status = 'gone' THEN 'gone'
    ELSE 'still open'
  END AS fate,
  count(*) AS pairs
FROM skipped s
JOIN listing l USING (listing_id)
GROUP BY fate
ORDER BY fate
"""
WEIGHED = "SELECT count(DISTINCT listing_id) FROM call_history WHERE as_of <= $1"


def hold(store: Connection, as_of: date) -> None:
    """Work out the call behind every pair that was bought or inspected, for the questions below."""
    store.execute(HELD, [as_of])


def release(store: Connection) -> None:
    """Let go of what ``hold`` made."""
    store.execute("DROP TABLE held_call")


def found_parts(store: Connection, as_of: date) -> pl.DataFrame:
    """Return the latest inspection of every part with the chance of the day, NULL without one; see ``FOUND``."""
    return frame(store, FOUND, [as_of])


def money(store: Connection) -> pl.DataFrame:
    """Return pairs whose worth is known with what was expected to be left over, and what was; see ``MONEY``."""
    return frame(store, MONEY)


def asked(store: Connection, as_of: date) -> Mapping[str, int]:
    """Return how many asks there were (a pair and a buyer each), answered, left without reply, and changed by it."""
    return {name: int(number) for name, number in frame(store, ASKED, [as_of]).to_dicts()[0].items()}


def censored(store: Connection, pieces: Sequence[str], as_of: date) -> pl.DataFrame:
    """Return what became of pairs that were skipped: fate, pairs.

    Args:
        pieces: Signs that, affirmed of a later listing of the pair, say that it has gone to pieces.
    """
    with registered(store, "piece", pl.DataFrame({"sign": list(pieces)}, schema={"sign": pl.String})):
        return frame(store, CENSORED, [as_of])


def weighed(store: Connection, as_of: date) -> int:
    """Return how many pairs were ever weighed."""
    return int(store.execute(WEIGHED, [as_of]).fetchall()[0][0])


def bought(store: Connection) -> int:
    """Return how many pairs were bought."""
    return int(store.execute("SELECT count(*) FROM held_call WHERE recorded").fetchall()[0][0])


def by_sign(found: pl.DataFrame, signs: Mapping[str, Sign]) -> pl.DataFrame:
    """Return a row for every part and every sign that was heard of it, or of the pair as a whole: ``name``."""
    about = pl.DataFrame(
        [(sign.id, sign.part) for sign in signs.values() if sign.part in (*PARTS, "whole")],
        schema={"sign": pl.String, "of": pl.String},
        orient="row",
    )
    heard = found.explode("heard", empty_as_null=False).with_columns(words=pl.col("heard").str.split(" "))
    named = heard.with_columns(sign=pl.col("words").list.get(1, null_on_oob=True)).join(about, on="sign")
    named = named.filter(pl.col("of").is_in(["whole"]) | (pl.col("of") == pl.col("part")))
    # Whoever said it, and how surely: one sign in one state.
    name = pl.format("{} {}", "sign", pl.col("words").list.get(2, null_on_oob=True))
    return named.with_columns(name=name).unique(["listing_id", "part", "name"], keep="first", maintain_order=True)
