"""The same pair under another id: relisted by its seller, or copied to another marketplace."""

import polars as pl
from rapidfuzz import fuzz, process

from triage.store import Connection, append, frame

BLOCK_CAP = 60  # listings a block may hold; a larger one is a template, not a pair
STORED_FROM = 0.5

LISTINGS = """
  SELECT
    listing_id,
    source,
    lower(seller) AS seller,
    title,
    body,
    price_base_minor,
    foot_mm_lo,
    foot_mm_hi,
    first_seen,
    last_seen
  FROM listing
  WHERE kind = 'pair'
  ORDER BY listing_id
"""


def find_twins(listings: pl.DataFrame) -> pl.DataFrame:
    """Return couples of listings that are probably one pair, both ways.

    Args:
        listings: ``listing_id, source, seller, title, body, price_base_minor, foot_mm_lo, foot_mm_hi, first_seen,
            last_seen``.

    Returns:
        ``listing_id, twin_id, kind, probability, why``.
    """
    keyed = listings.with_row_index("row").with_columns(
        words=_word_key(pl.col("title")),
        opening=_word_key(pl.col("body").str.slice(0, 80)),
        size=pl.concat_str(pl.col("foot_mm_lo").round(0), pl.lit("-"), pl.col("foot_mm_hi").round(0)),
    )
    blocks = (["source", "seller", "size"], ["words", "size"], ["opening", "size"])
    couples = pl.concat([_couples(keyed, keys) for keys in blocks]).unique().sort("row", "other")
    return _judged(keyed, couples)


def _word_key(text: pl.Expr) -> pl.Expr:
    return text.str.to_lowercase().str.extract_all(r"[\p{L}\p{N}]+").list.unique().list.sort().list.join(" ")


def _couples(keyed: pl.DataFrame, keys: list[str]) -> pl.DataFrame:
    """Return the couples that share all keys; blocks beyond the cap are left out."""
    known = keyed.drop_nulls(keys).filter(pl.len().over(keys).is_between(2, BLOCK_CAP)).select("row", *keys)
    return (
        known.join(known.rename({"row": "other"}), on=keys)
        .filter(pl.col("row") < pl.col("other"))
        .select("row", "other")
    )


def _judged(keyed: pl.DataFrame, couples: pl.DataFrame) -> pl.DataFrame:
    left = keyed.select(pl.all())
    both = couples.join(left, on="row", maintain_order="left").join(
        keyed.rename({"row": "other"}), on="other", suffix="_other", maintain_order="left"
    )
    if both.is_empty():
        return pl.DataFrame(
            schema={
                "listing_id": pl.String,
                "twin_id": pl.String,
                "kind": pl.String,
                "probability": pl.Float64,
                "why": pl.String,
            }
        )
    both = both.with_columns(
        title_like=_likeness(both["words"], both["words_other"]), body_like=_likeness(both["body"], both["body_other"])
    )
    same_source = pl.col("source") == pl.col("source_other")
    same_seller = (pl.col("seller") == pl.col("seller_other")).fill_null(False)
    apart = (pl.col("last_seen") < pl.col("first_seen_other")) | (pl.col("last_seen_other") < pl.col("first_seen"))
    like = 0.6 * pl.col("title_like") + 0.4 * pl.coalesce("body_like", "title_like")
    probability = (1.0 / (1.0 + (-(like - 0.86) / 0.035).exp())).clip(0.0, 0.99).round(3)
    judged = both.with_columns(
        kind=pl.when(same_source).then(pl.lit("relist")).otherwise(pl.lit("copy")), probability=probability
    ).filter(pl.when(same_source).then(same_seller & apart).otherwise(True) & (pl.col("probability") >= STORED_FROM))
    judged = judged.with_columns(
        why=pl.format(
            "{}, same size, title {} % alike{}",
            pl.when(same_source)
            .then(pl.lit("same seller, one after the other"))
            .otherwise(pl.lit("on two marketplaces")),
            (pl.col("title_like") * 100).round(0).cast(pl.Int32),
            pl.when(pl.col("body_like").is_not_null())
            .then(pl.format(", text {} % alike", (pl.col("body_like").fill_null(0) * 100).round(0).cast(pl.Int32)))
            .otherwise(pl.lit("")),
        )
    )
    one = judged.select("listing_id", twin_id="listing_id_other", kind="kind", probability="probability", why="why")
    back = judged.select(
        listing_id="listing_id_other", twin_id="listing_id", kind="kind", probability="probability", why="why"
    )
    return pl.concat([one, back]).sort("listing_id", "twin_id")


def _likeness(one: pl.Series, other: pl.Series) -> pl.Series:
    """Return how alike two columns of texts are, 0 to 1, NULL where one is missing."""
    scores = process.cpdist(
        one.fill_null("").to_list(), other.fill_null("").to_list(), scorer=fuzz.token_sort_ratio, workers=2
    )
    known = one.is_not_null() & other.is_not_null()
    return pl.select(pl.when(known).then(pl.Series(scores, dtype=pl.Float64) / 100)).to_series()


def write_twins(store: Connection) -> None:
    """Judge every listing of the store anew and write the couples."""
    store.execute("DELETE FROM twin")
    append(store, "twin", find_twins(frame(store, LISTINGS)))
