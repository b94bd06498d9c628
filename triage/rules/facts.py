"""The ``facts`` view: one wide row per listing and candidate release, NULL where nothing is known."""

from collections.abc import Collection, Mapping

import polars as pl

from triage.catalogue.signs import Sign
from triage.store import Connection, frame

PARTS = ("midsole", "outsole", "cushion", "bond", "trim", "coating", "upper", "lining")
SOLES = frozenset(PARTS[:4])
# Silence on the soles tells something only where a text says much of the rest. Our judgement, after the trade's
# rule to weigh silence only in a listing that is otherwise detailed.
FEWEST_OTHER_SIGNS = 2
LETTERS, LETTERS_JA = 200, 80  # a Japanese text says as much in less than half the characters

# What is told of each part: the end of the column's name, the column it is of, and on which rows.
OF_PART = (
    ("", "nullif(material, '?')", ""), ("_mode", "mode", " AND material <> '?'"), ("_age_years", "age_years", ""),
    ("_p", "p_unfit", ""),
)  # fmt: skip
# The strongest speaker decides what a sign's column says.
SAID = """
SELECT
  listing_id,
  sign,
  arg_max(state = 'affirmed', CASE said_by
    WHEN 'inspection' THEN 4
    WHEN 'buyer' THEN 3
    WHEN 'answer' THEN 2
    ELSE 1
  END) AS told
FROM observation
WHERE counts AND listing_id IN (SELECT listing_id FROM {of})
GROUP BY listing_id, sign
"""

SPOKEN_OF = "SELECT DISTINCT sign FROM observation WHERE counts AND listing_id IN (SELECT listing_id FROM {of})"

PAIR = """
SELECT
  l.listing_id,
  m.place,
  m.construction_id,
  m.level AS match_level,
  m.probability AS match_probability,
  m.accepted AS match_accepted,
  c.maker,
  c.model,
  c.edition,
  c.category,
  c.life_factor,
  c.style_year,
  l.condition,
  CASE WHEN l.condition <> 'unknown' THEN l.condition = 'deadstock' END AS deadstock,
  l.stated_year_lo,
  l.stated_year_hi,
  l.stated_year_kind,
  l.price_minor,
  l.price_base_minor,
  l.shipping_base_minor,
  l.price_kind,
  l.photo_count,
  l.seller_kind,
  l.ships_from,
  l.language,
  length(l.title) AS title_length,
  length(l.body) AS text_length,
  l.text_cut,
  l.condition_conflict,
  l.size_system,
  l.foot_mm_lo,
  l.foot_mm_hi,
  (l.last_seen - l.first_seen) // 7 * 7 AS days_listed,
  l.status = 'open' AS on_offer
FROM candidate m
JOIN listing l USING (listing_id)
LEFT JOIN construction c ON c.model_id = m.construction_id
WHERE l.listing_id IN (SELECT listing_id FROM {of})
"""

# Pairs of one release that are on offer at once: what they ask, and how many there are.
ASKED = """
SELECT
  m.construction_id,
  l.price_base_minor
FROM match m
JOIN listing l USING (listing_id)
WHERE m.place = 1 AND m.level IN ('style_number', 'release', 'model') AND l.status = 'open'
"""
# The only facts that hang on all pairs on offer.
OFFERED_OF = """
SELECT
  construction_id,
  median(price_base_minor) AS median_minor,
  count(*) AS same_release_open
FROM ({asked})
GROUP BY construction_id
"""
OFFERED = OFFERED_OF.format(asked=ASKED)

HISTORY = """
SELECT
  l.listing_id,
  (SELECT count(*) FROM twin t WHERE t.listing_id = l.listing_id AND t.kind = 'relist') AS relists,
  (SELECT greatest(0, 1 - l.price_minor / max(s.price_minor))
   FROM sighting s
   WHERE s.listing_id = l.listing_id AND s.currency = l.currency AND s.price_minor > 0) AS price_drop
FROM listing l
WHERE l.listing_id IN (SELECT listing_id FROM {of})
"""


def read_facts(
    store: Connection,
    signs: Mapping[str, Sign],
    wanted: Collection[str] | None = None,
    of: str = "todo",
    offered: str = OFFERED,
) -> pl.DataFrame:
    """Return the facts of some listings: one row per listing and candidate, in that order.

    Args:
        wanted: Facts that are used; of signs and parts no others are worked out. All when left out.
        of: Table of the listings.
        offered: Query of what the open pairs of each release ask, as ``OFFERED`` has it.
    """
    # Polars sorts so many columns in a fraction of DuckDB's time.
    return frame(store, _facts(store, signs, wanted, of, offered)).sort("listing_id", "place")


