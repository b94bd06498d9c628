"""A synthetic night of listings with planted relists and copies, and what stage 2 needs for it.

    python benchmarks/listing_night.py [ROWS]

Prints seconds, peak memory, and recall and precision of the relists. Everything is invented and seeded.
"""

import json
import logging
import resource
import sys
import time
from datetime import date
from pathlib import Path

import numpy as np
import polars as pl

from triage.catalogue.words import load_words
from triage.listing.cells import new_feeds, read_cells
from triage.listing.history import record
from triage.listing.normalise import Reading, normalise
from triage.listing.twins import LISTINGS, find_twins
from triage.store import Connection, append, connect, frame, transaction

MAKERS = ["Brelloway", "Pellavane", "Haldrassen", "Ostrevik"]
MODELS = {
    "Brelloway": ["Lindravo", "Lindravo S", "Fossamere", "Brisselby", "Brisselby Vue", "Tavrelin Mid", "Merridune"],
    "Pellavane": ["Zephrune", "Zephrune 2", "Morrivelle", "Morrivelle 180", "Dalvenne", "Tollareth", "Ventrasse"],
    "Haldrassen": ["Torquellan", "Torquellan High", "Halvorett", "Brannhelm", "Dranhold", "Trovassen"],
    "Ostrevik": ["Holmkrag", "Holmkrag Light", "Ryggvarn", "Myrvolten", "Stensjorn", "Varghelle"],
}
COLOURS = ["black rust", "white ivy", "silver fjord", "steel lime", "moss", "cobalt", "plum", "sail", "ember", "copper"]
SOURCES = ["attic board", "harbour auction", "ridge club noticeboard", "lantern flea"]
WEAR = [
    "deadstock",
    "lightly worn",
    "worn",
    "ungetragen",
    "kaum getragen",
    "neuves",
    "portées",
    "mai usate",
    "usadas",
    "used",
]
KEEPS_NAMES = ["attic board", "ridge club noticeboard"]  # the other two name every photo anew
SENTENCES = [
    "Found in my uncle's attic with the box and papers.", "No crumbling that I can see.", "Sohle leicht vergilbt.",
    "Kleber an der Spitze etwas offen.", "Semelle un peu dure, pas de décollement.", "Jamais portées, boîte abîmée.",
    "Suola ancora elastica, colla buona.", "Schiuma dura al tatto.", "Suela sin grietas, piel algo reseca.",
    "Stored dry since I bought them.", "Left heel tab has a hairline crack.", "Laces replaced, old ones included.",
    "Privatverkauf, keine Rücknahme.", "Please look at the photos and ask before buying.", "Smoke free home.",
    "Envoi soigné sous 48 heures.", "Spedizione tracciata in tutta Italia.", "Envío rápido y bien embalado.",
    "Size tag reads 03/94 inside the tongue.", "Bought new in 1996 and hardly used.", "Resoled 2019 by a cobbler.",
    "加水分解なし、箱付きです。", "数回着用、目立った傷はありません。", "<b>Original box</b> &amp; tissue included.",
    "The midsole springs back when pressed.", "Toe rand is lifting a little.", "Collar foam sheds some dust.",
    "Farbe etwas verblasst, sonst schön.", "Eyelets clean, insole shows a name.", "Outsole tread about eighty percent.",
]  # fmt: skip
NIGHT = date(2026, 11, 25)
OLD_NIGHT = date(2026, 11, 24)


