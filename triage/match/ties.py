"""Releases a text cannot tell apart: what they have in common, and what would tell them apart."""

import polars as pl

from triage.catalogue.constructions import PARTS

IN_PLAY = 0.05  # a release less likely than this is no part of a tie
SAME = "the same in all"
APART = "told apart by"


def tied(kept: pl.DataFrame) -> pl.DataFrame:
    """Return the releases in play of texts whose release is open: item, row, rank, two at least an item.

    Args:
        kept: item, row, rank, probability, accepted of the releases kept.
    """
    playing = kept.filter(pl.col("probability") >= IN_PLAY).select("item", "row", "rank", "accepted")
    open_items = ~pl.col("accepted").any().over("item") & (pl.len().over("item") > 1)
    return playing.filter(open_items)


def common_parts(ties: pl.DataFrame, releases: pl.DataFrame) -> pl.DataFrame:
    """Return item, part, materials for the parts that are made of the same in every release in play.

    Such a part is settled although the release is not; '?' is no agreement.

    Args:
        ties: item, row.
        releases: row and the eight parts.
    """
    cells = ties.join(releases.select("row", *PARTS), on="row").unpivot(
        PARTS, index="item", variable_name="part", value_name="materials"
    )
    one = cells.group_by("item", "part").agg(pl.col("materials").unique()).filter(pl.col("materials").list.len() == 1)
    single = one.select("item", "part", pl.col("materials").list.first())
    return single.filter(pl.col("materials").fill_null("?") != "?").sort("item", "part")


def tie_evidence(kept: pl.DataFrame, releases: pl.DataFrame) -> pl.DataFrame:
    """Return what a tie's likeliest release has in common with the others, and what to ask the seller for.

    The question is for the style number where every release in play has one of its own; else for the year on
    the label where they were made at other times; else for the first part that differs.

    Args:
        kept: As for ``tied``.
        releases: row, style_numbers, made_from, made_to and the eight parts.

    Returns:
        item, row, field, table_value.
    """
    ties = tied(kept)
    first = ties.filter(pl.col("rank") == 0).select("item", "row")
    shared = common_parts(ties, releases).group_by("item", maintain_order=True).agg(pl.col("part"))
    same = shared.select("item", field=pl.lit(SAME), table_value=pl.col("part").list.join(", "))
    both = pl.concat([same, _question(ties, releases)])
    return first.join(both, on="item").sort("item", "field")


def _question(ties: pl.DataFrame, releases: pl.DataFrame) -> pl.DataFrame:
    asked = ties.sort("item", "rank").join(releases, on="row", how="left", maintain_order="left")
    made = pl.concat_str(
        pl.col("made_from").floor().cast(pl.Int64), pl.lit(" to "), (pl.col("made_to").ceil() - 1).cast(pl.Int64)
    )
    lists = asked.select(
        "item",
        number=pl.col("style_numbers").list.first(),
        made=made,
        midsole="midsole",
        bond="bond",
        outsole="outsole",
    )
    ways = {
        "number": "style number on the size label",
        "made": "year of make on the label",
        "midsole": "midsole",
        "bond": "how the sole is joined",
        "outsole": "outsole",
    }
    known = lists.group_by("item", maintain_order=True).agg(*ways)
    # Every release of the tie has one, and no two the same.
    apart = {way: pl.col(way).list.drop_nulls().list.n_unique() == pl.col(way).list.len() for way in ways}
    known = known.select("item", *(pl.when(apart[way]).then(pl.col(way).list.join(", ")).alias(way) for way in ways))
    texts = [pl.concat_str(pl.lit(f"{name}: "), pl.col(way)) for way, name in ways.items()]
    question = known.select("item", field=pl.lit(APART), table_value=pl.coalesce(texts))
    return question.drop_nulls("table_value")
