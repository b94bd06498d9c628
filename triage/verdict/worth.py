"""What a pair is worth to a buyer when sound, as a display piece and in parts."""

import numpy as np
import numpy.typing as npt
import polars as pl

from triage.catalogue.buyers import Buyer
from triage.catalogue.values import Values
from triage.once import once
from triage.store import Connection, frame

# Comparable pairs of one release or model, most recent first; more would not change a median much.
MOST_COMPARABLES = 50

# What a sound pair fetches shows in pairs that are likely sound: an unsound one is cheap for a reason, a
# boxed one dear for another. Of each release the latest offers of its own and of the model's other releases,
# twice as many as are looked at: a pair itself and its twins fall out of them. The month says how late: by the day
# everything would be worth something else every night.
OFFERS = """
SELECT
  l.listing_id,
  c.maker || ' ' || c.model AS model,
  c.model_id,
  l.price_base_minor AS price_minor,
  l.status = 'sold' AS sold,
  date_trunc('month', l.last_seen)::DATE AS last_seen
FROM listing l
JOIN match m ON m.listing_id = l.listing_id AND m.place = 1 AND m.probability >= 0.5
JOIN construction c ON c.model_id = m.construction_id AND NOT c.generic
JOIN soundness s ON s.listing_id = l.listing_id AND s.p_wearable >= $sound_from
  AND (s.horizon_years, s.climate) = (SELECT min((horizon_years, climate)) FROM soundness)
WHERE l.kind = 'pair' AND l.price_base_minor > 0 AND l.price_kind = 'fixed'
"""
# Of some of the offers no more than these can be in a pool of all: what they are cut to before they are put together.
LATEST = f"""
SELECT *
FROM ({{offers}})
QUALIFY row_number() OVER (PARTITION BY model_id ORDER BY last_seen DESC, listing_id) <= {2 * MOST_COMPARABLES}
"""
POOL = f"""
CREATE OR REPLACE TEMP TABLE pool AS
WITH release AS (
  SELECT DISTINCT c.model_id, c.maker || ' ' || c.model AS model
  FROM match m
  JOIN construction c ON c.model_id = m.construction_id AND NOT c.generic
  WHERE m.listing_id IN (SELECT listing_id FROM {{of}})
),
offer AS ({{offers}})
SELECT
  r.model_id AS construction_id,
  o.model_id = r.model_id AS same_release,
  o.listing_id,
  o.price_minor * CASE WHEN o.sold THEN 1.0 ELSE $asked_share END AS worth_minor,
  o.price_minor,
  o.sold,
  o.last_seen,
  row_number() OVER (
    PARTITION BY r.model_id, o.model_id = r.model_id ORDER BY o.last_seen DESC, o.listing_id
  ) AS nth
FROM release r
JOIN offer o ON o.model = r.model
QUALIFY nth <= {2 * MOST_COMPARABLES}
"""
FIGURES = """
  count(*) AS pairs,
  median(worth_minor) AS median_minor,
  min(price_minor) AS least_minor,
  max(price_minor) AS most_minor,
  count(*) FILTER (WHERE sold) AS sold,
  strftime(max(last_seen), '%Y-%m') AS latest
"""
POOLED = f"""
CREATE OR REPLACE TEMP TABLE pooled AS
SELECT construction_id, same_release, {FIGURES}
FROM pool
WHERE nth <= {MOST_COMPARABLES}
GROUP BY construction_id, same_release
"""
# The pair itself and its twins are left out: it is no evidence of its own worth. Only the few pairs that are in
# the pool of their own release, or have a twin there, need figures of their own.
COMPARABLES = f"""
WITH target AS (
  SELECT DISTINCT listing_id, construction_id FROM candidate WHERE listing_id IN (SELECT listing_id FROM chunk)
),
same AS (
  SELECT listing_id, listing_id AS other_id FROM chunk
  UNION
  SELECT listing_id, twin_id FROM twin WHERE listing_id IN (SELECT listing_id FROM chunk)
),
left_out AS (
  SELECT
    t.listing_id,
    t.construction_id,
    p.same_release,
    p.nth,
    row_number() OVER (PARTITION BY t.listing_id, t.construction_id, p.same_release ORDER BY p.nth) AS place
  FROM same s
  JOIN pool p ON p.listing_id = s.other_id
  JOIN target t ON t.listing_id = s.listing_id AND t.construction_id = p.construction_id
),
-- One is among the first so many if as few that stay come before it: for each such the pool is looked at one further.
inside AS (
  SELECT
    listing_id,
    construction_id,
    same_release,
    {MOST_COMPARABLES} + count(*) FILTER (nth - place < {MOST_COMPARABLES}) AS upto
  FROM left_out
  GROUP BY listing_id, construction_id, same_release
  HAVING min(nth) <= {MOST_COMPARABLES}
),
own AS (
  SELECT i.listing_id, p.*
  FROM inside i
  JOIN pool p ON p.construction_id = i.construction_id AND p.same_release = i.same_release AND p.nth <= i.upto
  ANTI JOIN same s ON s.listing_id = i.listing_id AND s.other_id = p.listing_id
)
SELECT listing_id, construction_id, same_release, {FIGURES}
FROM own
GROUP BY listing_id, construction_id, same_release
UNION ALL
SELECT t.listing_id, p.*
FROM target t
JOIN pooled p ON p.construction_id = t.construction_id
ANTI JOIN inside i ON i.listing_id = t.listing_id AND i.construction_id = p.construction_id
  AND i.same_release = p.same_release
ORDER BY listing_id, construction_id, same_release
"""
TARGETS = """
SELECT DISTINCT m.listing_id, m.construction_id, c.model AS name, c.category, c.edition, l.condition
FROM candidate m
JOIN listing l ON l.listing_id = m.listing_id
LEFT JOIN construction c ON c.model_id = m.construction_id
WHERE m.listing_id IN (SELECT listing_id FROM chunk)
ORDER BY m.listing_id, m.construction_id
"""


