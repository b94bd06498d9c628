"""The same pair under another id: relisted by its seller, or copied to another marketplace.

Couples are looked for in blocks of listings that share a key and fit the same foot; each couple is judged by itself,
from what the two share and where they differ, never because both resemble a third.
"""

import hashlib
import logging
from collections.abc import Callable

import polars as pl

from triage.blocks import in_order
from triage.catalogue.words import TwinWords
from triage.listing.likeness import best_odds, log_odds, odds, photos_compared, texts_compared, titles_compared
from triage.listing.phrases import Phrase, book, compatible, spaced
from triage.order import ordered
from triage.store import Connection, append, frame, registered, rows_of

LOG = logging.getLogger(__name__)
CHUNK_COUPLES = 250_000
LISTINGS_AT_ONCE = 50_000  # whose words and texts are in memory beside each other
WIDE_BLOCKS = 50  # sizes part the listings that share a sentence into about so many blocks
# Raised with every change of the program after which ``text_keys`` returns something else: then all are made anew.
HASHES = 1
ORDINALS = ["", "", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth"]

# What listings are compared by.
OF_PAIRS = """
  SELECT
    listing_id,
    source,
    lower(seller) AS seller,
    price_base_minor,
    foot_mm_lo,
    foot_mm_hi,
    image_names,
    first_seen,
    last_seen{more}
  FROM listing
  {keyed}
  WHERE kind = 'pair'
"""
LISTINGS = f"{OF_PAIRS.format(more=', title, body', keyed='')}  ORDER BY listing_id\n"
KEYED = OF_PAIRS.format(more=", name, pattern, sentences", keyed="LEFT JOIN twin_key USING (listing_id)")
KEYS = ("name", "pattern", "sentences")
STALE = "DELETE FROM twin_key WHERE made_by <> ?"
TEXTS = f"SELECT listing_id, title, body FROM ({rows_of('listing', 'compared')})"

# Ids of listings to their titles and descriptions.
Texts = Callable[[pl.Series], pl.DataFrame]


def write_twins(store: Connection, words: TwinWords) -> None:
    """Judge every listing of the store anew and write the couples; a text is hashed once and for all."""

    def texts(ids: pl.Series) -> pl.DataFrame:
        with registered(store, "compared", ids.to_frame("listing_id")):
            return ordered(frame(store, TEXTS), "listing_id")

    found = _found(_keyed(store, texts, words), texts, words)
    store.execute("DELETE FROM twin")
    append(store, "twin", found)


def _keyed(store: Connection, texts: Texts, words: TwinWords) -> pl.DataFrame:
    """Return all pairs with their keys, and keep those that are new: stage 2 takes out what reads otherwise."""
    made_by = made_by_of(words)
    store.execute(STALE, [made_by])
    keyed = ordered(frame(store, KEYED), "listing_id")
    unkeyed = keyed.filter(pl.col("name").is_null())["listing_id"]
    if unkeyed.is_empty():
        return keyed
    fresh = text_keys(texts(unkeyed), words)
    append(store, "twin_key", fresh.with_columns(made_by=pl.lit(made_by)))
    both = keyed.join(fresh, on="listing_id", how="left", suffix="_fresh", maintain_order="left")
    return both.with_columns(pl.coalesce(name, f"{name}_fresh") for name in KEYS).select(keyed.columns)


def made_by_of(words: TwinWords) -> str:
    """Return what a text's keys hang on beside the text: the words, and how Polars hashes, which may change."""
    return hashlib.sha256(f"{HASHES} {pl.__version__} {words.noise} {words.sentence_letters}".encode()).hexdigest()[:16]


def find_twins(listings: pl.DataFrame, words: TwinWords) -> pl.DataFrame:
    """Return couples of listings that are probably one pair, both ways.

    Args:
        listings: ``listing_id, source, seller`` (lower case), ``title, body, price_base_minor, foot_mm_lo,
            foot_mm_hi, image_names, first_seen, last_seen``, in the order of the ids.
        words: Weights, noise words and the cap of a block.

    Returns:
        ``listing_id, twin_id, kind, probability, why``, ordered by the ids.
    """
    texts = listings.select("listing_id", "title", "body")
    keyed = listings.drop("title", "body").join(text_keys(texts, words), on="listing_id", maintain_order="left")
    return _found(keyed, lambda ids: texts.filter(pl.col("listing_id").is_in(ids.implode())), words)


def _found(keyed: pl.DataFrame, texts: Texts, words: TwinWords) -> pl.DataFrame:
    """Return what ``find_twins`` does.

    Args:
        keyed: Listings in the order of their ids, with their ``text_keys`` instead of title and description.
        texts: Gives the texts of those that are compared.
    """
    keyed = keyed.with_row_index("row").with_columns(size=size_key())
    keyed = keyed.with_columns(
        template=is_template(words), stocked=pl.col("row").is_in(stocked(keyed)["row"].implode())
    )
    parts = keyed.select("row", part="sentences").explode("part", keep_nulls=False, empty_as_null=False)
    files = shared_files(file_names(keyed), words)
    found = blocks(keyed, rarest(shared_sentences(parts, words)), files)
    couples = pl.concat([block_couples(rows, keys, name, words.block_cap) for name, rows, keys in found])
    couples = possible(couples.unique().sort("row", "other"), keyed)
    either = pl.concat([couples["row"], couples["other"]]).unique()
    marked = keyed.filter(pl.col("row").is_in(either.implode()))
    theirs = worded(texts(marked["listing_id"]), words).select("listing_id", "tokens", "text")
    marked = marked.join(theirs, on="listing_id", maintain_order="left")
    return told(judged(marked, files, couples, words))


def text_keys(texts: pl.DataFrame, words: TwinWords) -> pl.DataFrame:
    """Return what blocks are made by of each text: ``listing_id, name, pattern, sentences``, hashes of 64 bits.

    Args:
        texts: ``listing_id, title, body``.
    """

    def read(some: pl.DataFrame) -> pl.DataFrame:
        rows = worded(some.with_row_index("row"), words)
        return keys_of(rows, sentences(rows, words))

    # Words and texts are most of it: of all listings only what they hash to is kept.
    return pl.concat(in_order(read, list(texts.iter_slices(LISTINGS_AT_ONCE)) or [texts]))


def keys_of(rows: pl.DataFrame, parts: pl.DataFrame) -> pl.DataFrame:
    """Return ``text_keys`` of listings as ``worded`` and ``sentences`` return them."""
    theirs = parts.group_by("row", maintain_order=True).agg(sentences="part")
    keyed = rows.select("row", "listing_id", "name", "pattern").join(
        theirs, on="row", how="left", maintain_order="left"
    )
    return keyed.drop("row").with_columns(pl.col("sentences").fill_null([]))


def worded(listings: pl.DataFrame, words: TwinWords) -> pl.DataFrame:
    """Add the title's words without noise, the description as text, and hashes of both: name and pattern.

    Args:
        listings: ``title, body`` and whatever else.
    """
    noise = book(Phrase(word, "noise") for word in words.noise.words)
    key = spaced(pl.col("title")).str.replace_many(noise.patterns, [" "] * len(noise.patterns), leftmost=True)
    return (
        listings.with_columns(compatible(listings["title"]), compatible(listings["body"]))
        .with_columns(
            tokens=key.str.extract_all(r"[^ ¶]+").list.unique(),
            text=pl.col("body").str.to_lowercase().str.replace_all("\n", " ", literal=True),
        )
        .with_columns(
            # a sum of hashes does not depend on the order of the words
            name=pl.col("tokens").list.eval(pl.element().hash()).list.sum(),
            pattern=pl.col("text").str.replace_all("[0-9]+", "").hash(),
        )
        .drop("body")
    )


def size_key() -> pl.Expr:
    """Return the size as a key."""
    return pl.format("{}-{}", pl.col("foot_mm_lo").round(0), pl.col("foot_mm_hi").round(0)).fill_null("?")


def is_template(words: TwinWords) -> pl.Expr:
    """Return whether a description stands in many listings, but for its numbers."""
    return pl.len().over("pattern") > words.template_uses


def stocked(marked: pl.DataFrame) -> pl.DataFrame:
    """Return the rows of which a seller shows several of one title and size at one time: stock, not a relist."""
    group = ["source", "seller", "name", "size"]
    overlap = pl.col("first_seen") <= pl.col("last_seen").cum_max().shift(1)
    # The window is worked out group by group, which is slow, so only where there is more than one.
    several = marked.filter(pl.col("seller").is_not_null() & pl.struct(group).hash().is_duplicated())
    return several.filter(overlap.any().over(group, order_by="first_seen")).select("row")


def sentences(marked: pl.DataFrame, words: TwinWords) -> pl.DataFrame:
    """Return row and part, the hash of each longer sentence of a description."""
    return (
        marked.select("row", part=pl.col("text").str.split("."))
        .explode("part")
        .filter(pl.col("part").str.len_chars() >= words.sentence_letters)
        .select("row", part=pl.col("part").str.strip_chars().hash())
    )


def shared_sentences(parts: pl.DataFrame, words: TwinWords) -> pl.DataFrame:
    """Return the sentences that stand in another listing too, but in no template: row, part, uses."""
    counts = parts.group_by("part").agg(uses=pl.len())
    most = WIDE_BLOCKS * words.block_cap
    common = counts.filter(pl.col("uses") > most).height
    if common:
        LOG.info("twins by sentence: %d sentences that stand in more than %d listings are no key", common, most)
    return parts.join(counts.filter(pl.col("uses").is_between(2, most)), on="part")


def rarest(shared: pl.DataFrame) -> pl.DataFrame:
    """Return the two rarest sentences of each description: row, part."""
    return shared.sort("row", "uses", "part").group_by("row", maintain_order=True).head(2).select("row", "part")


def file_names(marked: pl.DataFrame) -> pl.DataFrame:
    """Return row and name, the file name of each photo."""
    return marked.select("row", name=pl.col("image_names").str.split(" ")).drop_nulls().explode("name")


def shared_files(names: pl.DataFrame, words: TwinWords) -> pl.DataFrame:
    """Return the file names that stand in another listing too, and whether one is a photo's own: row, file, own.

    A name with few digits is a counter or a word; one that many listings have is a catalogue's picture.
    """
    names = names.with_columns(file=pl.col("name").hash(), uses=pl.len().over("name")).filter(pl.col("uses") > 1)
    own = (pl.col("uses") <= words.template_uses) & (pl.col("name").str.count_matches("[0-9]") >= words.image_digits)
    return names.select("row", "file", own=own)


def blocks(
    marked: pl.DataFrame, sentences: pl.DataFrame, files: pl.DataFrame
) -> list[tuple[str, pl.DataFrame, list[str]]]:
    """Return what couples may share, as name, rows and the columns that are the key: always a size that fits."""
    keyed = marked.select("row", "source", "seller", "size", "name")
    by_sentence = sentences.join(keyed.select("row", "size"), on="row")
    by_photo = files.filter("own").join(keyed.select("row", "size"), on="row")
    return [
        ("seller, size and marketplace", keyed.drop_nulls("seller"), ["source", "seller", "size"]),
        ("seller and title", keyed.drop_nulls("seller"), ["source", "seller", "name", "size"]),
        ("title and size", keyed, ["name", "size"]),
        ("sentence and size", by_sentence, ["part", "size"]),
        ("photo and size", by_photo, ["file", "size"]),
    ]


def block_couples(rows: pl.DataFrame, keys: list[str], name: str, cap: int) -> pl.DataFrame:
    """Return the couples of one key; blocks above the cap are left out, and said so."""
    sized = rows.select("row", *keys).with_columns(block=pl.len().over(keys))
    left_out = sized.filter(pl.col("block") > cap)
    if not left_out.is_empty():
        LOG.info(
            "twins by %s: %d blocks of more than %d listings left out, %d listings in them",
            name, left_out.select(keys).n_unique(), cap, left_out.height,
        )  # fmt: skip
    known = sized.filter(pl.col("block").is_between(2, cap)).select("row", key=pl.struct(keys).hash())
    return (
        known.join(known.rename({"row": "other"}), on="key")
        .filter(pl.col("row") < pl.col("other"))
        .select("row", "other")
    )


def judged(marked: pl.DataFrame, files: pl.DataFrame, couples: pl.DataFrame, words: TwinWords) -> pl.DataFrame:
    """Return the couples that can be one pair, with what ``told`` says of them.

    Args:
        marked: As ``worded`` returns it, with ``template`` and ``stocked``: all listings that are in a couple.
        files: As ``shared_files`` returns them, of the same listings.
    """
    photos = files.group_by("row").agg("file", own=pl.col("file").filter("own"))
    photos = marked.select("row").join(photos, on="row", how="left", maintain_order="left")
    some = list(couples.iter_slices(CHUNK_COUPLES)) or [couples]
    return pl.concat([_judged(marked, photos, part, words) for part in some])


def _judged(marked: pl.DataFrame, photos: pl.DataFrame, couples: pl.DataFrame, words: TwinWords) -> pl.DataFrame:
    """Return the couples that can be one pair, with the probability and the facts it comes from."""
    columns = ["row", "listing_id", "source", "seller", "price_base_minor", "first_seen", "last_seen", "stocked"]
    both = _possible(_beside(couples, marked.select(columns)))
    named = marked.select("row", "tokens")
    both = photos_compared(_beside(titles_compared(_beside(both, named)), photos))
    best = pl.when("same_source").then(best_odds(words.relist)).otherwise(best_odds(words.copy_))
    texts = marked.select("row", "text", "template")
    both = texts_compared(_beside(both.filter(best >= log_odds(words.keep_from)), texts))
    couple_odds = pl.when("same_source").then(odds(words.relist)).otherwise(odds(words.copy_))
    return both.with_columns(
        kind=pl.when("same_source").then(pl.lit("relist")).otherwise(pl.lit("copy")),
        probability=(1 / (1 + (-couple_odds).exp())).round(3),
    ).filter(pl.col("probability") >= words.keep_from)


def possible(couples: pl.DataFrame, marked: pl.DataFrame) -> pl.DataFrame:
    """Return the couples that stand on two marketplaces, or are one seller's and were never shown on one night."""
    both = _beside(couples, marked.select("row", "source", "seller", "first_seen", "last_seen"))
    return _possible(both).select("row", "other")


def _possible(both: pl.DataFrame) -> pl.DataFrame:
    same_source = pl.col("source") == pl.col("source_other")
    apart = (pl.col("last_seen") < pl.col("first_seen_other")) | (pl.col("last_seen_other") < pl.col("first_seen"))
    same_seller = (pl.col("seller") == pl.col("seller_other")).fill_null(False)
    return both.with_columns(same_source=same_source, same_seller=same_seller).filter(
        ~pl.col("same_source") | (pl.col("same_seller") & apart)
    )


def _beside(both: pl.DataFrame, facts: pl.DataFrame) -> pl.DataFrame:
    """Add the facts of both sides of each couple."""
    return both.join(facts, on="row", maintain_order="left").join(
        facts.rename({"row": "other"}), on="other", suffix="_other", maintain_order="left"
    )


def told(judged: pl.DataFrame) -> pl.DataFrame:
    """Return each couple both ways, with its reasons in words."""
    names = ["listing_id", "seller", "price_base_minor", "first_seen", "last_seen"]
    back = judged.rename({name: f"{name}_x" for name in names}).rename({f"{name}_other": name for name in names})
    back = back.rename({f"{name}_x": f"{name}_other" for name in names})
    both = pl.concat([judged, back.select(judged.columns)])
    later = pl.col("first_seen") > pl.col("first_seen_other")
    story = (
        both.filter(later & (pl.col("kind") == "relist"))
        .group_by("listing_id")
        .agg(
            times=pl.len() + 1,
            since=pl.col("first_seen_other").min(),
            was=pl.col("price_base_minor_other").sort_by("first_seen_other", "listing_id_other").first(),
        )
    )
    both = both.join(story, on="listing_id", how="left")
    ordinal = pl.col("times").replace_strict(dict(enumerate(ORDINALS)), default="another", return_dtype=pl.String)
    prices = pl.when(pl.col("was").is_not_null() & pl.col("price_base_minor").is_not_null()).then(
        pl.format(", {} -> {}", _whole("was"), _whole("price_base_minor"))
    )
    history = pl.when(later & pl.col("times").is_not_null()).then(
        pl.format("; {} listing since {}{}", ordinal, pl.col("since").dt.strftime("%B %Y"), prices.fill_null(""))
    )
    where = (
        pl.when(pl.col("kind") == "relist").then(pl.lit("same seller, one after the other"))
        .when("same_seller").then(pl.lit("same seller on two marketplaces")).otherwise(pl.lit("on two marketplaces"))
    )  # fmt: skip
    title = (
        pl.when(~pl.col("swapped")).then(pl.lit("same title"))
        .when("typo").then(pl.lit("title spelt otherwise")).otherwise(pl.lit("other title"))
    )  # fmt: skip
    alike = pl.format(", text {} % alike", (pl.col("text_like") * 100).floor().cast(pl.Int32))
    text = pl.when("template").then(pl.lit(", text a template")).when(pl.col("text_like").is_not_null()).then(alike)
    photo = (
        pl.when(pl.col("own_files") > 1).then(pl.format(", {} photos of the same file names", "own_files"))
        .when(pl.col("own_files") == 1).then(pl.lit(", a photo of the same file name"))
        .when("shared_file").then(pl.lit(", photos of the same everyday file name"))
    )  # fmt: skip
    said = [where, pl.lit(", same size, "), title, *(part.fill_null("") for part in (text, photo, history))]
    return both.select(
        "listing_id",
        twin_id="listing_id_other",
        kind="kind",
        probability="probability",
        why=pl.concat_str(said),
    ).sort("listing_id", "twin_id")


def _whole(minor: str) -> pl.Expr:
    return (pl.col(minor) / 100).round(0).cast(pl.Int64).cast(pl.String)
