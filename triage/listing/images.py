"""File names of photos: what is left of an address when the marketplace's own part is taken off."""

import polars as pl

MOST_NAMES = 24  # more photos of one listing say nothing new
FILE = r"(?i)\.(?:jpe?g|png|webp|gif|heic|heif|avif|bmp|tiff?)$"
# What marketplaces add for a size of the picture: photo_800x600, photo-thumb, photo@2x, photo_640w.
SIZE_SUFFIX = (
    r"(?:[-_.@](?:\d{2,4}x\d{2,4}|\d{2,4}(?:px|[wh])|[1-4]x"
    r"|thumb(?:nail)?|small|medium|large|orig(?:inal)?|scaled|preview|full))+$"
)


def image_names(cells: pl.DataFrame) -> pl.DataFrame:
    """Return the file names of each listing's photos.

    Args:
        cells: ``row, images``: addresses or file names, parted by blanks, commas or bars, or as a JSON list.

    Returns:
        ``row, image_names`` of the rows with at least one: lower case, without address, query, size suffix and
        extension, each once, in order, joined by blanks.
    """
    part = pl.col("part")
    return (
        cells.drop_nulls("images")
        .select("row", part=pl.col("images").str.replace_all("\\/", "/", literal=True).str.to_lowercase())
        .select("row", part=part.str.extract_all(r"[^\s\"'|;,\[\]{}<>\\]+"))
        .explode("part")
        .with_columns(path=part.str.replace(r"[?#].*$", "").str.strip_chars_end("/"))
        .filter(part.str.contains("://", literal=True) | pl.col("path").str.contains(FILE))
        .select("row", name=pl.col("path").str.extract(r"([^/]+)$").str.replace(FILE, "").str.replace(SIZE_SUFFIX, ""))
        .filter(pl.col("name") != "")
        .group_by("row")
        .agg(pl.col("name").unique().sort().head(MOST_NAMES))
        .select("row", image_names=pl.col("name").list.join(" "))
    )