def pool_comparables(store: Connection, values: Values, of: str = "todo", offers: str = OFFERS) -> None:
    """Gather the offers that some listings may be compared with; soundness must be written before.

    Args:
        of: Table of the listings.
        offers: Query of all offers, as ``OFFERS`` has them of the store; ``LATEST`` of them are enough.
    """
    query = POOL.format(offers=offers, of=of)
    known = {"asked_share": values.asked_share, "sound_from": values.sound_from}
    # A parameter that a query doesn't have is refused.
    store.execute(query, {name: value for name, value in known.items() if f"${name}" in query})
    store.execute(POOLED)


def read_comparables(store: Connection, values: Values) -> pl.DataFrame:
    """Return per listing and candidate the worth of comparable pairs, drawn to the wider group when few.

    ``pool_comparables`` comes first. Columns: listing_id, construction_id, name, category, sound_minor,
    display_minor, parts_minor, sound_share, display_share, basis, doubt.
    ``(n median + k wider) / (n + k)`` for release over model over category; k = ``comparable_prior``.
    """
    found = frame(store, COMPARABLES)
    usual = values.of_category(None)
    targets = (
        frame(store, TARGETS)
        .join(_categories(values), on="category", how="left")
        .with_columns(
            pl.col("usual_minor").fill_null(usual.sound_minor),
            pl.col("display_minor").fill_null(usual.display_minor),
            pl.col("parts_minor").fill_null(usual.parts_minor),
        )
    )
    for same, prefix in ((False, "other"), (True, "own")):
        one = found.filter(pl.col("same_release") == same).select(
            "listing_id", "construction_id", pl.exclude("listing_id", "construction_id", "same_release").name.prefix(
                f"{prefix}_"
            ),
        )  # fmt: skip
        targets = targets.join(one, on=["listing_id", "construction_id"], how="left", nulls_equal=True)
    own, other = pl.col("own_pairs").fill_null(0), pl.col("other_pairs").fill_null(0)
    k = values.comparable_prior
    model = (other * pl.col("other_median_minor").fill_null(0) + k * pl.col("usual_minor")) / (other + k)
    release = (own * pl.col("own_median_minor").fill_null(0) + k * model) / (own + k)
    shown = pl.col("condition").replace_strict(values.display_share, return_dtype=pl.Float64)
    again = pl.when(pl.col("edition") == "reissue").then(values.reissue_display_share).otherwise(1.0)
    return targets.with_columns(
        sound_minor=release,
        display_minor=pl.col("display_minor") * again,
        display_share=shown,
        sound_share=pl.col("condition").replace_strict(values.sound_share, return_dtype=pl.Float64),
        basis=_basis(own, other),
        doubt=pl.when(own + other > 0).then(values.doubt.comparable).otherwise(values.doubt.usual),
    ).select(
        "listing_id",
        "construction_id",
        "name",
        "category",
        "sound_minor",
        "display_minor",
        "parts_minor",
        "sound_share",
        "display_share",
        "basis",
        "doubt",
    )


