"""Where a seller writes from: the region of a country, where the words leave no doubt.

A part of the cell between commas or brackets must be a region's name, or a city's, to the letter. Without a country
only names that mean one place in the world count, or a city beside the letters of its own region ("Portland, OR").
Whatever points to two regions is not stated.
"""

from collections.abc import Iterable, Mapping

import polars as pl

from triage.catalogue.places import GRADES, Region

SEPARATOR = r"[,;/|()\[\]、・–—\n]|\s-\s"
# "Sydney NSW 2000": a town and the letters of its region without a comma.
TOWN_AND_LETTERS = r"^.+ (\p{L}{2,3})$"
TOWN = r"^(.+) \p{L}{2,3}$"
# A Japanese address begins with its prefecture, without and with the word for it.
PREFECTURE, PREFECTURE_WORD = r"^(\p{Han}{2,3})[都府県]", r"^(\p{Han}{2,3}[都道府県])"
CODE = "code"


def folded_places(texts: Iterable[str]) -> list[str]:
    """Return names as they are compared: lower case, without accents, punctuation and house or post numbers."""
    return pl.select(_folded(pl.lit(pl.Series(list(texts), dtype=pl.String)))).to_series().to_list()


def _folded(text: pl.Expr) -> pl.Expr:
    return (
        text.str.normalize("NFKC")
        .str.to_lowercase()
        .str.normalize("NFD")
        .str.replace_all("[\u0300-\u036f]", "")
        .str.normalize("NFC")
        .str.replace_all(r"['’.]", "")
        .str.replace_all(r"[^\p{L}\p{M}]+", " ")
        .str.strip_chars(" ")
    )


def word_table(regions: Mapping[str, Region]) -> pl.DataFrame:
    """Return every word and letter code: word, grade, home (country) and region."""
    rows = [
        (word, grade, region.country, region.region)
        for region in regions.values()
        for grade, words in (*((grade, getattr(region, grade)) for grade in GRADES), (CODE, region.codes))
        for word in words
    ]
    kinds = dict.fromkeys(("word", "grade", "home", "region"), pl.String)
    return pl.DataFrame(rows, schema=kinds, orient="row")


def with_regions(frame: pl.DataFrame, words: pl.DataFrame) -> pl.DataFrame:
    """Add ``region``, the ISO 3166-2 code or NULL; where no country was read it is that of a region.

    Args:
        frame: ``ships_from`` as written and ``country`` as read, NULL where not stated.
        words: As ``word_table`` returns it.
    """
    cells = frame.select("ships_from", "country").unique().filter(pl.col("ships_from").is_not_null())
    read = read_regions(cells, words)
    found = frame.join(read, on=["ships_from", "country"], how="left", nulls_equal=True, maintain_order="left")
    return found.with_columns(country=pl.coalesce("country", pl.col("region").str.slice(0, 2)))


def read_regions(cells: pl.DataFrame, words: pl.DataFrame) -> pl.DataFrame:
    """Return ``ships_from, country, region`` of the cells whose region is beyond doubt.

    Args:
        cells: ``ships_from, country``, each couple once.
        words: As ``word_table`` returns it.
    """
    numbered = cells.with_row_index("cell")
    parts = (
        numbered.with_columns(part=pl.col("ships_from").str.replace_all(SEPARATOR, "\n").str.split("\n"))
        .explode("part")
        .with_columns(_folded(pl.col("part")))
    )
    part = pl.col("part")
    variants = (part, *(part.str.extract(one) for one in (TOWN_AND_LETTERS, TOWN, PREFECTURE, PREFECTURE_WORD)))
    spelled = pl.concat([parts.with_columns(word=variant) for variant in variants]).filter(pl.col("word") != "")
    # Letters at the end of a part, and the town before them, count together only.
    loose = pl.col("word").ne(part) & ~pl.col("word").str.contains(r"\p{Han}")
    hits = spelled.with_columns(loose=loose).join(words, on="word")
    hits = hits.filter(pl.col("country").is_null() | (pl.col("country") == pl.col("home")))
    both = pl.col("grade").eq(CODE).any().over("cell", "region") & pl.col("grade").ne(CODE).any().over("cell", "region")
    known = pl.col("country").is_not_null() & (pl.col("grade") != "beside") & ~pl.col("loose")
    alone = (pl.col("grade") == "only") & ~pl.col("loose")
    sure = hits.filter(both | known | alone).group_by("cell").agg(pl.col("region").unique())
    single = sure.filter(pl.col("region").list.len() == 1).with_columns(pl.col("region").list.first())
    return numbered.join(single, on="cell").select("ships_from", "country", "region")
