"""The year that words carry: resoled 2019, bought in 1994, a label that says 06/94."""

import polars as pl

from triage.catalogue.signs import YEAR
from triage.observation.lexicon import FAR, Lexicon

LABEL_DATE = r"(?:^|[^\d/.])(?:0?[1-9]|1[0-2])[/.-](\d{4}|\d{2})(?:[^\d/]|$)"
LABEL_YEAR = r"(?:^|\D)(\d{2})年"
CENTURY = 40  # two digits below it are of this century: shoes are 10 to 40 years old


def with_years(read: pl.DataFrame, words: pl.DataFrame, once: pl.DataFrame, lexicon: Lexicon) -> pl.DataFrame:
    """Add ``value``: the nearest year between the same commas, four digits; NULL where none is near or meant.

    Source:
        Month and year on a label ("06/94") are common practice; two digits read as 1940 to 2039.
    """
    dated = lexicon.polarity.filter("dated")["sign"]
    keyed = read.with_row_index("rid")
    meant = keyed.filter(pl.col("sign").is_in(dated.implode())).select("rid", "sid", "start", "end", "n_comma")
    years = words.filter((pl.col("kind") == "thing") & (pl.col("key") == YEAR))
    near = meant.join(
        years.select("sid", "n_comma", year="state", at="start", upto="end"), on=["sid", "n_comma"]
    ).with_columns(far=pl.max_horizontal(pl.col("at") - pl.col("end"), pl.col("start") - pl.col("upto")))
    near = near.filter(pl.col("far") <= FAR).sort("rid", "far", "at").unique("rid", keep="first", maintain_order=True)
    label = meant.join(once.select("sid", "text"), on="sid").select("rid", short=_label_year(pl.col("text")))
    found = meant.join(near.select("rid", "year"), on="rid", how="left").join(label, on="rid", how="left")
    found = found.select("rid", value=pl.coalesce("year", "short"))
    return keyed.join(found, on="rid", how="left", maintain_order="left").drop("rid")


def _label_year(text: pl.Expr) -> pl.Expr:
    short = pl.coalesce(text.str.extract(LABEL_DATE), text.str.extract(LABEL_YEAR))
    number = short.str.to_integer(strict=False)
    full = pl.when(number >= 100).then(number).when(number < CENTURY).then(number + 2000).otherwise(number + 1900)
    return full.cast(pl.String)
