"""Twins over partitions: keys are counted by key, couples looked for by block, and judged where the first of them is.

Seven steps, each a function of one partition. A partition is a slice of the listings, in the order of their ids, and a
bucket of keys at once: what a step sends goes by the number of the partition that needs it. Listings are known by their
place in that order (row).
"""

from dataclasses import dataclass, replace

import polars as pl

from triage.listing import twins
from triage.spread.engine import Engine
from triage.spread.files import read_frames, take, write_frame, write_partitioned
from triage.spread.partition import Partition, at_work
from triage.store import Connection

COUPLE = {"row": pl.UInt32, "other": pl.UInt32}
# What stocks are told by.
STOCK = ["source", "seller", "name", "size"]
SLICED = """
SELECT *, (row // {size})::INTEGER AS share
FROM (SELECT (row_number() OVER (ORDER BY listing_id) - 1)::UINTEGER AS row, * FROM ({listings}))
"""


@dataclass(frozen=True)
class Slice(Partition):
    """Some listings, one after the other.

    Attributes:
        size: Listings of each slice but the last.
    """

    size: int

    def send(self, name: str, rows: pl.DataFrame, to: pl.Expr) -> None:
        """Write rows for other partitions."""
        write_frame(rows.with_columns(to=to.cast(pl.UInt32)).sort("to"), self.file(name))

    def send_by(self, name: str, rows: pl.DataFrame, key: pl.Expr) -> None:
        """Write rows for the partitions that have their keys, 64-bit numbers, in hand."""
        self.send(name, rows, key % self.partitions)

    def send_home(self, name: str, rows: pl.DataFrame, row: str = "row") -> None:
        """Write rows for the partitions that have their listings."""
        self.send(name, rows, pl.col(row) // self.size)

    def sent(self, name: str) -> pl.DataFrame:
        """Return what all partitions wrote for this one."""
        files = [self.folder / name / f"{number}.parquet" for number in range(self.partitions)]
        mine = pl.scan_parquet(files, hive_partitioning=False).filter(pl.col("to") == self.number)
        return mine.drop("to").collect()

    def wrote(self, name: str) -> pl.DataFrame:
        """Return what this partition wrote for itself."""
        return pl.read_parquet(self.file(name))


def write_twins(engine: Engine, store: Connection, first: Partition) -> None:
    """Judge every listing of the store anew and write the couples.

    Args:
        first: The first of the partitions, with the folder that holds what all know.
    """
    ((count,),) = store.execute(f"SELECT count(*) FROM ({twins.LISTINGS})").fetchall()
    size = max(1, -(-count // first.partitions))
    files = write_partitioned(
        store, SLICED.format(size=size, listings=twins.LISTINGS), first.folder / "given" / "listing"
    )
    slices = [
        Slice(**{**vars(first), "number": number, "given": {"listing": files.get(number, ())}}, size=size)
        for number in sorted(files)
    ]
    slices = [replace(one, partitions=len(slices)) for one in slices]
    for step in (name_keys, count_keys, name_blocks, find_couples, send_facts, judge_couples, tell):
        engine.map(step, slices)
    for table, name in (("twin", "twin"), ("twin_key", "key")):
        store.execute(f"DELETE FROM {table}")
        take(store, table, [one.file(name) for one in slices])


def name_keys(partition: Slice) -> None:
    """Send what is counted: the pattern of each description, stocks, sentences, names of photos."""
    with at_work(partition) as kit:
        words = kit.catalogue.words.twin
        listed = read_frames(partition.given["listing"]).sort("row")
        worded = twins.worded(listed.with_columns(size=twins.size_key()), words)
        write_frame(worded, partition.file("worded"))
        parts = twins.sentences(worded, words)
        kept = twins.keys_of(worded, parts).with_columns(made_by=pl.lit(twins.made_by_of(words)))
        write_frame(kept, partition.file("key"))
        partition.send_by("pattern", worded.select("row", "pattern"), pl.col("pattern"))
        stock = worded.select("row", *STOCK, "first_seen", "last_seen").drop_nulls("seller")
        partition.send_by("stock", stock, pl.struct(STOCK).hash())
        partition.send_by("sentence", parts, pl.col("part"))
        partition.send_by("photo", twins.file_names(worded), pl.col("name").hash())


def count_keys(partition: Slice) -> None:
    """Count keys, and send what that says of each listing."""
    with at_work(partition) as kit:
        words = kit.catalogue.words.twin
        partition.send_home("template", partition.sent("pattern").filter(twins.is_template(words)).select("row"))
        partition.send_home("stocked", twins.stocked(partition.sent("stock")))
        partition.send_home("shared_sentence", twins.shared_sentences(partition.sent("sentence"), words))
        partition.send_home("shared_file", twins.shared_files(partition.sent("photo"), words))


def name_blocks(partition: Slice) -> None:
    """Mark the listings, and send the blocks they are in."""
    with at_work(partition):
        worded, files = partition.wrote("worded"), partition.sent("shared_file")
        marked = worded.with_columns(
            pl.col("row").is_in(partition.sent(name)["row"].implode()).alias(name) for name in ("template", "stocked")
        )
        write_frame(marked, partition.file("marked"))
        write_frame(files, partition.file("files"))
        found = twins.blocks(marked, twins.rarest(partition.sent("shared_sentence")), files)
        keyed = [rows.select("row", key=pl.struct(keys).hash(), block=pl.lit(name)) for name, rows, keys in found]
        partition.send_by("block", pl.concat(keyed), pl.col("key"))


def find_couples(partition: Slice) -> None:
    """Send the couples of the blocks to where their first listing is; where the other is, say who needs it."""
    with at_work(partition) as kit:
        cap = kit.catalogue.words.twin.block_cap
        found = [pl.DataFrame(schema=COUPLE)]
        for (name,), keyed in partition.sent("block").group_by(["block"], maintain_order=True):
            found.append(twins.block_couples(keyed, ["key"], str(name), cap))
        couples = pl.concat(found).unique()
        partition.send_home("couple", couples)
        partition.send_home("wanted", couples.select(row="other", by=pl.col("row") // partition.size).unique())


def send_facts(partition: Slice) -> None:
    """Send what is known of listings to where they are compared with others."""
    with at_work(partition):
        wanted = partition.sent("wanted").unique().filter(pl.col("by") != partition.number)
        for name, facts in (("fact", partition.wrote("marked")), ("fact_file", partition.wrote("files"))):
            partition.send(name, wanted.join(facts, on="row"), pl.col("by"))


def judge_couples(partition: Slice) -> None:
    """Judge the couples whose first listing is here, and send them to where either is."""
    with at_work(partition) as kit:
        marked, files = (
            pl.concat([partition.wrote(own), partition.sent(others).drop("by")])
            for own, others in (("marked", "fact"), ("files", "fact_file"))
        )
        couples = partition.sent("couple").unique().sort("row", "other")
        judged = twins.judged(marked, files, couples, kit.catalogue.words.twin)
        both = pl.concat([judged.with_columns(home=pl.col(end) // partition.size) for end in ("row", "other")])
        partition.send("judged", both.unique(["row", "other", "home"]), pl.col("home"))


def tell(partition: Slice) -> None:
    """Write the couples of these listings, with the reasons in words."""
    with at_work(partition):
        told, own = twins.told(partition.sent("judged").drop("home")), partition.wrote("worded")
        write_frame(told.join(own, on="listing_id", how="semi", maintain_order="left"), partition.file("twin"))
