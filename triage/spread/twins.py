"""Twins over parts: keys are counted by key, couples looked for by block, and judged where the first of them is.

Seven steps, each a function of one part. A part is a slice of the listings, in the order of their ids, and a bucket of
keys at once: what a step sends goes by the number of the part that needs it. Listings are known by their place (row).
"""

from dataclasses import dataclass, replace

import polars as pl

from triage.listing import twins
from triage.spread.engine import Engine
from triage.spread.files import read_frames, take, write_frame, write_parted
from triage.spread.partition import Part, at_work
from triage.store import Connection

COUPLE = {"row": pl.UInt32, "other": pl.UInt32}
# What stocks are told by.
STOCK = ["source", "seller", "name", "size"]
SLICED = """
SELECT *, (row // {size})::INTEGER AS share
FROM (SELECT (row_number() OVER (ORDER BY listing_id) - 1)::UINTEGER AS row, * FROM ({listings}))
"""


@dataclass(frozen=True)
class Slice(Part):
    """Some listings, one after the other.

    Attributes:
        size: Listings of each slice but the last.
    """

    size: int

    def send(self, name: str, rows: pl.DataFrame, to: pl.Expr) -> None:
        """Write rows for other parts."""
        write_frame(rows.with_columns(to=to.cast(pl.UInt32)).sort("to"), self.file(name))

    def send_by(self, name: str, rows: pl.DataFrame, key: pl.Expr) -> None:
        """Write rows for the parts that have their keys, 64-bit numbers, in hand."""
        self.send(name, rows, key % self.parts)

    def send_home(self, name: str, rows: pl.DataFrame, row: str = "row") -> None:
        """Write rows for the parts that have their listings."""
        self.send(name, rows, pl.col(row) // self.size)

    def sent(self, name: str) -> pl.DataFrame:
        """Return what all parts wrote for this one."""
        files = [self.folder / name / f"{number}.parquet" for number in range(self.parts)]
        mine = pl.scan_parquet(files, hive_partitioning=False).filter(pl.col("to") == self.number)
        return mine.drop("to").collect()

    def wrote(self, name: str) -> pl.DataFrame:
        """Return what this part wrote for itself."""
        return pl.read_parquet(self.file(name))


def write_twins(engine: Engine, store: Connection, first: Part) -> None:
    """Judge every listing of the store anew and write the couples.

    Args:
        first: The first of the parts, with the folder that holds what all know.
    """
    ((count,),) = store.execute(f"SELECT count(*) FROM ({twins.LISTINGS})").fetchall()
    size = max(1, -(-count // first.parts))
    files = write_parted(store, SLICED.format(size=size, listings=twins.LISTINGS), first.folder / "given" / "listing")
    slices = [
        Slice(**{**vars(first), "number": number, "given": {"listing": files.get(number, ())}}, size=size)
        for number in sorted(files)
    ]
    slices = [replace(one, parts=len(slices)) for one in slices]
    for step in (name_keys, count_keys, name_blocks, find_couples, send_facts, judge_couples, tell):
        engine.map(step, slices)
    store.execute("DELETE FROM twin")
    take(store, "twin", [one.file("twin") for one in slices])


def name_keys(part: Slice) -> None:
    """Send what is counted: the pattern of each description, stocks, sentences, names of photos."""
    with at_work(part) as kit:
        words = kit.catalogue.words.twin
        listed = read_frames(part.given["listing"]).sort("row")
        worded = twins.worded(listed, words)
        write_frame(worded, part.file("worded"))
        part.send_by("pattern", worded.select("row", "pattern"), pl.col("pattern"))
        stock = worded.select("row", *STOCK, "first_seen", "last_seen").drop_nulls("seller")
        part.send_by("stock", stock, pl.struct(STOCK).hash())
        part.send_by("sentence", twins.sentences(worded, words), pl.col("part"))
        part.send_by("photo", twins.file_names(worded), pl.col("name").hash())


def count_keys(part: Slice) -> None:
    """Count keys, and send what that says of each listing."""
    with at_work(part) as kit:
        words = kit.catalogue.words.twin
        part.send_home("template", part.sent("pattern").filter(twins.is_template(words)).select("row"))
        part.send_home("stocked", twins.stocked(part.sent("stock")))
        part.send_home("shared_sentence", twins.shared_sentences(part.sent("sentence"), words))
        part.send_home("shared_file", twins.shared_files(part.sent("photo"), words))


def name_blocks(part: Slice) -> None:
    """Mark the listings, and send the blocks they are in."""
    with at_work(part):
        worded, files = part.wrote("worded"), part.sent("shared_file")
        marked = worded.with_columns(
            pl.col("row").is_in(part.sent(name)["row"].implode()).alias(name) for name in ("template", "stocked")
        )
        write_frame(marked, part.file("marked"))
        write_frame(files, part.file("files"))
        found = twins.blocks(marked, twins.rarest(part.sent("shared_sentence")), files)
        keyed = [rows.select("row", key=pl.struct(keys).hash(), block=pl.lit(name)) for name, rows, keys in found]
        part.send_by("block", pl.concat(keyed), pl.col("key"))


def find_couples(part: Slice) -> None:
    """Send the couples of the blocks to where their first listing is; where the other is, say who needs it."""
    with at_work(part) as kit:
        cap = kit.catalogue.words.twin.block_cap
        found = [pl.DataFrame(schema=COUPLE)]
        for (name,), keyed in part.sent("block").group_by(["block"], maintain_order=True):
            found.append(twins.block_couples(keyed, ["key"], str(name), cap))
        couples = pl.concat(found).unique()
        part.send_home("couple", couples)
        part.send_home("wanted", couples.select(row="other", by=pl.col("row") // part.size).unique())


def send_facts(part: Slice) -> None:
    """Send what is known of listings to where they are compared with others."""
    with at_work(part):
        wanted = part.sent("wanted").unique().filter(pl.col("by") != part.number)
        for name, facts in (("fact", part.wrote("marked")), ("fact_file", part.wrote("files"))):
            part.send(name, wanted.join(facts, on="row"), pl.col("by"))


def judge_couples(part: Slice) -> None:
    """Judge the couples whose first listing is here, and send them to where either is."""
    with at_work(part) as kit:
        marked, files = (
            pl.concat([part.wrote(own), part.sent(others).drop("by")])
            for own, others in (("marked", "fact"), ("files", "fact_file"))
        )
        couples = part.sent("couple").unique().sort("row", "other")
        judged = twins.judged(marked, files, couples, kit.catalogue.words.twin)
        both = pl.concat([judged.with_columns(home=pl.col(end) // part.size) for end in ("row", "other")])
        part.send("judged", both.unique(["row", "other", "home"]), pl.col("home"))


def tell(part: Slice) -> None:
    """Write the couples of these listings, with the reasons in words."""
    with at_work(part):
        told, own = twins.told(part.sent("judged").drop("home")), part.wrote("worded")
        write_frame(told.join(own, on="listing_id", how="semi", maintain_order="left"), part.file("twin"))
