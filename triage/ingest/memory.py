"""How much DuckDB keeps in memory while exports are read."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from triage.store import Connection

# What DuckDB may keep of a store that is a file; the rest of a night's memory is the pieces being read.
_MEMORY = "800MB"


@contextmanager
def bounded_memory(store: Connection) -> Iterator[Callable[[], None]]:
    """Let DuckDB write to disk what it would keep in memory, where the store is a file; yield what ends that sooner.

    It goes around a transaction: inside one that failed no setting can be changed back.
    """
    in_file = store.execute("SELECT 1 FROM duckdb_databases() WHERE NOT internal AND path IS NOT NULL").fetchall()
    if in_file:
        store.execute(f"SET memory_limit = '{_MEMORY}'")

    def release() -> None:
        if in_file:
            store.execute("RESET memory_limit")

    try:
        yield release
    finally:
        release()
