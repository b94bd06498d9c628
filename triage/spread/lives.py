"""Lives that pairs of several partitions have led: one number each, as if all had been aged together.

Every partition numbers its own lives. Here they get the numbers of ``prognosis.run``: lives that agree in all that ages
them are one, in the order of the listings, among as many candidates as it looks at together.
"""

from collections.abc import Sequence

from triage.prognosis import CLOCKS_AT_ONCE, LAST, UNLED
from triage.prognosis.clocks import LIFE, distinct_lives, read_clocks
from triage.spread.files import rows_of, write_frame
from triage.spread.partition import Kit, Partition
from triage.store import Connection

# The same values, the same kind; NULL is a value here.
KINDS = """
CREATE OR REPLACE TEMP TABLE life_kind AS
SELECT share, life, dense_rank() OVER (ORDER BY {life}) AS kind
FROM {kinds}
"""
NUMBERED = """
CREATE OR REPLACE TEMP TABLE life_number AS
WITH
  ordered AS (
    SELECT l.listing_id, l.place, l.share, l.life, k.kind, row_number() OVER (ORDER BY l.listing_id, l.place) - 1 AS nth
    FROM {led} l
    JOIN life_kind k ON k.share = l.share AND k.life = l.life
  ),
  met AS (SELECT *, min(nth) OVER (PARTITION BY nth // $most, kind) AS first FROM ordered)
SELECT listing_id, place, share, life, nth = first AS told, $last + dense_rank() OVER (ORDER BY first) AS number, nth
FROM met
"""
LED = "INSERT INTO life_led SELECT listing_id, place, number FROM life_number ORDER BY nth"
# Of the partitions that know a life the first to have met it tells how its parts aged.
PARTS = """
INSERT INTO life_part BY NAME
SELECT n.number AS life, p.* EXCLUDE (life, share, file_row_number)
FROM {rows} p
JOIN life_number n ON n.told AND n.share = p.share AND n.life = p.life
ORDER BY n.number, p.file_row_number
"""


def keep_kinds(store: Connection, kit: Kit, partition: Partition) -> None:
    """Write what each of this partition's lives is: its number, and all that ages it."""
    lives, _ = distinct_lives(read_clocks(store, kit.catalogue.climates, partition.as_of))
    write_frame(lives, partition.file("life_kind"))


def take_lives(store: Connection, partitions: Sequence[Partition]) -> None:
    """Put the lives of all partitions where those of the listings in ``todo`` stood."""
    store.execute("DELETE FROM life_led WHERE listing_id IN (SELECT listing_id FROM todo)")
    store.execute(UNLED)
    ((last,),) = store.execute(LAST).fetchall()
    store.execute(KINDS.format(life=", ".join(LIFE), kinds=_of_all(partitions, "life_kind")))
    store.execute(NUMBERED.format(led=_of_all(partitions, "life_led")), {"most": CLOCKS_AT_ONCE, "last": last})
    store.execute(LED)
    store.execute(PARTS.format(rows=_of_all(partitions, "life_part")))
    for table in ("life_kind", "life_number"):
        store.execute(f"DROP TABLE {table}")


def _of_all(partitions: Sequence[Partition], table: str) -> str:
    """Return what stands behind FROM to read a table of all partitions, with their numbers in ``share``."""
    each = (
        f"SELECT *, file_row_number, {partition.number} AS share FROM {rows_of([partition.file(table)])}"
        for partition in partitions
    )
    return f"({' UNION ALL '.join(each)})"
