"""What the fault scripts share: small exports, one night, and what a store and its reports hold."""

import hashlib
import json
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

from triage.keeping.opening import open_file

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "demo_feeds"
NIGHTS = ("2026-11-24", "2026-11-25")
# Clock times differ from run to run and nothing else may.
_CLOCK = {"run": "EXCLUDE (started_at, finished_at)"}


def small_feeds(folder: Path, rows: int = 8) -> Path:
    """Write the first rows of a few demo exports of both nights: a table, JSON lines and a saved page."""
    for night in NIGHTS:
        (folder / night).mkdir(parents=True)
        for name in ("attic_board.csv", "harbour_auction.csv", "ridge_club.jsonl"):
            lines = (DEMO / night / name).read_bytes().splitlines(keepends=True)
            (folder / night / name).write_bytes(b"".join(lines[: rows + name.endswith("csv")]))
    return folder


def triage(*arguments: object, limits: Sequence[str] = ()) -> subprocess.CompletedProcess[str]:
    """Run the command line in a process of its own, behind a wrapper if one is given."""
    command = [*limits, sys.executable, "-m", "triage.cli", *map(str, arguments)]
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=300)


def night(feeds: Path, place: Path, as_of: str = NIGHTS[1], *more: object) -> list[object]:
    """Return the arguments of a night whose store and reports are in a folder."""
    return ["nightly", feeds, "--as-of", as_of, "--store", place / "t.duckdb", "--out", place / "reports", *more]


def tables(store: Path) -> dict[str, str]:
    """Return the SHA-256 of the rows of every table, in an order of their own."""
    connection = open_file(store)
    try:
        names = connection.execute("SELECT table_name FROM duckdb_tables() WHERE NOT internal").fetchall()
        return {
            name: connection.execute(
                "SELECT count(*) || ' ' || coalesce(sha256(string_agg(t::VARCHAR, chr(10) ORDER BY t::VARCHAR)), '') "
                f"FROM (SELECT * {_CLOCK.get(name, '')} FROM {name}) t"
            ).fetchall()[0][0]
            for (name,) in sorted(names)
        }
    finally:
        connection.close()


def reports(folder: Path) -> dict[str, str]:
    """Return the SHA-256 of every file of every report, hidden leftovers apart."""
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not any(part.startswith(".") for part in path.relative_to(folder).parts)
    }


def differ(one: dict[str, str], other: dict[str, str]) -> list[str]:
    """Return the names under which two of these hold other things."""
    return sorted(name for name in one.keys() | other.keys() if one.get(name) != other.get(name))


def tell(script: str, seed: int, **figures: object) -> None:
    """Print one line of figures."""
    print(json.dumps({"script": script, "seed": seed, **figures}, default=str), flush=True)
