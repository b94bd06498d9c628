"""What this project's reader and three libraries make of the polluted variants of ``tests/ingest/polluted.py``.

Run by hand: ``python benchmarks/ingest_polluted.py [-v]``; with ``-v`` every variant is named. Each library runs
with its defaults, and once more told that every cell is text, which it should not guess at. pandas is shown when it
is installed; the project doesn't need it.

A variant is loadable unless another clean table becomes the same bytes (``tests/ingest/second_origins.py`` builds
it); the share of the loadable ones that this project loads exactly is told by kind of pollution.

exact: all clean rows and nothing else · accounted: so but for rows the pollution destroyed, each rejected with a right
reason · refused: the whole file, with a right reason (for a library: any error) · wrong: a row that is no clean row ·
lost: a clean row is missing and nothing says so · reason: rejected, but for a wrong reason.
"""

import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterable, Set
from pathlib import Path

import duckdb
import polars as pl

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT / "tests" / "ingest"))

from polluted import Variant, judge, variants  # noqa: E402
from second_origins import SAME_POLLUTION, second_origins  # noqa: E402
from test_polluted_exports import outcome  # noqa: E402

from triage.catalogue.feeds import load_feeds  # noqa: E402

Load = Callable[[Path], Iterable[tuple[object, ...]]]
OUTCOMES = ("exact", "accounted", "refused", "wrong", "lost", "reason")


def with_duckdb(path: Path, options: str = "") -> Iterable[tuple[object, ...]]:
    """Return the rows DuckDB reads; a cast in the query would change what it guesses."""
    connection = duckdb.connect()
    connection.execute("SET enable_progress_bar = false")
    query = f"SELECT * FROM read_csv(?{options})"
    return connection.execute(query, [str(path)]).fetchall()


def with_polars(path: Path, **options: object) -> Iterable[tuple[object, ...]]:
    """Return the rows Polars reads, as text."""
    return pl.read_csv(path, **options).cast(pl.String).rows()  # type: ignore[arg-type]


def with_pandas(path: Path, **options: object) -> Iterable[tuple[object, ...]]:
    """Return the rows pandas reads, as text."""
    import pandas

    frame = pandas.read_csv(path, **options)
    return [tuple(None if cell != cell else cell for cell in row) for row in frame.itertuples(index=False)]


def judged(variant: Variant, path: Path, load: Load) -> str:
    """Return what became of a variant under a library; empty and missing cells count as the same."""
    path.write_bytes(variant.content)
    try:
        rows = [tuple("" if cell is None else str(cell) for cell in row) for row in load(path)]
    except Exception:
        return "refused"
    return judge(variant, rows, [])


def shares(every: list[Variant], found: dict[str, str], lost: Set[str]) -> None:
    """Print how many of the loadable variants were loaded exactly, by kind of pollution."""
    for kind in dict.fromkeys([*(one.kind for one in every), "all"]):
        names = [one.name for one in every if kind in (one.kind, "all")]
        loadable = [name for name in names if name not in lost]
        exact = sum(found[name] == "exact" for name in loadable)
        share = f"{exact} of {len(loadable)} loadable exact ({exact / len(loadable):.1%})"
        print(f"    {kind:12}{share}, {len(names) - len(loadable)} not loadable")


def main(loud: bool) -> None:
    """Print a table of outcomes, one line a reader."""
    words = load_feeds(ROOT / "rules" / "feeds", []).words
    readers: dict[str, Callable[[Variant, Path], str]] = {"triage": lambda one, path: outcome(one, path, words)}
    loads: dict[str, Load] = {
        "duckdb defaults": with_duckdb,
        "duckdb all text": lambda path: with_duckdb(path, ", all_varchar = true"),
        "polars defaults": with_polars,
        "polars all text": lambda path: with_polars(path, infer_schema=False),
    }
    try:
        import pandas  # noqa: F401

        loads["pandas defaults"] = with_pandas
        loads["pandas all text"] = lambda path: with_pandas(path, dtype=str, keep_default_na=False)
    except ImportError:
        print("pandas is not installed and left out")
    for name, load in loads.items():
        readers[name] = lambda one, path, load=load: judged(one, path, load)  # type: ignore[misc]
    every = variants()
    lost = second_origins().keys()
    rows = sum(len(one.rows) for one in every)
    print(f"{len(every)} variants, {rows} clean rows in all; {len(lost)} of the variants may have been")
    print(f"another table: {len(lost & SAME_POLLUTION)} by the same pollution, {len(lost - SAME_POLLUTION)} by another")
    print(f"{'reader':18}" + "".join(f"{what:>10}" for what in OUTCOMES))
    with tempfile.TemporaryDirectory() as folder:
        for name, reader in readers.items():
            found = {one.name: reader(one, Path(folder, "export.csv")) for one in every}
            counts = Counter(found.values())
            print(f"{name:18}" + "".join(f"{counts[what]:>10}" for what in OUTCOMES), flush=True)
            if name == "triage":
                shares(every, found, lost)
            if loud:
                print(
                    "".join(f"    {what:10} {variant}\n" for variant, what in found.items() if what != "exact"), end=""
                )


if __name__ == "__main__":
    main("-v" in sys.argv)
