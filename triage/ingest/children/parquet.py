"""Print the rows of a Parquet file as JSON objects, one a line."""

import sys
from typing import NoReturn

MEMORY_BYTES = 4 << 30
CPU_SECONDS = 120
ROWS = 5_000_000
UNPACKED_BYTES = 4 << 30
_BATCH = 10_000


def refuse(code: str, found: str) -> NoReturn:
    """Say what is wrong and end."""
    print(f"REFUSED {code} {found}", file=sys.stderr)
    sys.exit(3)


def limit() -> None:
    """Bound memory and time of this process, where the system can."""
    try:
        import resource
    except ImportError:
        return
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (CPU_SECONDS, CPU_SECONDS))


def main(path: str) -> None:
    """Print the rows of a file."""
    limit()
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


if __name__ == "__main__":
    main(sys.argv[1])
