"""A restore drill at the size of years: ``python -m tests.faults.drill [SIGHTINGS]``, two million if left out.

Makes a store of that many sightings whose ledger adds up, copies it as the night does, ruins it, and brings it back
with ``triage store restore``: every block read, every ledger line recounted, and the tables' hashes those from before.
"""

import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.faults.common import tell, triage
from triage.keeping.opening import open_file
from triage.store import open_store

NIGHTS = 200
FILL = """
INSERT INTO feed (feed_id, path, sha256, reader, source, seen_on, rows_read, rows_rejected)
SELECT left(sha256(night::VARCHAR), 16), night || '/board.csv', sha256(night::VARCHAR), 'csv', 'board',
  DATE '2026-01-01' + night::INTEGER, {each}, 0
FROM range({nights}) nights(night);

INSERT INTO raw_row (feed_id, row_no, cells)
SELECT left(sha256(night::VARCHAR), 16), row_no,
  json_object('id', row_no, 'title', 'Trail shoe of shelf ' || row_no, 'price', (row_no * 7 + night) % 20000)
FROM range({nights}) nights(night), range(1, {each} + 1) rows(row_no);

INSERT INTO sighting (listing_id, feed_id, row_no, seen_on, price_minor, currency, status, first)
SELECT 'board/' || row_no, left(sha256(night::VARCHAR), 16), row_no, DATE '2026-01-01' + night::INTEGER,
  (row_no * 7 + night) % 20000, 'EUR', 'open', night = 0
FROM range({nights}) nights(night), range(1, {each} + 1) rows(row_no);

INSERT INTO listing (listing_id, source, external_id, title, price_kind, condition, kind, first_seen, last_seen, status)
SELECT 'board/' || row_no, 'board', row_no, 'Trail shoe of shelf ' || row_no, 'fixed', 'worn', 'pair',
  DATE '2026-01-01', DATE '2026-01-01' + {nights} - 1, 'open'
FROM range(1, {each} + 1) rows(row_no);
"""
HELD = "SELECT count(*) || ' ' || bit_xor(hash(t)) || ' ' || sum(hash(t)::HUGEINT) FROM {} t"


def held(store: Path) -> list[str]:
    """Return count and hash of the tables that were filled."""
    connection = open_file(store, read_only=True)
    try:
        names = ("feed", "raw_row", "sighting", "listing")
        return [connection.execute(HELD.format(name)).fetchall()[0][0] for name in names]
    finally:
        connection.close()


def main(sightings: int) -> int:
    """Run the drill; return 1 when what came back is not what was."""
    with TemporaryDirectory() as name:
        store = Path(name, "t.duckdb")
        with open_store(store) as connection:
            connection.execute(FILL.format(nights=NIGHTS, each=sightings // NIGHTS))
        before = held(store)
        times = {}
        for what, arguments in {
            "backup": ["backup"], "verify": ["verify"], "drill": ["restore", "--drill"], "restore": ["restore"],
        }.items():  # fmt: skip
            if what == "restore":
                store.write_bytes(store.read_bytes()[: 5 << 20])
            start = time.monotonic()
            done = triage("store", *arguments, "--store", store)
            times[what] = round(time.monotonic() - start, 1)
            if done.returncode:
                print(done.stdout, done.stderr)
                return 1
        same = held(store) == before
        tell("drill", 0, sightings=sightings, store_mb=round(store.stat().st_size / 1e6), seconds=times, same=same)
    return not same


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 2_000_000))
