"""Sizes as written to the foot length a pair fits: an interval in millimetres, wide where the words leave doubt."""

import polars as pl

from triage.catalogue.words import SizeWords
from triage.listing.phrases import whole
from triage.listing.size_words import ANY, MARK, NUMBER, WIDE_OR_WOMEN, plain_size, title_sizes

REFUSALS = {
    "no-size": "a number in a size system",
    "size-out-of-range": "a size that the system has",
    "size-without-system": "a size system; this number fits feet of very different length",
    "several-sizes": "one size",
}
# A span of sizes this wide (44/45, 42 2/3 and its neighbour) is one pair between sizes; more are several pairs.
NEIGHBOURS = 1.0
WIDEST = 45.0  # mm; systems that disagree by more than this describe no single pair


def read_sizes(cells: pl.DataFrame, words: SizeWords) -> pl.DataFrame:
    """Return size text, systems and foot length of each row; the title speaks where there is no size cell.

    Args:
        cells: ``row, title, size, size_system, ships_from, set_country, language``, text or NULL.
        words: Size systems and the words around sizes.

    Returns:
        ``row, size_text, size_system`` (as stated, joined by /), ``foot_mm_lo, foot_mm_hi`` (NULL when not known),
        ``refusal`` (a key of ``REFUSALS``), ``size_count`` (different sizes named in the cell).
    """
    cell = pl.concat_str(pl.col("size_system").fill_null(""), pl.lit(" "), pl.col("size"))
    sized = cells.filter(pl.col("size").is_not_null()).select("row", cell=cell)
    forms = sized.select("cell").unique(maintain_order=True)
    forms = forms.with_columns(plain=plain_size(pl.col("cell"), words, in_cell=True))
    titled = title_sizes(cells.filter(pl.col("size").is_null()).select("row", "title"), words)
    plain = pl.concat([sized.join(forms, on="cell").select("row", "plain"), titled])
    said = cells.join(plain, on="row", how="left", maintain_order="left").with_columns(
        country=pl.coalesce("ships_from", "set_country"),
        japanese=(pl.col("language") == "ja").fill_null(False),
        women=_mentions(words.women.words),
        youth=_mentions(words.youth.words),
    )
    keys = ["plain", "country", "japanese", "women", "youth"]
    forms = said.filter(pl.col("plain").is_not_null()).select(keys).unique(maintain_order=True).with_row_index("form")
    read = _read_forms(forms, words)
    in_title = pl.when(pl.col("lo").is_not_null()).then(
        pl.col("plain")
        .str.replace_all("@S=|@", "")
        .str.replace_all("=", " ", literal=True)
        .str.replace_all(r"\s+", " ")
    )
    return said.join(read, on=keys, how="left", nulls_equal=True, maintain_order="left").select(
        "row",
        size_text=pl.coalesce("size", in_title.str.strip_chars()),
        size_system="systems",
        foot_mm_lo="lo",
        foot_mm_hi="hi",
        refusal=pl.when(pl.col("size").is_not_null()).then("refusal"),
        size_count=pl.col("count").fill_null(0),
    )


def _mentions(listed: list[str]) -> pl.Expr:
    text = pl.concat_str(pl.col("title").fill_null(""), pl.lit(" "), pl.col("size").fill_null("")).str.to_lowercase()
    return text.str.contains(whole(listed))


def _read_forms(forms: pl.DataFrame, words: SizeWords) -> pl.DataFrame:
    """Read each different size text once."""
    mentions = _mention_table(forms, words)
    stated = mentions.filter(pl.col("system").is_not_null())
    bare = _bare(mentions.filter(pl.col("system").is_null()), forms, words).join(stated, on="form", how="anti")
    spans = _spans(
        pl.concat(
            [stated.select("form", "place", "system", "number"), bare.select("form", "place", "system", "number")]
        ),
        words,
    )
    fit = spans.filter("in_range")
    merged = _merge(fit, stated)
    refusal = (
        pl.when(pl.col("lo").is_not_null()).then(None)
        .when(pl.col("several")).then(pl.lit("several-sizes"))
        .when(pl.col("beyond")).then(pl.lit("size-out-of-range"))
        .when(pl.col("unplaced")).then(pl.lit("size-without-system"))
        .otherwise(pl.lit("no-size"))
    )  # fmt: skip
    beyond = spans.group_by("form").agg(beyond=(~pl.col("in_range")).any())
    unplaced = mentions.select("form").unique().with_columns(unplaced=pl.lit(True))
    return (
        forms.join(merged, on="form", how="left")
        .join(beyond, on="form", how="left")
        .join(unplaced, on="form", how="left")
        .with_columns(pl.col("several", "beyond", "unplaced").fill_null(False))
        .with_columns(refusal=refusal)
        .drop("form")
    )