def create_facts(store: Connection, signs: Mapping[str, Sign]) -> None:
    """Create the ``facts`` view over the listings in ``todo``.

    Args:
        signs: Signs by id; each becomes a BOOLEAN column, NULL where nobody spoke of it.
    """
    store.execute(f"CREATE OR REPLACE TEMP VIEW facts AS {_facts(store, signs, None, 'todo', OFFERED)}")


def _facts(store: Connection, signs: Mapping[str, Sign], wanted: Collection[str] | None, of: str, offered: str) -> str:
    """Return the query of the view."""
    of_soles = ", ".join(f"'{sign.id}'" for sign in signs.values() if speaks_of_soles(sign)) or "''"
    elsewhere = ", ".join(f"'{sign.id}'" for sign in signs.values() if speaks_of_the_rest(sign)) or "''"
    spoken = {sign for (sign,) in store.execute(SPOKEN_OF.format(of=of)).fetchall()}
    # Most signs are spoken of by nobody in a small todo, and each would cost as much as one that is.
    told = "".join(
        f",\n    bool_or(told) FILTER (sign = '{sign}') AS \"{sign}\""
        if sign in spoken
        else f',\n    CAST(NULL AS BOOLEAN) AS "{sign}"'
        for sign in signs
        if _used(sign, wanted)
    )
    aged = "".join(
        f",\n    any_value({value}) FILTER (part = '{part}'{also}) AS \"{part}{name}\""
        for part in PARTS
        for name, value, also in OF_PART
        if _used(f"{part}{name}", wanted)
    )
    return f"""
WITH told AS ({SAID.format(of=of)}),
sign_row AS (
  SELECT
    listing_id,
    count(*) FILTER (sign IN ({of_soles})) AS of_soles,
    count(*) FILTER (sign IN ({elsewhere})) AS of_the_rest{told}
  FROM told
  GROUP BY listing_id
),
led AS (SELECT * FROM life_led WHERE listing_id IN (SELECT listing_id FROM {of})),
outlook AS (SELECT min((horizon_years, climate)) AS first FROM life_part),
life_row AS (
  SELECT
    life,
    max(age_years) AS oldest_years,
    min(made_lo) AS made_from,
    max(made_hi) AS made_to{aged}
  FROM life_part
  WHERE (horizon_years, climate) = (SELECT first FROM outlook) AND life IN (SELECT life FROM led)
  GROUP BY life
),
part_row AS (SELECT * EXCLUDE (life) FROM led JOIN life_row USING (life)),
pair AS ({PAIR.format(of=of)}),
offered AS ({offered}),
history AS ({HISTORY.format(of=of)})
SELECT
  pair.* EXCLUDE (on_offer),
  part_row.* EXCLUDE (listing_id, place, oldest_years),
  (part_row.made_from + part_row.made_to) / 2 AS made_year,
  part_row.oldest_years AS age_years,
  CASE WHEN pair.deadstock THEN part_row.oldest_years END AS storage_years,
  CASE WHEN offered.same_release_open >= 3 AND offered.median_minor > 0
    THEN pair.price_base_minor / offered.median_minor
  END AS price_ratio,
  offered.same_release_open,
  history.relists,
  history.price_drop,
  CASE
    WHEN sign_row.of_soles > 0 THEN TRUE
    WHEN sign_row.of_the_rest >= {FEWEST_OTHER_SIGNS}
      AND pair.text_length >= CASE WHEN pair.language = 'ja' THEN {LETTERS_JA} ELSE {LETTERS} END
      AND NOT pair.text_cut THEN FALSE
  END AS soles_told,
  sign_row.* EXCLUDE (listing_id, of_soles, of_the_rest)
FROM pair
LEFT JOIN part_row ON part_row.listing_id = pair.listing_id AND part_row.place = pair.place
LEFT JOIN offered ON offered.construction_id = pair.construction_id AND pair.on_offer
LEFT JOIN history ON history.listing_id = pair.listing_id
LEFT JOIN sign_row ON sign_row.listing_id = pair.listing_id
"""


def _used(name: str, wanted: Collection[str] | None) -> bool:
    return wanted is None or name in wanted


def speaks_of_soles(sign: Sign) -> bool:
    """Return whether a sign tells of the state of the soles: foam, rubber, gas unit or what holds them."""
    return sign.part in SOLES or any("sole" in reading.thing for reading in sign.reads)


def speaks_of_the_rest(sign: Sign) -> bool:
    """Return whether a sign tells of the pair, but not of its soles."""
    return (sign.part in PARTS or sign.part == "whole") and not speaks_of_soles(sign)
