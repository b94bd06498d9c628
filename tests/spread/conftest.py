"""The demo night in this process, and what it left: what every night over a cluster is held against."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from distributed import Client, LocalCluster

from tests.conftest import AS_OF
from triage import batch, store
from triage.spread import Spread
from triage.spread.cluster import Cluster

ROOT = Path(__file__).parents[2]
# Clock times are of the run alone.
WHOLE = {"run": "SELECT * EXCLUDE (started_at, finished_at) FROM run"}
WORKERS = PARTS = 4


def tables_of(connection: store.Connection) -> dict[str, list]:
    """Return the rows of every table, whatever their order."""
    names = connection.execute("SELECT table_name FROM duckdb_tables() WHERE NOT temporary ORDER BY 1").fetchall()
    return {
        name: connection.execute(
            f"SELECT CAST(t AS VARCHAR) FROM ({WHOLE.get(name, f'FROM {name}')}) t ORDER BY 1"
        ).fetchall()
        for (name,) in names
    }


def files_of(out: Path) -> dict[str, bytes]:
    """Return every file of the reports."""
    return {path.relative_to(out).as_posix(): path.read_bytes() for path in out.rglob("*") if path.is_file()}


class Left:
    """What nights over the demo's feeds left."""

    def __init__(self, place: Path, known, spread: Spread | None = None, nights=(ROOT / "demo_feeds",)) -> None:
        self.place = place
        with store.open_store(place / "t.duckdb") as connection:
            for feeds in nights:
                batch.nightly(connection, known, [feeds], AS_OF, place / "reports", spread=spread)
            self.tables = tables_of(connection)
        self.files = files_of(place / "reports")

    def is_as(self, other: "Left") -> None:
        """See that nothing differs."""
        assert self.tables.keys() == other.tables.keys()
        for name, rows in self.tables.items():
            assert rows == other.tables[name], name
        assert self.files.keys() == other.files.keys()
        for name, content in self.files.items():
            assert content == other.files[name], name


@pytest.fixture(scope="session")
def here(tmp_path_factory, known) -> Left:
    """The demo night in this process."""
    return Left(tmp_path_factory.mktemp("here"), known)


@pytest.fixture
def local() -> Iterator[tuple[LocalCluster, Client]]:
    """A cluster of four workers in this process."""
    with (
        LocalCluster(
            n_workers=WORKERS, threads_per_worker=1, processes=False, dashboard_address=None, protocol="tcp"
        ) as cluster,
        Client(cluster, set_as_default=False) as client,
    ):
        yield cluster, client


@pytest.fixture
def spread(local) -> Spread:
    """The night in four parts on that cluster."""
    return Spread(Cluster(local[1]), PARTS)
