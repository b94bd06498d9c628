"""How fast the page at home answers, beside a store of any size.

    python -m benchmarks.desk FOLDER [LISTINGS]

FOLDER keeps the store (``benchmarks/exports.py``, 5,000 releases, one buyer; made when it is not there), so that the
page can be measured again without another night. Prints what publishing took of the night, then for the page: reading
the published night, the list and a pair's page as the browser gets them, one pair weighed anew after a look and after
a reply, and one supposition; medians and the slowest of a number of pairs. A pair that is shown is read ahead and a
reply is read before it is noted, as in an evening; a look at a pair that nobody opened is measured too.
"""

import http.client
import shutil
import sys
import time
from collections.abc import Callable
from datetime import date
from pathlib import Path
from statistics import median

import polars as pl

from benchmarks.exports import write_world
from tests.desk.random_requests import TOKEN, serving
from triage import batch, catalogue
from triage.desk import published
from triage.desk.again import Supposed
from triage.desk.inline import inline
from triage.desk.pages import LISTING
from triage.desk.reply import reply_of
from triage.desk.tonight import Tonight
from triage.journal import path_of
from triage.store import frame, open_store
from triage.writeup.ticket import anchor

ROOT = Path(__file__).resolve().parents[1]
AS_OF = date(2026, 11, 25)
RELEASES, PAIRS = 5_000, 40
SUPPOSED = {
    "a price": Supposed(price_minor=4000),
    "a purpose": Supposed(purpose="display"),
    "a year": Supposed(year=1996),
    "a price and a year": Supposed(price_minor=4000, year=1996),
}
REPLY = "I pressed the midsole and it springs back. No cracks that I can see, the sole is not coming away."


def made(folder: Path, listings: int) -> tuple[Path, catalogue.Catalogue]:
    """Return the store of a folder, made where it is not there, and the rules it was made with."""
    store = folder / "night.duckdb"
    if not (folder / "constructions.csv").exists():
        write_world(folder, listings, RELEASES)
    known = catalogue.load(ROOT / "rules", [folder / "constructions.csv"], [ROOT / "rules/buyers/daily.toml"])
    if not published.is_of_today(published.path_of(store)):
        with open_store(store) as connection:
            took = timed(lambda: batch.nightly(connection, known, [folder / "exports"], AS_OF, folder / "reports"))
            print(f"night {took / 1000:.0f} s")
    return store, known


def timed(work: Callable[[], object]) -> float:
    """Return how long something takes, ms."""
    begun = time.perf_counter()
    work()
    return 1000 * (time.perf_counter() - begun)


def told(what: str, took: list[float]) -> None:
    """Print the median and the slowest."""
    print(f"{what:44} {median(took):7.1f} ms, slowest {max(took):7.1f} of {len(took)}")


def joined() -> float:
    """Return how long a join of three rows takes, µs."""
    few = pl.DataFrame({"key": ["a", "b", "c"], "value": [1, 2, 3]})
    return median(1000 * timed(lambda: few.join(few, on="key")) for _ in range(PAIRS))


def main(folder: Path, listings: int) -> None:
    """Print a line a figure."""
    folder.mkdir(parents=True, exist_ok=True)
    store, known = made(folder, listings)
    with open_store(store) as connection:
        count = connection.execute("SELECT count(*) FROM listing").fetchall()[0][0]
        took = timed(lambda: published.publish(connection, known.values))
    sizes = [path.stat().st_size / 2**20 for path in (store, published.path_of(store))]
    print(f"{count} listings; store {sizes[0]:.0f} MB, published {sizes[1]:.0f} MB in {took / 1000:.1f} s")
    for path in folder.glob(f"{path_of(store).name}*"):
        path.unlink()

    tonight = Tonight(store, known, lambda: AS_OF)
    with serving(tonight) as port:

        def got(place: str) -> None:
            connection = http.client.HTTPConnection("127.0.0.1", port)
            connection.request("GET", place, headers={"Cookie": f"desk-{port}={TOKEN}"})
            answer = connection.getresponse()
            assert answer.status == 200, answer.read()
            answer.read()

        told("the first page of a start, night read in", [timed(lambda: got("/"))])
        told("the list", [timed(lambda: got("/")) for _ in range(PAIRS)])
        some = [*tonight.order[: PAIRS // 2], *tonight.order[-PAIRS // 2 :]]
        told("a pair's page, first time", [timed(lambda one=one: got(f"/pair/{anchor(one)}")) for one in some])
        told("a pair's page, again", [timed(lambda one=one: got(f"/pair/{anchor(one)}")) for one in some])

    print(f"a join of three rows {joined():.0f} µs, inside a step of Polars {inline(joined)():.0f} µs")

    def weighed_anew() -> None:
        with tonight.fresh():
            tonight.called()

    def noted(number: int, kind: str, one: str, content: dict[str, object]) -> tuple[float, float]:
        return (
            timed(lambda: tonight.note(f"{number:032x}", kind, one, content)),  # type: ignore[arg-type]
            timed(weighed_anew),
        )

    def opened(one: str) -> float:
        return timed(lambda: tonight.prepare(one))

    signs = {"outsole_shiny": "yes"}
    looks = [noted(n, "look", one, {"signs": signs}) for n, one in enumerate(some)]
    told("a look noted, on the disk", [one for one, _ in looks])
    told("one pair weighed anew, never opened", [one for _, one in looks])
    signs = {"outsole_shiny": "no", "midsole_cracked": "no"}
    looks = [(opened(one), *noted(n, "look", one, {"signs": signs})) for n, one in enumerate(some, len(some))]
    told("a pair read ahead while it is looked at", [one for one, _, _ in looks])
    told("one pair weighed anew after a look", [one for _, _, one in looks])
    signs = {"stored_attic": "yes"}
    looks = [(opened(one), *noted(n, "look", one, {"signs": signs})) for n, one in enumerate(some, 2 * len(some))]
    told("one pair weighed anew, its parts aged anew", [one for _, _, one in looks])
    # Another text for each pair: none is in anybody's memory.
    texts = [f"{REPLY} Pair {number}." for number in range(len(some))]
    reads = [timed(lambda text=text: reply_of(text, "en", (), known)) for text in texts]
    told("the words of a reply read and shown", reads)
    replies = []
    for number, (one, text) in enumerate(zip(some, texts, strict=True)):
        opened(one)
        with tonight.fresh() as memory:
            language = frame(memory, LISTING, [one])["language"][0]
        reply_of(text, language, (), known)
        replies.append(noted(number, "answer", one, {"text": text, "signs": {}}))
    told("one pair weighed anew after a reply", [one for _, one in replies])
    with tonight.fresh() as memory:
        for what, supposed in SUPPOSED.items():
            took = []
            for one in some:
                opened(one)
                took.append(timed(lambda one=one, if_so=supposed: tonight.suppose(memory, one, if_so, "daily")))
            told(f"supposed: {what}", took)
        command = []
        for one in some[:10]:
            memory.execute("BEGIN TRANSACTION")
            command.append(timed(lambda one=one: batch.stages(memory, known, AS_OF, [one])))
            memory.execute("ROLLBACK")
    told("for comparison: stages 3 to 7 of one pair", command)
    shutil.rmtree(folder / "reports", ignore_errors=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 100_000)
