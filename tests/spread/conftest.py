"""Nights over the demo's exports, here and over a cluster, and what they leave: it must be the very same."""

from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from distributed import Client, LocalCluster

from triage import answers, batch, catalogue, store
from triage.catalogue import Catalogue
from triage.spread import Spread

ROOT = Path(__file__).parents[2]
FEEDS = ROOT / "demo_feeds"
NIGHTS = ((FEEDS / "2026-11-24", date(2026, 11, 24)), (FEEDS, date(2026, 11, 25)))
# Clock times are of the run alone; the number of a life means nothing, and one process numbers on from those it kept.
WHOLE = {
    "run": "SELECT * EXCLUDE (started_at, finished_at) FROM run",
    "life_led": "SELECT listing_id, place FROM life_led",
    "life_part": "FROM prognosis",
}
WORKERS = PARTITIONS = 4
TABLES = "SELECT table_name FROM duckdb_tables() WHERE NOT temporary ORDER BY table_name"
FIRST_ASK = (
    "SELECT listing_id, sign FROM question WHERE sign IS NOT NULL ORDER BY gain_minor DESC, listing_id, sign LIMIT 1"
)


class Left:
    """What nights left in a folder, night by night; after each an answer is given to the first question."""

    def __init__(self, place: Path, known: Catalogue, spread: Spread | None = None, nights: int = len(NIGHTS)) -> None:
        self.tables: list[dict[str, list[tuple]]] = []
        self.files: list[dict[str, bytes]] = []
        with store.open_store(place / "t.duckdb") as connection:
            for feeds, as_of in NIGHTS[:nights]:
                batch.nightly(connection, known, [feeds], as_of, place / "reports", spread=spread)
                ((listing, sign),) = connection.execute(FIRST_ASK).fetchall()
                told = answers.Told(listing, sign, as_of, "answer", "denied", None)
                assert answers.take(connection, known, [told], as_of)
                self._note(connection, place / "reports")
        assert not list(place.glob("t.duckdb.tmp*"))

    def _note(self, connection: store.Connection, out: Path) -> None:
        # A later night over a cluster ages all on offer anew: who shares a life, and its number, are then others'; what
        # the lives say, the view, is not. A first night has the very lives, which test_same_night.py holds it to.
        names = [name for (name,) in connection.execute(TABLES).fetchall() if name not in ("life_led", "life_part")]
        names.append("prognosis")
        self.tables.append({name: rows_of(connection, name) for name in names})
        paths = [path for path in out.rglob("*") if path.is_file()]
        self.files.append({path.relative_to(out).as_posix(): path.read_bytes() for path in paths})

    def is_as(self, other: "Left") -> None:
        """See that no row and no byte differs, night by night."""
        for kind, others in ((self.tables, other.tables), (self.files, other.files)):
            for mine, theirs in zip(kind, others, strict=False):
                assert mine.keys() == theirs.keys()
                for name, content in mine.items():
                    assert content == theirs[name], name


def rows_of(connection: store.Connection, table: str) -> list[tuple]:
    """Return the rows of a table, whatever their order."""
    query = WHOLE.get(table, f"FROM {table}")
    return connection.execute(f"SELECT CAST(t AS VARCHAR) FROM ({query}) t ORDER BY 1").fetchall()


@pytest.fixture(scope="session")
def one_buyer() -> Catalogue:
    """Return the rules with one buyer, where a night is only to be long enough to be broken."""
    return catalogue.load(buyers=[ROOT / "rules" / "buyers" / "daily.toml"])


@pytest.fixture(scope="session")
def here(tmp_path_factory, one_buyer) -> Left:
    """The nights in this process."""
    return Left(tmp_path_factory.mktemp("here"), one_buyer)


@pytest.fixture
def local() -> Iterator[tuple[LocalCluster, Client]]:
    """A cluster of four workers in this process."""
    with (
        LocalCluster(n_workers=WORKERS, threads_per_worker=1, processes=False, dashboard_address=":0") as cluster,
        Client(cluster, set_as_default=False) as client,
    ):
        yield cluster, client
