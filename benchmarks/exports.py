"""Realistic exports of any size, seeded: two marketplaces' files and a construction table to match them against.

    python -m benchmarks.exports FOLDER [LISTINGS] [RELEASES]

Titles are those of ``match_world``: words left out, out of order, with slips and decoys. Texts are sentences of the
demo's own listings in six languages, none to five of them, so that they repeat as sellers' texts do. A twelfth of the
pairs is sold or gone and comes back later under another id, cheaper. Materials are those of the demo's releases of the
same category.
"""

import sys
from pathlib import Path

import numpy as np
import polars as pl

from benchmarks.match_world import make_world
from triage.observation.sentence import sentences

ROOT = Path(__file__).resolve().parents[1]
PARTS = ("midsole", "outsole", "cushion", "bond", "trim", "coating", "upper", "lining")
SEED = 20261125
RELISTED = 1 / 12
LANGUAGES = {"en": 0.5, "de": 0.2, "fr": 0.08, "it": 0.08, "es": 0.06, "ja": 0.08}
CONDITIONS = ["new with box", "used", "used", "used", "worn", "like new", "deadstock", ""]


def write_world(folder: Path, listings: int, releases: int) -> None:
    """Write ``folder/exports/*.csv`` and ``folder/constructions.csv``."""
    (folder / "exports").mkdir(parents=True, exist_ok=True)
    fresh = round(listings / (1 + RELISTED))
    world = make_world(fresh, releases, SEED)
    write_constructions(folder / "constructions.csv", world.constructions.table)
    rng = np.random.default_rng(SEED)
    first = offered(world.listings["title"], rng)
    again = relisted(first, listings - fresh, rng)
    english = pl.concat([first, again]).with_row_index("n")
    for name, rows, separator in (
        ("harbour_auction.csv", english.filter(pl.col("n") % 2 == 0), ","),
        ("attic_board.csv", english.filter(pl.col("n") % 2 == 1), ";"),
    ):
        write = auction_cells if name.startswith("harbour") else board_cells
        encoding = "utf-8" if separator == "," else "cp1252"
        text = write(rows).write_csv(separator=separator)
        (folder / "exports" / name).write_bytes(text.encode(encoding, "replace"))


