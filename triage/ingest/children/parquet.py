"""Print the rows of a Parquet file as JSON objects, one a line."""

import sys
from collections.abc import Callable
from typing import NoReturn

ROWS = 5_000_000
UNPACKED_BYTES = 4 << 30
_BATCH = 10_000


def main(path: str, refuse: Callable[[str, str], NoReturn]) -> None:
    """Print the rows of a file."""
    import duckdb

    config: dict[str, str | bool | int | float | list[str]] = {
        "autoinstall_known_extensions": False, "autoload_known_extensions": False,
        "threads": 1, "memory_limit": "1GB",
    }  # fmt: skip
    con = duckdb.connect(":memory:", config=config)
    con.execute("SET enable_progress_bar = false")
    try:
        rows = con.execute("SELECT num_rows FROM parquet_file_metadata(?)", [path]).fetchall()[0][0]
        size = con.execute("SELECT coalesce(sum(total_uncompressed_size), 0) FROM parquet_metadata(?)", [path])
        unpacked = size.fetchall()[0][0]
        if rows > ROWS or unpacked > UNPACKED_BYTES:
            refuse("too-large", f"{rows} rows, {unpacked} bytes unpacked")
        con.execute("SELECT to_json(one)::VARCHAR FROM read_parquet(?) AS one", [path])
        while batch := con.fetchmany(_BATCH):
            sys.stdout.write("".join(f"{text}\n" for (text,) in batch))
    except duckdb.Error as error:
        refuse("broken-parquet", str(error).splitlines()[0][:300])
