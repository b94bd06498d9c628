from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest

from triage.catalogue.feeds import FeedCatalogue, load_feeds
from triage.ingest import FeedNote, run
from triage.store import Connection, connect, frame

RULES = Path(__file__).parents[2] / "rules" / "feeds"
NIGHT = date(2026, 11, 25)


@pytest.fixture(scope="session")
def feeds() -> FeedCatalogue:
    problems: list = []
    catalogue = load_feeds(RULES, problems)
    assert problems == []
    return catalogue


@pytest.fixture
def store() -> Connection:
    return connect()


@pytest.fixture
def ingest(store: Connection, feeds: FeedCatalogue, tmp_path: Path) -> Callable[..., FeedNote]:
    """Write one file into a folder, read the folder, return the note of that file."""

    def write_and_run(name: str, content: bytes | str) -> FeedNote:
        path = tmp_path / "feeds" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        return next(note for note in run(store, feeds, [tmp_path / "feeds"], NIGHT) if note.path == name)

    return write_and_run


@pytest.fixture
def rows(store: Connection) -> Callable[[], list[dict]]:
    """Return every stored row as a dictionary, in order."""

    def stored() -> list[dict]:
        import json

        return [
            json.loads(cells) for (cells,) in frame(store, "SELECT cells FROM raw_row ORDER BY feed_id, row_no").rows()
        ]

    return stored


@pytest.fixture
def rejects(store: Connection) -> Callable[[], list[tuple]]:
    """Return row number and code of every reject, in order."""

    def stored() -> list[tuple]:
        return frame(store, "SELECT row_no, code FROM reject ORDER BY feed_id, row_no").rows()

    return stored