def offered(titles: pl.Series, rng: np.random.Generator) -> pl.DataFrame:
    """Return one listing a title: who sells it, in which words, at which price."""
    count = len(titles)
    language = rng.choice(list(LANGUAGES), count, p=list(LANGUAGES.values()))
    pools = sentence_pools()
    body = pl.Series("body", [""] * count)
    for one in LANGUAGES:
        rows = np.flatnonzero(language == one)
        picks = pools[one][rng.integers(0, len(pools[one]), (len(rows), 5))]
        long = rng.choice(6, len(rows), p=[0.1, 0.25, 0.25, 0.2, 0.12, 0.08])
        texts = pl.DataFrame({str(n): pl.Series(np.where(long > n, picks[:, n], None).tolist()) for n in range(5)})
        joined = texts.select(pl.concat_str(pl.all(), separator=" ", ignore_nulls=True)).to_series()
        body = body.scatter(rows, joined)
    return pl.DataFrame(
        {
            "title": titles,
            "body": body,
            "language": language,
            # A few dealers with hundreds, most with one or two: of a million the largest has some two thousand.
            "seller": "s" + pl.Series((rng.random(count) ** 2 * max(10, count // 4)).astype(np.int64)).cast(pl.String),
            "price": np.round(rng.lognormal(4.2, 0.7, count)),
            "postage": np.where(rng.random(count) < 0.8, rng.integers(5, 25, count), 0),
            "size": rng.integers(72, 96, count) / 2,
            "condition": np.array(CONDITIONS)[rng.integers(0, len(CONDITIONS), count)],
            "photos": rng.integers(1, 12, count),
            "day": rng.integers(1, 25, count),
            "ended": rng.random(count) < 0.15,
        }
    )


def relisted(first: pl.DataFrame, count: int, rng: np.random.Generator) -> pl.DataFrame:
    """Return pairs that ended and are offered again, later and cheaper."""
    ended = first.filter("ended")
    if not ended.height:
        return first.clear()
    picked = ended[rng.integers(0, ended.height, count)]
    lower = pl.Series(rng.uniform(0.7, 1.0, count))
    return picked.with_columns(price=(pl.col("price") * lower).round(0), day=pl.lit(25), ended=pl.lit(False)).cast(
        dict(first.schema)
    )


def sentence_pools() -> dict[str, np.ndarray]:
    """Return the sentences of the demo's listings by language."""
    listings = pl.read_csv(ROOT / "tests/observation/demo_listings.csv").drop_nulls("body")
    rows = listings.with_row_index("tid").select("tid", hint="language", text="body")
    found = sentences(rows).with_columns(pl.col("text").str.strip_chars())
    return {
        language: found.filter(pl.col("hint") == language)["text"].unique(maintain_order=True).to_numpy()
        for language in LANGUAGES
    }


def auction_cells(rows: pl.DataFrame) -> pl.DataFrame:
    """Return listings as the auction's export has them."""
    return rows.select(
        Item=pl.format("H{}", pl.col("n")), Title="title", Description="body", Price=pl.format("{}0", "price"),
        Currency=pl.lit("USD"), Sale=pl.lit("fixed price"), Bids=pl.lit(""), Postage=pl.format("{}.00", "postage"),
        Size=pl.format("EU {}", "size").str.replace(".0", "", literal=True), Condition="condition", Seller="seller",
        **{"Seller type": pl.lit("private"), "Ships from": pl.lit("US")}, Photos="photos",
        Listed=pl.format("11/{}/2026", pl.col("day").cast(pl.String).str.zfill(2)),
        State=pl.when("ended").then(pl.lit("ended")).otherwise(pl.lit("open")),
        Link=pl.format("https://harbour-auction.example/item/H{}", "n"),
    )  # fmt: skip


def board_cells(rows: pl.DataFrame) -> pl.DataFrame:
    """Return listings as the board's export has them."""
    comma = pl.format("{},00", pl.col("price").cast(pl.Int64))
    columns = {
        "Anzeigen-Nr.": pl.format("{}", pl.col("n") + 3_000_000),
        "Titel": "title", "Beschreibung": "body", "Preis": comma,
        "Währung": pl.lit("EUR"), "Preisart": pl.lit("Festpreis"), "Versand": pl.format("{},00", "postage"),
        "Größe": pl.col("size").cast(pl.String).str.strip_suffix(".0").str.replace(".", ",", literal=True),
        "Zustand": "condition", "Rubrik": pl.lit("Sportschuhe"), "Anbieter": "seller", "Anbieterart": pl.lit("privat"),
        "Land": pl.lit("DE"), "Bilder": "photos",
        "Eingestellt am": pl.format("{}.11.2026", pl.col("day").cast(pl.String).str.zfill(2)),
        "Status": pl.when("ended").then(pl.lit("beendet")).otherwise(pl.lit("aktiv")),
        "Link": pl.format("https://attic-board.example/anzeige/{}", pl.col("n") + 3_000_000),
    }  # fmt: skip
    return rows.select(**columns)


def write_constructions(path: Path, table: pl.DataFrame) -> None:
    """Write releases with the materials of the demo's releases of their category."""
    demo = pl.read_csv(ROOT / "rules/constructions/demo.csv", infer_schema=False)
    rng = np.random.default_rng(SEED)
    pools = {name: rows.select(PARTS) for (name,), rows in demo.group_by(["category"], maintain_order=True)}
    every = demo.select(PARTS)
    made = [
        pools.get(category, every)[int(rng.integers(pools.get(category, every).height))]
        for category in table["category"].to_list()
    ]

    def month(column: str) -> pl.Expr:
        year = pl.col(column).floor()
        return pl.format(
            "{}-{}", year.cast(pl.Int64), ((pl.col(column) - year) * 12 + 1).cast(pl.Int64).cast(pl.String).str.zfill(2)
        )

    table.drop(PARTS).hstack(pl.concat(made).get_columns()).select(
        "model_id", "maker", "model", pl.col("style_numbers").list.join(";"), "edition",
        month("made_from").alias("made_from"), month("made_to").alias("made_to"), "style_year", "colourway",
        "category", *PARTS,
        source=pl.lit("invented"),
    ).write_csv(path)  # fmt: skip


if __name__ == "__main__":
    write_world(
        Path(sys.argv[1]),
        int(sys.argv[2]) if len(sys.argv) > 2 else 10_000,
        int(sys.argv[3]) if len(sys.argv) > 3 else 5_000,
    )
