"""The same pair under another id: relisted by its seller, or copied to another marketplace.

Couples are looked for in blocks of listings that share a key and fit the same foot; each couple is judged by itself,
from what the two share and where they differ, never because both resemble a third.
"""

import logging
import math

import polars as pl
from rapidfuzz import fuzz, process

from triage.catalogue.words import TwinWeights, TwinWords
from triage.listing.phrases import Phrase, book, compatible, spaced
from triage.store import Connection, append, frame

LOG = logging.getLogger(__name__)
CHUNK_COUPLES = 250_000
WIDE_BLOCKS = 50  # sizes part the listings that share a sentence into about so many blocks
SAME_TEXT, LIKE_TEXT, OTHER_TEXT = 0.95, 0.8, 0.5  # likeness of two descriptions
TYPO = 75.0  # likeness of the differing words of two titles, 0 to 100
ORDINALS = ["", "", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth"]
SCHEMA = {"listing_id": pl.String, "twin_id": pl.String, "kind": pl.String, "probability": pl.Float64, "why": pl.String}

LISTINGS = """
  SELECT
    listing_id,
    source,
    lower(seller) AS seller,
    title,
    body,
    price_base_minor,
    foot_mm_lo,
    foot_mm_hi,
    first_seen,
    last_seen
  FROM listing
  WHERE kind = 'pair'
  ORDER BY listing_id
"""


def write_twins(store: Connection, words: TwinWords) -> None:
    """Judge every listing of the store anew and write the couples."""
    store.execute("DELETE FROM twin")
    append(store, "twin", find_twins(frame(store, LISTINGS), words))


def find_twins(listings: pl.DataFrame, words: TwinWords) -> pl.DataFrame:
    """Return couples of listings that are probably one pair, both ways.

    Args:
        listings: ``listing_id, source, seller`` (lower case), ``title, body, price_base_minor, foot_mm_lo,
            foot_mm_hi, first_seen, last_seen``.
        words: Weights, noise words and the cap of a block.

    Returns:
        ``listing_id, twin_id, kind, probability, why``, ordered by the ids.
    """
    marked = _marked(listings, words)
    couples = _couples(marked, _sentences(marked, words), words)
    if couples.is_empty():
        return pl.DataFrame(schema=SCHEMA)
    judged = pl.concat([_judged(marked, part, words) for part in couples.iter_slices(CHUNK_COUPLES)])
    return _told(judged)


def _marked(listings: pl.DataFrame, words: TwinWords) -> pl.DataFrame:
    """Add the title's words without noise, the size as a key, and whether the description is a template."""
    noise = book(Phrase(word, "noise") for word in words.noise.words)
    key = spaced(pl.col("title")).str.replace_many(noise.patterns, [" "] * len(noise.patterns), leftmost=True)
    return (
        listings.with_columns(compatible(listings["title"]), compatible(listings["body"]))
        .with_row_index("row")
        .with_columns(
            tokens=key.str.extract_all(r"[^ ¶]+").list.unique(),
            size=pl.format("{}-{}", pl.col("foot_mm_lo").round(0), pl.col("foot_mm_hi").round(0)).fill_null("?"),
            text=pl.col("body").str.to_lowercase().str.replace_all("\n", " ", literal=True),
        )
        .with_columns(
            # a sum of hashes does not depend on the order of the words
            name=pl.col("tokens").list.eval(pl.element().hash()).list.sum(),
            template=pl.len().over(pl.col("text").str.replace_all("[0-9]+", "").hash()) > words.template_uses,
        )
        .drop("body")
        .with_columns(stocked=_is_stocked())
    )


def _is_stocked() -> pl.Expr:
    """Return whether a seller shows several listings of this title and size at one time: stock, not a relist."""
    group = ["source", "seller", "name", "size"]
    overlap = pl.col("first_seen") <= pl.col("last_seen").cum_max().shift(1)
    return overlap.any().over(group, order_by="first_seen") & pl.col("seller").is_not_null()


def _sentences(marked: pl.DataFrame, words: TwinWords) -> pl.DataFrame:
    """Return the two rarest sentences of each description that stand in another listing too, but in no template."""
    parts = (
        marked.select("row", part=pl.col("text").str.split("."))
        .explode("part")
        .filter(pl.col("part").str.len_chars() >= words.sentence_letters)
        .select("row", part=pl.col("part").str.strip_chars().hash())
    )
    counts = parts.group_by("part").agg(uses=pl.len())
    shared = counts.filter(pl.col("uses").is_between(2, WIDE_BLOCKS * words.block_cap))
    return (
        parts.join(shared, on="part")
        .sort("row", "uses", "part")
        .group_by("row", maintain_order=True)
        .head(2)
        .select("row", "part")
    )


def _couples(marked: pl.DataFrame, sentences: pl.DataFrame, words: TwinWords) -> pl.DataFrame:
    """Return the couples that share a key and may fit the same foot."""
    keyed = marked.select("row", "source", "seller", "size", "name")
    by_sentence = sentences.join(keyed.select("row", "size"), on="row")
    blocks = [
        ("seller, size and marketplace", keyed.drop_nulls("seller"), ["source", "seller", "size"]),
        ("seller and title", keyed.drop_nulls("seller"), ["source", "seller", "name", "size"]),
        ("title and size", keyed, ["name", "size"]),
        ("sentence and size", by_sentence, ["part", "size"]),
    ]
    found = [_block(rows, keys, name, words.block_cap) for name, rows, keys in blocks]
    return pl.concat(found).unique().sort("row", "other")


def _block(rows: pl.DataFrame, keys: list[str], name: str, cap: int) -> pl.DataFrame:
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


def _judged(marked: pl.DataFrame, couples: pl.DataFrame, words: TwinWords) -> pl.DataFrame:
    """Return the couples that can be one pair, with the probability and the facts it comes from."""
    columns = ["row", "listing_id", "source", "seller", "price_base_minor", "first_seen", "last_seen", "stocked"]
    both = _beside(couples, marked.select(columns))
    same_source = pl.col("source") == pl.col("source_other")
    apart = (pl.col("last_seen") < pl.col("first_seen_other")) | (pl.col("last_seen_other") < pl.col("first_seen"))
    same_seller = (pl.col("seller") == pl.col("seller_other")).fill_null(False)
    both = both.with_columns(same_source=same_source, same_seller=same_seller).filter(
        ~pl.col("same_source") | (pl.col("same_seller") & apart)
    )
    named = marked.select("row", "tokens")
    both = _titles_compared(_beside(both, named))
    best = pl.when("same_source").then(_best_odds(words.relist)).otherwise(_best_odds(words.copy_))
    texts = marked.select("row", "text", "template")
    both = _texts_compared(_beside(both.filter(best >= _log_odds(words.keep_from)), texts))
    odds = pl.when("same_source").then(_odds(words.relist)).otherwise(_odds(words.copy_))
    return both.with_columns(
        kind=pl.when("same_source").then(pl.lit("relist")).otherwise(pl.lit("copy")),
        probability=(1 / (1 + (-odds).exp())).round(3),
    ).filter(pl.col("probability") >= words.keep_from)


def _beside(both: pl.DataFrame, facts: pl.DataFrame) -> pl.DataFrame:
    """Add the facts of both sides of each couple."""
    return both.join(facts, on="row", maintain_order="left").join(
        facts.rename({"row": "other"}), on="other", suffix="_other", maintain_order="left"
    )


def _titles_compared(both: pl.DataFrame) -> pl.DataFrame:
    """Add how titles and prices of the two compare."""
    here = pl.col("tokens").list.set_difference("tokens_other").list.join(" ")
    there = pl.col("tokens_other").list.set_difference("tokens").list.join(" ")
    earlier = pl.when(pl.col("first_seen") <= pl.col("first_seen_other"))
    ratio = earlier.then(pl.col("price_base_minor_other") / pl.col("price_base_minor")).otherwise(
        pl.col("price_base_minor") / pl.col("price_base_minor_other")
    )
    both = both.with_columns(here=here, there=there, ratio=ratio).with_columns(
        swapped=(pl.col("here") != "") & (pl.col("there") != "")
    )
    typo = _ratio(both["here"], both["there"], both["swapped"]) >= TYPO
    return both.with_columns(typo=typo).drop("tokens", "tokens_other", "here", "there")


def _texts_compared(both: pl.DataFrame) -> pl.DataFrame:
    """Add how descriptions compare, as far as the shorter one goes, and the numbers in them."""
    length = pl.min_horizontal(pl.col("text").str.len_chars(), pl.col("text_other").str.len_chars())
    both = both.with_columns(
        length=length,
        start=pl.col("text").str.slice(0, length),
        start_other=pl.col("text_other").str.slice(0, length),
        numbers=pl.col("text").str.extract_all("[0-9]+").list.unique(),
        numbers_other=pl.col("text_other").str.extract_all("[0-9]+").list.unique(),
    )
    lost = pl.col("numbers").list.set_difference("numbers_other").list.len()
    gained = pl.col("numbers_other").list.set_difference("numbers").list.len()
    same = pl.col("start") == pl.col("start_other")
    unsure = both.select((~same & (pl.col("length") > 0)).fill_null(False)).to_series()
    like = _ratio(both["start"], both["start_other"], unsure) / 100
    return both.with_columns(
        text_like=pl.when(pl.col("length") > 0).then(pl.when(same).then(1.0).otherwise(like)),
        other_number=((lost > 0) & (gained > 0)).fill_null(False),
        template=pl.col("template") & pl.col("template_other"),
    ).drop("start", "start_other", "numbers", "numbers_other", "text", "text_other", "template_other", "length")


def _ratio(one: pl.Series, other: pl.Series, where: pl.Series) -> pl.Series:
    """Return the likeness of two texts, 0 to 100, where it is asked for; else 0."""
    places = where.arg_true()
    scores = pl.zeros(len(one), dtype=pl.Float64, eager=True)
    if places.is_empty():
        return scores
    found = process.cpdist(one.gather(places).to_list(), other.gather(places).to_list(), scorer=fuzz.ratio, workers=2)
    return scores.scatter(places, pl.Series(found, dtype=pl.Float64))


def _title_odds(weights: TwinWeights) -> pl.Expr:
    return (
        pl.when(~pl.col("swapped")).then(weights.same_title)
        .when("typo").then(weights.title_typo).otherwise(weights.other_word)
    )  # fmt: skip


def _seller_odds(weights: TwinWeights) -> pl.Expr:
    return pl.when("same_seller").then(weights.same_seller).otherwise(0.0)


def _best_odds(weights: TwinWeights) -> pl.Expr:
    """Return the most that the texts could still make of a couple."""
    return weights.base + _title_odds(weights) + _seller_odds(weights) + weights.same_text + weights.price_near


def _odds(weights: TwinWeights) -> pl.Expr:
    """Return the natural log odds that a couple is one pair."""
    text = (
        pl.when("template").then(0.0)
        .when(pl.col("text_like") >= SAME_TEXT).then(weights.same_text)
        .when(pl.col("text_like") >= LIKE_TEXT).then(weights.like_text)
        .when(pl.col("text_like") < OTHER_TEXT).then(weights.other_text).otherwise(0.0)
    )  # fmt: skip
    number = (
        pl.when(pl.col("other_number") & (pl.col("text_like") >= OTHER_TEXT)).then(weights.other_number).otherwise(0.0)
    )
    stock = pl.when(pl.col("stocked") | pl.col("stocked_other") | pl.col("template")).then(weights.stock).otherwise(0.0)
    price = (
        pl.when(pl.col("ratio").is_null()).then(0.0)
        .when(pl.col("ratio").is_between(0.5, 1.1)).then(weights.price_near).otherwise(weights.price_far)
    )  # fmt: skip
    return weights.base + _title_odds(weights) + _seller_odds(weights) + text + number + price + stock


def _log_odds(probability: float) -> float:
    return math.log(probability / (1 - probability))


def _told(judged: pl.DataFrame) -> pl.DataFrame:
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
    return both.select(
        "listing_id",
        twin_id="listing_id_other",
        kind="kind",
        probability="probability",
        why=pl.concat_str(where, pl.lit(", same size, "), title, text.fill_null(""), history.fill_null("")),
    ).sort("listing_id", "twin_id")


def _whole(minor: str) -> pl.Expr:
    return (pl.col(minor) / 100).round(0).cast(pl.Int64).cast(pl.String)
