"""A night over several machines: partitions of the listings, weighed by the stages themselves, taken in by one writer.

What a partition holds beside its own listings is what they are looked at with: all texts of their sellers, and the
pairs of their lots. What hangs on the listings of all partitions is reduced by key: twins by block, what the open
pairs of a release ask by release, which pairs others may be compared with by model, and lives by all that ages them.
Rows are the same, byte for byte, as in one process.
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory

import polars as pl

from triage import verdict
from triage.catalogue.words import TwinWords
from triage.listing import Reading
from triage.observation import SELLERS
from triage.progress import Step, silent
from triage.rules.findings import UNMET
from triage.spread import cells, tasks
from triage.spread.engine import Engine, Here
from triage.spread.files import rows_of, take, write, write_partitioned, write_pickle
from triage.spread.lives import take_lives
from triage.spread.partition import Kit, Partition, made_by
from triage.spread.twins import write_twins
from triage.store import Connection, work_folder

__all__ = ["Engine", "Here", "Kit", "Spread"]

# A partition of so many listings needs about 1.5 GB, and is redone in seconds when its worker dies.
PARTITION_LISTINGS = 50_000
MOST_BUCKETS = 64
NOT_THESE = "NOT IN (SELECT listing_id FROM todo)"

# Listings of one seller are read together; a lot and its pairs are of one seller.
SHARED_OUT = """
CREATE OR REPLACE TEMP TABLE share AS
SELECT
  listing_id,
  (CASE
    WHEN seller IS NULL THEN hash(coalesce(lot_id, listing_id))
    ELSE hash(source, seller)
  END % $1)::INTEGER AS share
