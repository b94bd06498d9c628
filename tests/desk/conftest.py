"""A demo night published for the page, and the page itself on a port of this machine."""

import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import pytest

from tests.desk.random_requests import TOKEN, serving
from triage import batch, catalogue, journal
from triage.catalogue import Catalogue
from triage.desk.tonight import Tonight
from triage.store import open_store

ROOT = Path(__file__).parents[2]
AS_OF = date(2026, 11, 25)


@pytest.fixture(scope="session")
def known() -> Catalogue:
    """Return the rules that come along, with two of the example buyers."""
    return catalogue.load(buyers=[ROOT / "rules" / "buyers" / f"{name}.toml" for name in ("bench", "daily")])


@pytest.fixture(scope="session")
def night(known: Catalogue, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a store on which the demo's night was run, with what it published beside it; for reading only."""
    folder = tmp_path_factory.mktemp("night")
    with open_store(folder / "demo.duckdb") as store:
        batch.nightly(store, known, [ROOT / "demo_feeds"], AS_OF, folder / "reports")
    return folder / "demo.duckdb"


@pytest.fixture
def store(night: Path, tmp_path: Path) -> Path:
    """Return a copy of that store to note things beside."""
    for file in (night, night.with_name(f"{night.name}.desk")):
        shutil.copy(file, tmp_path / file.name)
    return tmp_path / night.name


@pytest.fixture
def tonight(store: Path, known: Catalogue) -> Tonight:
    """Return tonight's pairs of that copy."""
    return Tonight(store, known, lambda: AS_OF)


@dataclass
class Served:
    """A page that is being served."""

    tonight: Tonight
    port: int

    @property
    def address(self) -> str:
        """Where it is."""
        return f"http://127.0.0.1:{self.port}"

    @property
    def start(self) -> str:
        """The address that lets a browser in."""
        return f"{self.address}/start?token={TOKEN}"


@pytest.fixture
def served(tonight: Tonight) -> Iterator[Served]:
    """Serve the page as the command does, within this process."""
    with serving(tonight) as port:
        yield Served(tonight, port)


@pytest.fixture(scope="session")
def lasting(night: Path, known: Catalogue) -> Iterator[Served]:
    """Serve one page for all tests that note nothing."""
    tonight = Tonight(night, known, lambda: AS_OF)
    with serving(tonight) as port:
        yield Served(tonight, port)
    assert journal.read(night).notes == ()
