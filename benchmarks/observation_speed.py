"""Time stage 4 on many listings of about 400 characters, with few repeated sentences.

    python benchmarks/observation_speed.py [listings] [demo or labelled] [each how manieth is unlike all others]

Sentences are shuffled across the listings of a language: those of the demo's longer listings, which say as much
as listings of this length do, or those of the labelled listings, which say twice as much. Every second
sentence (default; 0 = none) gets a number of its own.
"""

import resource
import sys
import time
from datetime import date
from pathlib import Path

import numpy as np
import polars as pl

from triage import catalogue, ingest, listing, store
from triage.catalogue.signs import LANGUAGES, load_signs
from triage.observation import in_parts
from triage.observation.habit import habitual
from triage.observation.lexicon import lexicon
from triage.observation.sentence import sentences

HERE = Path(__file__).parent
LENGTH = 400


def labelled() -> pl.DataFrame:
    """Return text and language of the labelled listings."""
    return pl.read_csv(HERE.parent / "tests/observation/labelled.csv").select("language", text="body")


def demo() -> pl.DataFrame:
    """Return text and language of the demo's longer listings: short ones say more to a character."""
    rules = catalogue.load(HERE.parent / "rules")
    with store.connect() as connection:
        ingest.run(connection, rules.feeds, [HERE.parent / "demo_feeds"], date(2026, 11, 25))
        listing.run(connection, rules.words, date(2026, 11, 25))
        return store.frame(connection, "SELECT language, body AS text FROM listing ORDER BY listing_id").filter(
            pl.col("text").str.len_chars() >= LENGTH // 2
        )


def texts(count: int, bodies: pl.DataFrame, every: int = 2) -> pl.DataFrame:
    """Return ``count`` listings: source, seller, listing_id, title, body, language."""
    known = bodies.drop_nulls().filter(pl.col("language").is_in(LANGUAGES))
    found = sentences(known.with_row_index("tid").select("tid", "text", hint="language"))
    draw = np.random.default_rng(20261125)
    parts = []
    languages = found["hint"].n_unique()
    for (language,), rows in found.group_by("hint", maintain_order=True):
        pool = rows["text"].str.strip_chars().to_numpy()
        number = count // languages
        each = max(2, round(LENGTH / (rows["text"].str.len_chars().mean() + 5)))
        picked = pl.DataFrame({"text": pool[draw.integers(0, len(pool), number * each)]}).with_row_index("n")
        numbered = pl.format("{} x{}.", pl.col("text").str.strip_chars_end(".!?。"), "n")
        own = pl.when(pl.lit(every > 0) & (pl.col("n") % max(every, 1) == 0)).then(numbered).otherwise("text")
        bodies = picked.select(text=own, row=pl.col("n") // each).group_by("row", maintain_order=True)
        parts.append(bodies.agg(body=pl.col("text").str.join(" ")).with_columns(language=pl.lit(language)))
    listings = pl.concat(parts).with_row_index("n")
    return listings.select(
        listing_id=pl.format("b/{}", "n"),
        source=pl.lit("b"),
        seller=pl.format("s{}", pl.col("n") // 7),
        title=pl.lit("Trail shoe size 10"),
        body="body",
        language="language",
    )


def main() -> None:
    """Print seconds, characters a listing, observations and peak memory."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    bodies = {"demo": demo, "labelled": labelled}[sys.argv[2] if len(sys.argv) > 2 else "demo"]()
    offered = texts(count, bodies, int(sys.argv[3]) if len(sys.argv) > 3 else 2)
    words = lexicon(load_signs(HERE.parent / "rules/signs", []))
    replies = pl.DataFrame(
        schema={
            "listing_id": pl.String, "sign": pl.String, "answered_on": pl.Date,
            "said_by": pl.String, "state": pl.String, "text": pl.String,
        }
    )  # fmt: skip
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    begun, worked = time.perf_counter(), time.process_time()
    habits = habitual(offered.select("source", "seller", "body"))
    middle = time.perf_counter()
    parts = [rows.height for rows in in_parts(offered, replies, habits, words)]
    done, worked = time.perf_counter(), time.process_time() - worked
    length, each = offered["body"].str.len_chars().mean(), sum(parts) / offered.height
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    print(f"{offered.height} listings of {length:.0f} characters: {done - begun:.1f} s, {worked:.1f} s of work")
    print(f"  standing sentences {middle - begun:.1f} s, reading {done - middle:.1f} s, {each:.1f} observations each")
    print(f"  peak memory {peak / 2**20:.2f} GB, {before / 2**20:.2f} GB before")


if __name__ == "__main__":
    main()
