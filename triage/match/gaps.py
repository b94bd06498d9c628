"""What the construction table lacks: the makers and models most often offered that it could not name."""

import csv
import io

import polars as pl

from triage.catalogue.constructions import PARTS, Constructions
from triage.catalogue.matching import MatchWeights
from triage.match.codes import without_codes
from triage.match.names import QUALIFIERS, recognised, split_words
from triage.match.repair import repairs
from triage.match.table import Index, build_index
from triage.match.text import BREAK, plain, without_sizes
from triage.store import Connection, frame

UNNAMED = """
SELECT
  l.listing_id,
  l.title,
  l.stated_year_lo,
  l.stated_year_hi
FROM listing AS l
JOIN match AS m ON m.listing_id = l.listing_id AND m.place = 1
WHERE l.kind = 'pair' AND m.level IN ('generic', 'none')
ORDER BY l.listing_id
"""
COLUMNS = (
    "model_id", "maker", "model", "aliases", "style_numbers", "edition", "made_from", "made_to", "style_year",
    "colourway", "category", *PARTS, "life_factor", "note", "source",
)  # fmt: skip
NEAR = 3  # words between a maker and its model at most
FEW = 2  # listings a gap needs to be worth a row


def gaps(store: Connection, constructions: Constructions, match: MatchWeights, most: int = 20) -> pl.DataFrame:
    """Return the makers and models the table lacks, most often offered first.

    Args:
        store: Needs ``listing`` and ``match``.
        constructions: The table.
        match: Words.
        most: Rows at most.

    Returns:
        listings (count), maker, model ('' where only the maker can be told), year_lo, year_hi (as stated, NULL
        where none is), example (a title), row (a line for a construction table, unknown parts as '?').
    """
    return named_gaps(frame(store, UNNAMED), constructions, match).head(most)


def named_gaps(unnamed: pl.DataFrame, constructions: Constructions, match: MatchWeights) -> pl.DataFrame:
    """Return the gaps of listings that no release was found for.

    Args:
        unnamed: listing_id, title, stated_year_lo, stated_year_hi.
        constructions: The table.
        match: Words.
    """
    index = build_index(constructions, match)
    items = unnamed.sort("listing_id").with_row_index("item")
    text = without_sizes(without_codes(plain(pl.col("title")), index.prefixes), match.words)
    words = recognised(split_words(items.select("item", text=text), index), index)
    found = items.join(_maker_and_model(_respelt(words, index), index), on="item")
    grouped = found.group_by("maker", "model").agg(
        listings=pl.len(),
        year_lo=pl.col("stated_year_lo").min(),
        year_hi=pl.col("stated_year_hi").max(),
        example=pl.col("title").sort_by("listing_id").first(),
    )
    many = grouped.filter(pl.col("listings") >= FEW)
    ordered = many.sort(["listings", "maker", "model"], descending=[True, False, False])
    lines = [_line(row) for row in ordered.select("maker", "model", "year_lo", "example").iter_rows(named=True)]
    columns = ["listings", "maker", "model", "year_lo", "year_hi", "example"]
    return ordered.select(columns).with_columns(row=pl.Series(lines, dtype=pl.String))


def _respelt(words: pl.DataFrame, index: Index) -> pl.DataFrame:
    """Mark the words no list knows as ``strange``, rare spellings read as the frequent ones they are a slip from."""
    letters = pl.col("word").str.contains(r"^\p{Latin}{4,}$|^[\p{Katakana}ー]{3,}$")
    strange = words.with_columns(strange=letters & pl.col("kind").is_null() & ~pl.col("word").is_in(index.common))
    counts = strange.filter("strange").group_by("word").len()
    frequent = counts.filter(pl.col("len") > FEW).select("word", token="word")
    read = repairs(counts.filter(pl.col("len") <= FEW)["word"], frequent)
    joined = strange.join(read.select("word", "target"), on="word", how="left", maintain_order="left")
    return joined.with_columns(word=pl.coalesce("target", "word")).drop("target")


def _maker_and_model(words: pl.DataFrame, index: Index) -> pl.DataFrame:
    """Return item, maker, model: a known maker or the first strange word, and the strange word soon after it."""
    maker = (pl.col("kind") == "maker").fill_null(False)
    known = (
        words.filter(maker)
        .group_by("item", maintain_order=True)
        .agg(maker=pl.col("token").first(), at=pl.col("place").first())
    )
    strange = words.filter("strange")
    first = (
        strange.join(known, on="item", how="anti")
        .group_by("item", maintain_order=True)
        .agg(maker=pl.col("word").first().str.to_titlecase(), at=pl.col("place").first())
    )
    makers = pl.concat([known, first])
    after = strange.join(makers, on="item").filter(
        (pl.col("place") > pl.col("at")) & (pl.col("place") <= pl.col("at") + 2 * NEAR)
    )
    model = (
        after.sort("item", "place")
        .group_by("item", maintain_order=True)
        .agg(model=pl.col("word").first(), model_at=pl.col("place").first())
    )
    return (
        makers.join(model, on="item", how="left")
        .join(_tails(words, model), on="item", how="left")
        .select(
            "item",
            "maker",
            model=pl.concat_str(pl.col("model", "tail"), separator=" ", ignore_nulls=True).str.to_titlecase(),
        )
    )


def _tails(words: pl.DataFrame, model: pl.DataFrame) -> pl.DataFrame:
    """Return item, tail: the number or qualifier that follows the model's name at once."""
    part = pl.col("kind").is_in([*QUALIFIERS, "number"]) | pl.col("word").str.contains(r"^\d{1,3}$")
    following = words.filter(pl.col("word") != BREAK).join(model, on="item")
    tail = following.filter((pl.col("place") == pl.col("model_at") + 2) & part.fill_null(False))
    return tail.select("item", tail="word")


def _line(gap: dict[str, object]) -> str:
    """Return a gap as a line of a construction table, for the buyer to complete."""
    row: dict[str, object] = dict.fromkeys(COLUMNS, "")
    row.update({part: "?" for part in PARTS})
    row.update(maker=gap["maker"], model=gap["model"], life_factor=1, note=f"offered as: {gap['example']}")
    row["style_year"] = gap["year_lo"] or ""
    text = io.StringIO()
    csv.DictWriter(text, COLUMNS, lineterminator="").writerow(row)
    return text.getvalue()