@once
def _categories(values: Values) -> pl.DataFrame:
    return pl.DataFrame(
        [(name, float(v.sound_minor), v.display_minor, v.parts_minor) for name, v in sorted(values.category.items())],
        schema=["category", "usual_minor", "display_minor", "parts_minor"],
        orient="row",
    )


def _basis(own: pl.Expr, other: pl.Expr) -> pl.Expr:
    spread = pl.format(
        "{} comparable pairs of this release, {} to {}, {} of them sold, latest {}; drawn towards model and category",
        own, _whole("own_least_minor"), _whole("own_most_minor"), pl.col("own_sold"), pl.col("own_latest"),
    )  # fmt: skip
    wider = pl.format(
        "{} comparable pairs of other releases of this model, {} to {}, latest {}; drawn towards its category",
        other, _whole("other_least_minor"), _whole("other_most_minor"), pl.col("other_latest"),
    )  # fmt: skip
    return pl.when(own > 0).then(spread).when(other > 0).then(wider).otherwise(pl.lit("usual for its category"))


def _whole(column: str) -> pl.Expr:
    return (pl.col(column) / 100).round(0).cast(pl.Int64)


def worth_to(buyer: Buyer, comparables: pl.DataFrame, own_doubt: float) -> pl.DataFrame:
    """Return ``comparables`` with the buyer's own figures where they have any, less what wear takes off.

    The narrowest of the buyer's wants applies: release before model before category.

    Args:
        own_doubt: How far the buyer's own figures may be off, as a share.
    """
    worth = comparables.with_columns(
        pl.col("sound_minor", "display_minor", "parts_minor").cast(pl.Float64), own=pl.lit(False)
    )
    for key, column in (("category", "category"), ("model", "name"), ("construction", "construction_id")):
        rows = [
            (value, w.sound_minor, w.display_minor, w.parts_minor)
            for w in buyer.want
            if (value := getattr(w, key)) is not None and _narrowest(w) == key
        ]
        if not rows:
            continue
        kinds = {"want_sound": pl.Float64, "want_display": pl.Float64, "want_parts": pl.Float64}
        wants = pl.DataFrame(rows, schema={column: pl.String, **kinds}, orient="row").unique(column, keep="first")
        worth = (
            worth.join(wants, on=column, how="left", maintain_order="left")
            .with_columns(
                sound_minor=pl.coalesce("want_sound", "sound_minor"),
                display_minor=pl.coalesce("want_display", "display_minor"),
                parts_minor=pl.coalesce("want_parts", "parts_minor"),
                own=pl.col("own") | pl.col("want_sound").is_not_null(),
            )
            .drop("want_sound", "want_display", "want_parts")
        )
    return worth.with_columns(
        sound_minor=pl.col("sound_minor") * pl.col("sound_share"),
        display_minor=pl.col("display_minor") * pl.col("display_share"),
        basis=pl.when("own").then(pl.lit("the buyer's own figure")).otherwise("basis"),
        doubt=pl.when("own").then(own_doubt).otherwise("doubt"),
    )


def _narrowest(want: object) -> str:
    return next(key for key in ("construction", "model", "category") if getattr(want, key) is not None)


def worth_of(worth: pl.DataFrame, ids: list[str], construction: npt.NDArray[np.object_]) -> pl.DataFrame:
    """Return the rows of ``worth`` for every pair and candidate, N times C; 0 and '' where there is no candidate."""
    count, width = construction.shape
    names = pl.Series("construction_id", construction.ravel().tolist(), dtype=pl.String).replace("", None)
    listing = pl.Series("listing_id", ids, dtype=pl.String).gather(np.repeat(np.arange(count), width))
    keys = ["listing_id", "construction_id"]
    joined = pl.DataFrame([listing, names]).join(worth, on=keys, how="left", nulls_equal=True, maintain_order="left")
    money = pl.col("sound_minor", "display_minor", "parts_minor").fill_null(0.0)
    return joined.with_columns(money, pl.col("basis").fill_null(""), pl.col("doubt").fill_null(0.0))