def _mention_table(forms: pl.DataFrame, words: SizeWords) -> pl.DataFrame:
    """Return every number of a plain size text with the system it is bound to."""
    table = (
        forms.select(
            "form", "country", "women", "youth", mention=pl.col("plain").str.extract_all(f"(?:{MARK}=)?{NUMBER}")
        )
        .explode("mention")
        .filter(pl.col("mention").is_not_null())
        .with_columns(
            place=pl.int_range(pl.len()).over("form"),
            system=pl.col("mention").str.extract(r"@([A-Z/-]+)="),
            number=pl.col("mention").str.extract(rf"({NUMBER})$").cast(pl.Float64, strict=False),
        )
    )
    american = pl.col("country").is_in(words.american.words).fill_null(False)
    system = (
        pl.when((pl.col("system") == WIDE_OR_WOMEN) & american).then(pl.lit("US/US-W"))
        .when(pl.col("system").is_in([ANY, WIDE_OR_WOMEN])).then(None).otherwise("system")
    )  # fmt: skip
    table = table.with_columns(system=system)
    neighbour = (pl.col("number") - pl.col("number").shift(1).over("form")).abs() <= NEIGHBOURS
    system = pl.coalesce("system", pl.when(neighbour).then(pl.col("system").shift(1).over("form")))
    return table.with_columns(system=_for_whom(system, words))


def _for_whom(system: pl.Expr, words: SizeWords) -> pl.Expr:
    """Return US sizes as women's or youth sizes where the words say for whom they are."""
    young = pl.col("youth") & (pl.col("number") <= words.systems["US-Y"].largest)
    said = pl.when(young).then(pl.lit("US-Y")).when("women").then(pl.lit("US-W")).otherwise(pl.lit("US"))
    return pl.when(system == "US").then(said).otherwise(system)


def _bare(mentions: pl.DataFrame, forms: pl.DataFrame, words: SizeWords) -> pl.DataFrame:
    """Return numbers of no stated system, once for each system they can be of."""
    table = mentions.join(forms.select("form", "japanese"), on="form", how="left")
    place = pl.when("japanese").then(pl.lit("JP")).otherwise(pl.col("country").fill_null("?"))
    choice = pl.coalesce(
        [
            pl.when(
                pl.col("number").is_between(rule.lowest, rule.highest)
                & (pl.lit("*" in rule.countries) | place.is_in(rule.countries))
            ).then(pl.lit("/".join(rule.systems)))
            for rule in words.bare
        ]
    )
    return (
        table.with_columns(system=choice.str.split("/"))
        .filter(pl.col("system").is_not_null())
        .explode("system")
        .with_columns(system=_for_whom(pl.col("system"), words))
    )


def _spans(mentions: pl.DataFrame, words: SizeWords) -> pl.DataFrame:
    """Add the foot length each mention fits."""
    table = pl.DataFrame(
        [(name, s.step_mm, s.offset_lo, s.offset_hi, s.smallest, s.largest) for name, s in words.systems.items()],
        schema=["system", "step_mm", "offset_lo", "offset_hi", "smallest", "largest"],
        orient="row",
    )
    return mentions.join(table, on="system", how="left", maintain_order="left").with_columns(
        lo=((pl.col("number") + pl.col("offset_lo")) * pl.col("step_mm")).round(1),
        hi=((pl.col("number") + pl.col("offset_hi")) * pl.col("step_mm")).round(1),
        in_range=pl.col("number").is_between(pl.col("smallest"), pl.col("largest")),
    )


def _merge(spans: pl.DataFrame, stated: pl.DataFrame) -> pl.DataFrame:
    """Return one interval a form: systems of one size overlap, so they are cut; a doubt of systems is joined."""
    by_system = spans.group_by("form", "system", maintain_order=True).agg(
        place=pl.col("place").min(),
        lo=pl.col("lo").min(),
        hi=pl.col("hi").max(),
        spread=pl.col("number").max() - pl.col("number").min(),
        sizes=pl.col("number").n_unique(),
    )
    is_stated = stated.select("form", "system").unique().with_columns(stated=pl.lit(True))
    joined = by_system.join(is_stated, on=["form", "system"], how="left").sort("form", "place", "system")
    far = pl.col("spread").max() > pl.when(pl.col("system").first() == "MONDO").then(5.0).otherwise(NEIGHBOURS) + 0.01
    merged = joined.group_by("form", maintain_order=True).agg(
        systems=pl.col("system").filter(pl.col("stated").fill_null(False)).str.join("/"),
        inner_lo=pl.col("lo").max(),
        inner_hi=pl.col("hi").min(),
        outer_lo=pl.col("lo").min(),
        outer_hi=pl.col("hi").max(),
        any_stated=pl.col("stated").fill_null(False).any(),
        several=far,
        count=pl.col("sizes").max(),
    )
    agree = pl.col("any_stated") & (pl.col("inner_lo") < pl.col("inner_hi"))
    wide = (pl.col("outer_hi") - pl.col("outer_lo") > WIDEST) & ~agree
    known = ~pl.col("several") & ~wide
    return merged.select(
        "form",
        systems=pl.when(pl.col("systems") != "").then("systems"),
        lo=pl.when(known).then(pl.when(agree).then("inner_lo").otherwise("outer_lo")),
        hi=pl.when(known).then(pl.when(agree).then("inner_hi").otherwise("outer_hi")),
        several="several",
        count="count",
    )
