"""How long an answer takes in stores of several sizes: only its listing is weighed anew.

``python benchmarks/answer_speed.py 2000 8000``: listings in each store, weighed first; then one answer and
a hundred, with what the whole night took beside them.
"""

import sys
import time
from datetime import date

import polars as pl

from triage import answers, batch, catalogue, store
from triage.answers import Told

AS_OF = date(2026, 11, 25)
TITLES = (
    "Haldrassen Torquellan High HDN-91-0214",
    "Haldrassen Torquellan High HDN-12-1914",
    "Brelloway Lindravo BW4104.02",
    "Ostrevik Holmkrag Light OV4118C",
    "Pellavane Morrivelle 180 PLV91/240",
)


def filled(count: int) -> store.Connection:
    """Return a store of listings that differ in release and price."""
    connection = store.connect()
    rows = pl.DataFrame({"n": range(count)}).select(
        listing_id=pl.format("t/{}", "n"), source=pl.lit("t"), external_id=pl.col("n").cast(pl.String),
        title=pl.col("n").map_elements(lambda n: TITLES[n % len(TITLES)], pl.String),
        body=pl.format("Worn lightly, size 42, number {}.", "n"), language=pl.lit("en"), price_kind=pl.lit("fixed"),
        price_minor=3000 + pl.col("n") % 97 * 100, price_base_minor=3000 + pl.col("n") % 97 * 100,
        currency=pl.lit("EUR"), ships_from=pl.lit("DE"), condition=pl.lit("worn_lightly"), kind=pl.lit("pair"),
        first_seen=pl.lit(AS_OF), last_seen=pl.lit(AS_OF), status=pl.lit("open"),
    )  # fmt: skip
    store.append(connection, "listing", rows)
    return connection


def timed(connection: store.Connection, known: catalogue.Catalogue, count: int, sign: str) -> float:
    """Return the seconds that answers to some listings take."""
    told = [Told(f"t/{n}", sign, AS_OF, "answer", "affirmed", None) for n in range(count)]
    start = time.perf_counter()
    touched = answers.take(connection, known, told, AS_OF)
    assert len(touched) == count
    return time.perf_counter() - start


def main() -> None:
    """Print a line a store."""
    known = catalogue.load()
    for count in [int(size) for size in sys.argv[1:]] or [2000, 8000]:
        connection = filled(count)
        start = time.perf_counter()
        batch.weigh(connection, known, AS_OF)
        night = time.perf_counter() - start
        timed(connection, known, 1, "midsole_springy")
        one = timed(connection, known, 1, "midsole_crumbling")
        hundred = timed(connection, known, 100, "upper_good")
        print(f"{count} listings: night {night:.1f} s, one answer {one:.2f} s, a hundred {hundred:.2f} s")


if __name__ == "__main__":
    main()