def pairs(count: int, rng: np.random.Generator) -> pl.DataFrame:
    """Return pairs of shoes as their owners know them; a tenth belongs to dealers with thousands of like ones."""
    makers = np.array(MAKERS)[rng.integers(0, len(MAKERS), count)]
    models = np.array(
        [
            MODELS[maker][pick % len(MODELS[maker])]
            for maker, pick in zip(makers, rng.integers(0, 42, count), strict=True)
        ]
    )
    dealer = rng.random(count) < 0.1
    seller = np.where(
        dealer, rng.integers(0, max(2, count // 20_000), count), 1000 + rng.integers(0, max(10, count // 3), count)
    )
    picks = rng.integers(0, len(SENTENCES), (count, 5))
    # a dealer writes one text for everything
    for own in range(int(seller[dealer].max()) + 1 if dealer.any() else 0):
        picks[dealer & (seller == own)] = rng.integers(0, len(SENTENCES), 5)
    sizes = rng.integers(70, 97, count) / 2
    return pl.DataFrame(
        {
            "pair": np.arange(count),
            "maker": makers,
            "model": models,
            "colour": np.array(COLOURS)[rng.integers(0, len(COLOURS), count)],
            "wear": np.array(WEAR)[rng.integers(0, len(WEAR), count)],
            "year": rng.integers(1984, 2017, count),
            "size": sizes,
            "style": rng.integers(1000, 9999, count),
            "styled": rng.random(count) < 0.35,
            "seller": np.char.add("seller", seller.astype(str)),
            "dealer": dealer,
            "source": np.array(SOURCES)[np.where(dealer, seller % len(SOURCES), rng.integers(0, len(SOURCES), count))],
            "price": rng.integers(15, 400, count),
            **{f"s{n}": np.array(SENTENCES)[picks[:, n]] for n in range(5)},
            "detail": rng.integers(0, 10_000, count),
            **cameras(count, rng),
        }
    )


def cameras(count: int, rng: np.random.Generator) -> dict[str, np.ndarray]:
    """Return how each owner's photos are named: by the time (60 %), by a counter, or image1 to image3."""
    return {
        "camera": np.array(["time", "counter", "plain"])[rng.choice(3, count, p=[0.6, 0.25, 0.15])],
        "shot": rng.integers(0, 365 * 86_400, count),
    }


def photographed(listed: pl.DataFrame, rng: np.random.Generator) -> pl.DataFrame:
    """Return listings with the addresses of three photos; three of ten exports have none.

    A dealer has one set of photos for a model and colour, whatever the size. Half the marketplaces give every photo a
    name of their own, another one each time.
    """
    shelf = pl.concat_str("seller", "model", "colour").hash(7) % (365 * 86_400)
    shot = pl.when("dealer").then(shelf).otherwise(pl.col("shot").cast(pl.UInt64)).cast(pl.Int64)
    moment = pl.datetime(2025, 9, 1) + pl.duration(seconds=shot + 20 * pl.col("n"))
    name = (
        pl.when(~pl.col("source").is_in(KEEPS_NAMES)).then(pl.format("{}{}", pl.col("renamed") + 10**15, "n"))
        .when((pl.col("camera") == "time") | pl.col("dealer")).then(moment.dt.strftime("IMG_%Y%m%d_%H%M%S"))
        .when(pl.col("camera") == "counter").then(pl.format("IMG_{}", (pl.col("shot") + pl.col("n")) % 10_000))
        .otherwise(pl.format("image{}", pl.col("n") + 1))
    )  # fmt: skip
    drawn = listed.with_columns(
        pl.Series("renamed", rng.integers(0, 9 * 10**15, listed.height)),
        pl.Series("shown", rng.random(listed.height) < 0.7),
    )
    address = pl.format("https://img.example/{}/{}.jpg?w=800", pl.col("pair"), name)
    parts = [drawn.with_columns(n=pl.lit(n)).select(address.alias(f"a{n}")) for n in range(3)]
    joined = pl.concat(parts, how="horizontal").select(images=pl.concat_str("a0", "a1", "a2", separator=", "))
    return drawn.hstack(joined).with_columns(images=pl.when("shown").then("images"))


def restocked(owned: pl.DataFrame, rng: np.random.Generator) -> pl.DataFrame:
    """Return the pairs with every third one of a dealer the same, in all that is said of it, as another of theirs."""
    same = ["maker", "model", "colour", "wear", "year", "size", "style", "styled", "price"]
    again = pl.Series("again", rng.random(owned.height) < 0.33) & owned["dealer"]
    return owned.with_columns(again).with_columns(
        [
            pl.when("again").then(pl.col(name).shift(1).over("seller")).otherwise(name).fill_null(pl.col(name))
            for name in same
        ]
    )


def advertised(owned: pl.DataFrame, rng: np.random.Generator) -> pl.DataFrame:
    """Return a listing of each pair in its owner's words."""
    order = pl.Series("order", rng.integers(0, 3, owned.height))
    size = (
        pl.when(pl.col("size") % 1 == 0)
        .then(pl.col("size").cast(pl.Int32).cast(pl.String))
        .otherwise(pl.col("size").cast(pl.String))
    )
    style = pl.when("styled").then(pl.format(" QX{}", "style")).otherwise(pl.lit(""))
    name = pl.format("{} {}{}", "maker", "model", style)
    title = (
        pl.when(pl.col("order") == 0).then(pl.format("{} {} {} {} EU {}", name, "colour", "year", "wear", size))
        .when(pl.col("order") == 1).then(pl.format("{} {} {} size {}", "wear", name, "colour", size))
        .otherwise(pl.format("{} {} {} Gr. {} {}", name, "year", "colour", size, "wear"))
    )  # fmt: skip
    detail = pl.when("dealer").then(pl.lit("")).otherwise(pl.format(" Mark no. {} on the box lid.", "detail"))
    return owned.with_columns(order).with_columns(
        title=title, size_cell=size, body=pl.concat_str([pl.col(f"s{n}") for n in range(5)], separator=" ") + detail
    )


def rewritten(first: pl.DataFrame, rng: np.random.Generator) -> pl.DataFrame:
    """Return listings as their sellers word them the next time: other titles, other texts, now and then both.

    Of ten titles four stay, two get words more, one is shouted, one loses its colour, one a letter, and one is put in
    another order; of ten texts five stay, two get a sentence more, two are cut, one is written anew.
    """
    title_edit = pl.Series("title_edit", rng.integers(0, 10, first.height))
    text_edit = pl.Series("text_edit", rng.integers(0, 10, first.height))
    anew = pl.Series("anew", np.array(SENTENCES)[rng.integers(0, len(SENTENCES), first.height)])
    words = pl.col("title").str.split(" ")
    title = (
        pl.when(pl.col("title_edit") == 0).then(pl.format("{} REDUCED", "title"))
        .when(pl.col("title_edit") == 1).then(pl.format("{} vintage rare", "title"))
        .when(pl.col("title_edit") == 2).then(pl.col("title").str.to_uppercase())
        .when(pl.col("title_edit") == 3).then(pl.col("title").str.replace("|".join(COLOURS), ""))
        .when(pl.col("title_edit") == 4).then(pl.col("title").str.replace("l", "", literal=True))
        .when(pl.col("title_edit") == 5).then(words.list.reverse().list.join(" "))
        .otherwise("title")
    )  # fmt: skip
    body = (
        pl.when(pl.col("text_edit") <= 1).then(pl.format("{} Price lowered again.", "body"))
        .when(pl.col("text_edit") <= 3).then(pl.col("body").str.slice(0, 120))
        .when(pl.col("text_edit") == 4).then(pl.format("{} {}", "anew", pl.lit("Ask me anything, I answer fast.")))
        .otherwise("body")
    )  # fmt: skip
    return first.hstack([title_edit, text_edit, anew]).with_columns(title=title, body=body)


def relisted(first: pl.DataFrame, rng: np.random.Generator) -> pl.DataFrame:
    """Return the same pairs offered again by their sellers, up to a quarter cheaper."""
    cut = pl.Series("cut", rng.integers(0, 4, first.height))
    price = (pl.col("price") * (1 - 0.08 * pl.col("cut"))).round().cast(pl.Int64)
    return rewritten(first, rng).hstack([cut]).with_columns(price=price)


def copied(first: pl.DataFrame, rng: np.random.Generator) -> pl.DataFrame:
    """Return the same pairs on another marketplace, under another account; one in five with photos taken anew."""
    step = pl.Series("step", rng.integers(1, 4, first.height))
    anew = pl.Series("taken_anew", rng.random(first.height) < 0.2)
    place = pl.col("source").replace_strict({name: n for n, name in enumerate(SOURCES)}, return_dtype=pl.Int64)
    other = ((place + pl.col("step")) % len(SOURCES)).replace_strict(dict(enumerate(SOURCES)), return_dtype=pl.String)
    return (
        rewritten(first, rng)
        .hstack([step, anew])
        .with_columns(source=other, seller=pl.format("{}x", "seller"))
        .with_columns(shot=pl.when("taken_anew").then(pl.col("shot") * 7 % (365 * 86_400)).otherwise("shot"))
    )


def plant(store: Connection, rows: int, seed: int = 7) -> pl.DataFrame:
    """Fill a store with two nights of exports and return the planted couples (listing_id, twin_id, kind).

    Only private sellers list a pair again: what a dealer of thousands of like pairs offers under the same words and a
    new id may be the next pair from the same shelf, and nobody could tell.
    """
    rng = np.random.default_rng(seed)
    fresh = int(rows * 0.93)
    owned = pairs(fresh, rng)
    first = advertised(restocked(owned, rng), rng)
    private = first.filter(~pl.col("dealer"))
    again = relisted(private.sample(int(rows * 0.05), seed=seed), rng)
    others = private.join(again, on="pair", how="anti", maintain_order="left")
    copies = copied(others.sample(int(rows * 0.02), seed=seed + 1), rng)
    gone = first.join(again, on="pair", how="semi", maintain_order="left")
    stay = first.join(again, on="pair", how="anti", maintain_order="left")
    sold = pl.col("dealer") & (pl.col("pair") % 2 == 0)  # what a dealer sells is no relist of what comes next
    nights = [
        (
            OLD_NIGHT,
            [
                gone.with_columns(id=pl.format("A{}", "pair")),
                stay.filter(sold).with_columns(id=pl.format("A{}", "pair")),
            ],
        ),
        (
            NIGHT,
            [
                stay.filter(~sold).with_columns(id=pl.format("A{}", "pair")),
                again.with_columns(id=pl.format("B{}", "pair")),
                copies.with_columns(id=pl.format("C{}", "pair")),
            ],
        ),
    ]
    for night, frames in nights:
        columns = ["id", "seller", "source", "title", "body", "price", "size_cell", "images"]
        _write(store, night, pl.concat([photographed(listed, rng).select(columns) for listed in frames]))
    relist = again.select(
        listing_id=pl.format("{}/A{}", "source", "pair"),
        twin_id=pl.format("{}/B{}", "source", "pair"),
        kind=pl.lit("relist"),
    )
    truth = copies.join(first.select("pair", home="source"), on="pair").select(
        listing_id=pl.format("{}/A{}", "home", "pair"),
        twin_id=pl.format("{}/C{}", "source", "pair"),
        kind=pl.lit("copy"),
    )
    return pl.concat([relist, truth])


def _write(store: Connection, night: date, listed: pl.DataFrame) -> None:
    fields = {
        "external_id": "id",
        "seller": "seller",
        "title": "title",
        "body": "body",
        "price": "price",
        "size": "size_cell",
        "images": "images",
    }
    settings = {"currency": "EUR", "country": "DE", "decimal": ",", "snapshot": True}
    for source, rows in sorted(listed.partition_by("source", as_dict=True).items()):
        feed_id = f"{night}-{source[0]}"
        append(
            store,
            "feed",
            pl.DataFrame(
                [
                    {
                        "feed_id": feed_id, "path": feed_id, "sha256": feed_id, "reader": "csv", "source": source[0],
                        "mapping": json.dumps(fields), "settings": json.dumps(settings), "seen_on": night,
                        "rows_read": rows.height, "rows_rejected": 0,
                    }
                ]
            ),
        )  # fmt: skip
        price = (
            pl.when(pl.col("price") % 2 == 0)
            .then(pl.format("{},00 €", "price"))
            .otherwise(pl.format("{} € VB", "price"))
        )
        cells = rows.with_columns(price=price).select(cells=pl.struct(fields.values()).struct.json_encode())
        numbered = cells.select(feed_id=pl.lit(feed_id), row_no=pl.int_range(1, pl.len() + 1), cells="cells")
        append(store, "raw_row", numbered)


def score(found: pl.DataFrame, planted: pl.DataFrame) -> tuple[float, float]:
    """Return recall and precision of found couples; a couple counts once, whichever way round."""
    sides = ["listing_id", "twin_id"]
    both = [pl.min_horizontal(sides).alias("one"), pl.max_horizontal(sides).alias("other")]
    ours, truth = found.select(both).unique(), planted.select(both).unique()
    right = ours.join(truth, on=["one", "other"], how="semi").height
    return right / max(truth.height, 1), right / max(ours.height, 1)


class Stopwatch:
    """Seconds on the wall and of the processor, added up over several spans."""

    def __init__(self) -> None:
        self.wall = self.processor = 0.0

    def __enter__(self) -> None:
        self.started = time.perf_counter(), time.process_time()

    def __exit__(self, *_: object) -> None:
        self.wall += time.perf_counter() - self.started[0]
        self.processor += time.process_time() - self.started[1]

    def __str__(self) -> str:
        return f"{self.wall:.1f} s ({self.processor:.1f} s of processor time)"


def peak_gb() -> float:
    """Return the peak resident memory of this process so far, in GB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2


def main(rows: int) -> None:
    """Plant a night, normalise it, find its twins, print what it took."""
    logging.basicConfig(level=logging.INFO, format="%(message)s")
    problems: list = []
    words = load_words(Path(__file__).parents[1] / "rules" / "words", problems)
    if words is None:
        raise SystemExit("\n".join(map(str, problems)))
    store = connect()
    planted = plant(store, rows)
    print(f"planted {planted.height:,} couples in {rows:,} rows; peak {peak_gb():.2f} GB")
    reading = Reading(words)
    read, written = Stopwatch(), Stopwatch()
    for feed in new_feeds(store).iter_rows(named=True):
        with read:
            listed, refused = normalise(read_cells(store, feed), reading)
        with written, transaction(store):
            record(store, listed, refused)
    print(f"normalise {read}, write {written}; peak {peak_gb():.2f} GB")
    listings = frame(store, LISTINGS)
    twins = Stopwatch()
    with twins:
        found = find_twins(listings, words.twin)
    recall, precision = score(found, planted)
    print(f"twins {twins}: recall {recall:.4f}, precision {precision:.4f}; peak {peak_gb():.2f} GB")
    for kind in ("relist", "copy"):
        recall, precision = score(found.filter(pl.col("kind") == kind), planted.filter(pl.col("kind") == kind))
        print(f"  {kind}: recall {recall:.4f}, precision {precision:.4f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