FROM listing
SEMI JOIN todo USING (listing_id)
"""
# A seller's standing sentences show in all his texts, and a lot is none where its pairs are weighed: what is not itself
# to be weighed is sent along, so that nothing hangs on who is in which partition.
SENT = """
CREATE OR REPLACE TEMP TABLE sent AS
SELECT listing_id, share, bool_or(own) AS own
FROM (
  SELECT listing_id, share, TRUE AS own
  FROM share
  UNION ALL
  SELECT l.listing_id, s.share, FALSE
  FROM listing l
  JOIN (SELECT DISTINCT source, seller, share FROM share JOIN listing USING (listing_id)) s
    ON s.source = l.source AND s.seller = l.seller
  WHERE l.body IS NOT NULL
  UNION ALL
  SELECT l.listing_id, s.share, FALSE
  FROM listing l
  JOIN share s ON s.listing_id = l.lot_id
)
GROUP BY listing_id, share
"""
GIVEN = {
    "listing": "SELECT l.*, own, share FROM listing l JOIN sent USING (listing_id)",
    # The later of two answers of one day counts.
    "answer": "SELECT a.*, share FROM answer a JOIN share USING (listing_id) ORDER BY a.rowid",
    "twin": "SELECT t.*, share FROM twin t JOIN share USING (listing_id)",
    "sighting": "SELECT s.*, share FROM sighting s JOIN share USING (listing_id)",
    "call_history": "SELECT h.*, share FROM call_history h JOIN share USING (listing_id) "
    "QUALIFY row_number() OVER (PARTITION BY listing_id, buyer ORDER BY place DESC) = 1",
}
# Sets of rules left open have the same number in every partition.
OPEN_RULES = """
INSERT INTO open_rule
SELECT DISTINCT open_set, rule_id, part, grouping, missing
FROM {rows}
WHERE open_set NOT IN (SELECT open_set FROM open_rule)
ORDER BY open_set, rule_id, part
"""
TAKEN_IN = (*tasks.MATCHED, *tasks.BELIEVED, *tasks.JUDGED)


@dataclass(frozen=True)
class Spread:
    """Where the work of a night goes, and in how many partitions.

    Attributes:
        partitions: How many; None: as many as tasks are worked on at once, and more where one would have more
            than ``PARTITION_LISTINGS``.
    """

    engine: Engine
    partitions: int | None = None

    def partitions_of(self, count: int) -> int:
        """Return in how many partitions so many listings or rows go."""
        return self.partitions or max(1, self.engine.workers, -(-count // PARTITION_LISTINGS))

    def weigh(self, store: Connection, kit: Kit, as_of: date, step: Step = silent) -> None:
        """Do stages 3 to 7 over ``todo``, and keep the calls that changed; the caller holds the transaction.

        The construction table must be loaded.

        Raises:
            TriageError: A rule took too long, or a worker lacks the folder or the versions; nothing was written.
        """
        with _folder(store) as folder:
            partitions = self._hand_out(store, kit, folder, as_of)
            buckets = [replace(partitions[0], number=number, given={}) for number in range(partitions[0].buckets)]
            step("finding releases")
            self.engine.map(tasks.find_releases, partitions)
            self.engine.map(tasks.reduce_asked, buckets)
            step("reading, ageing, applying the rules")
            self.engine.map(tasks.believe, partitions)
            self.engine.map(tasks.reduce_offers, buckets)
            step("weighing for each buyer")
            self.engine.map(tasks.judge, partitions)
            step("taking in")
            _take_in(store, partitions)

    def normalised(
        self, store: Connection, kit: Kit, rows: pl.DataFrame, _: Reading
    ) -> tuple[pl.DataFrame, pl.DataFrame]:
        """Return what ``listing.normalise`` makes of cells; the words it goes by are in the kit too."""
        with _folder(store) as folder:
            first = self._first(folder, kit, date.min, rows.height)
            return cells.normalised(self.engine, rows, first)

    def twins(self, kit: Kit, store: Connection, _: TwinWords) -> None:
        """Write the couples of all listings of the store, as ``listing.run`` wants it."""
        ((count,),) = store.execute("SELECT count(*) FROM listing").fetchall()
        with _folder(store) as folder:
            write_twins(self.engine, store, self._first(folder, kit, date.min, count))

    def _first(self, folder: Path, kit: Kit, as_of: date, count: int) -> Partition:
        """Return the first of the partitions of so many rows, with nothing given to it yet."""
        partitions = self.partitions_of(count)
        return Partition(
            folder, 0, partitions, min(partitions, MOST_BUCKETS), as_of, write_pickle(kit, folder), made_by(), {}
        )

    def _hand_out(self, store: Connection, kit: Kit, folder: Path, as_of: date) -> list[Partition]:
        """Write what the partitions need, and what the listings that stay as they are say to the reductions."""
        ((count,),) = store.execute("SELECT count(*) FROM todo").fetchall()
        first = self._first(folder, kit, as_of, count)
        write(store, "SELECT * FROM construction ORDER BY rowid", folder / "construction.parquet")
        store.execute(SHARED_OUT, [first.partitions])
        store.execute(SENT)
        files = {table: write_partitioned(store, query, folder / "given" / table) for table, query in GIVEN.items()}
        kept = replace(first, number=-1)
        tasks.say_asked(store, kept, f"m.listing_id {NOT_THESE}")
        tasks.say_offers(store, kept, kit.ground.values.sound_from, f"l.listing_id {NOT_THESE}")
        for table in ("share", "sent", "asked", "offers"):
            store.execute(f"DROP TABLE {table}")
        return [
            replace(first, number=number, given={table: shares.get(number, ()) for table, shares in files.items()})
            for number in range(first.partitions)
        ]


def _take_in(store: Connection, partitions: Sequence[Partition]) -> None:
    """Put what the partitions wrote where the rows of the listings in ``todo`` stood."""
    for table in TAKEN_IN:
        store.execute(f"DELETE FROM {table} WHERE listing_id IN (SELECT listing_id FROM todo)")
        take(store, table, [partition.file(table) for partition in partitions])
    store.execute(f"DELETE FROM habit WHERE (source, seller) IN {SELLERS}")
    store.execute(f"INSERT INTO habit FROM {rows_of([partition.file('habit') for partition in partitions])}")
    store.execute(UNMET)
    store.execute(OPEN_RULES.format(rows=rows_of([partition.file("open_rule") for partition in partitions])))
    take_lives(store, partitions)
    take(store, "call_history", [partition.file("call_history") for partition in partitions])
    store.execute("DELETE FROM storage_node")
    store.execute(f"INSERT INTO storage_node FROM {rows_of([partitions[0].file('storage_node')])}")
    verdict.rank(store)


@contextmanager
def _folder(store: Connection) -> Iterator[Path]:
    """Yield a folder for the files of a run, beside the store; it is gone afterwards, or at the next start."""
    # A worker that was given up may still be at its last file.
    with TemporaryDirectory(prefix="spread-", dir=work_folder(store), ignore_cleanup_errors=True) as folder:
        yield Path(folder).resolve()
