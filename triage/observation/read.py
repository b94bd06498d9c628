"""What texts say, mention by mention: sentence by sentence, then over the sentences of one text."""

import polars as pl

from triage.observation.bind import bound, unbound
from triage.observation.fold import clusters
from triage.observation.habit import sentence_key
from triage.observation.lexicon import AFFIRMED, DENIED, PARTS, STATE, Lexicon
from triage.observation.scope import conditions, read_words
from triage.observation.sentence import distinct, hits, sentences
from triage.observation.years import with_years
from triage.once import once

ASKED = r"[?？]\s*$|か[。\s]*$"
TEXTS = {"tid": pl.UInt32, "text": pl.String, "hint": pl.String}
MENTION = ["tid", "sign", "state", "hedged", "quote", "start", "language", "value", "named", "no", "sentence"]


def mentions(texts: pl.DataFrame, lexicon: Lexicon) -> pl.DataFrame:
    """Return every reading of texts, in order.

    Args:
        texts: tid, text (NULL allowed), hint (language the text is said to be in, or NULL).

    Returns:
        tid, sign, state, hedged, quote and its start (characters in the text), language, value (a year or
        NULL), named (the thing was named), no and sentence (its number and text).
    """
    texts = texts.drop_nulls("text")
    return _nothing(lexicon) if texts.is_empty() else _mentions(texts, lexicon)


def mentions_each(texts: pl.DataFrame, lexicon: Lexicon) -> pl.DataFrame:
    """Return what ``mentions`` does of few texts, each read by itself and kept: what is shown is often noted next."""
    texts = texts.drop_nulls("text")
    parts = [_nothing(lexicon)]
    for tid, text, hint in texts.select("tid", "text", "hint").iter_rows():
        parts.append(_alone(text, hint, lexicon).with_columns(tid=pl.lit(tid, pl.UInt32)))
    return pl.concat(parts).with_columns(pl.col("tid").cast(texts.schema["tid"]))


@once
def _alone(text: str, hint: str | None, lexicon: Lexicon) -> pl.DataFrame:
    return _mentions(pl.DataFrame({"tid": [0], "text": [text], "hint": [hint]}, schema=TEXTS), lexicon)


@once
def _nothing(lexicon: Lexicon) -> pl.DataFrame:
    """Return the columns without a row: to read no text is as much work as to read a short one."""
    return _mentions(pl.DataFrame(schema=TEXTS), lexicon)


def _mentions(texts: pl.DataFrame, lexicon: Lexicon) -> pl.DataFrame:
    found = sentences(texts)
    once = distinct(found).with_columns(asked=pl.col("text").str.contains(ASKED))
    placed, languages = hits(once, lexicon)
    words = read_words(placed, lexicon)
    spelt = once.select("sid", "spelt", "asked")
    said = conditions(words, spelt).filter(~pl.col("dropped"))
    uses = found.join(once.select("sid", "text", "hint"), on=["text", "hint"], nulls_equal=True)
    uses = _linked(uses.select("tid", "no", "at", "sid").sort("tid", "no"), once, words, languages, lexicon)
    claims = _claims(said, uses, words, lexicon)
    claims = _quoted(with_years(claims, words, once, lexicon), once)
    read = _used(uses, claims).with_columns(start=pl.col("at").cast(pl.Int64) + pl.col("first"))
    return read.sort("tid", "start", "sign").select(MENTION)


def _linked(
    uses: pl.DataFrame, once: pl.DataFrame, words: pl.DataFrame, languages: pl.DataFrame, lexicon: Lexicon
) -> pl.DataFrame:
    """Add to each use of a sentence the thing the sentence before spoke of, and the reply that follows."""
    things = words.filter((pl.col("kind") == "thing") & pl.col("key").is_in(PARTS))
    things = things.group_by("sid").agg(last=pl.col("key").last())
    replies = _replies(once, languages, lexicon)
    linked = uses.join(things, on="sid", how="left").join(replies, on="sid", how="left").sort("tid", "no")
    after, before = pl.col("tid") == pl.col("tid").shift(1), pl.col("tid") == pl.col("tid").shift(-1)
    return linked.with_columns(
        carried=pl.when(after & pl.col("last").is_null()).then(pl.col("last").shift(1)),
        reply=pl.when(before).then(pl.col("reply").shift(-1)),
    ).drop("last")


def _replies(once: pl.DataFrame, languages: pl.DataFrame, lexicon: Lexicon) -> pl.DataFrame:
    """Return the sentences that open with a yes or a no: sid, reply (affirmed, denied)."""
    words = lexicon.meanings.filter(pl.col("kind").is_in(["yes", "reply_no"]))
    found = once.join(languages, on="sid").select("sid", "language", spelt=pl.col("spelt").str.strip_chars())
    parts = []
    for (kind, language), rows in words.group_by("kind", "language", maintain_order=True):
        options = "|".join(rows["pattern"].str.strip_chars().str.replace_all(" ", "[ ']").to_list())
        opens = pl.col("spelt").str.contains(rf"^(?:{options})\s*(?:[,.;:!?、。-]|$)")
        state = AFFIRMED if kind == "yes" else DENIED
        part = found.filter((pl.col("language") == language) & opens)
        parts.append(part.select("sid", reply=state))
    empty = found.select("sid", reply=pl.lit(None, STATE)).head(0)
    return pl.concat([empty, *parts]).unique("sid", keep="last", maintain_order=True)


def _claims(said: pl.DataFrame, uses: pl.DataFrame, words: pl.DataFrame, lexicon: Lexicon) -> pl.DataFrame:
    """Return what each distinct sentence claims: conditions with the sign they make and how they got to it.

    Returns:
        The condition's row with thing, sign, sign_state, thing_start, thing_end, named and ``via``: NULL for a
        thing in the sentence, a thing's name for one that the sentence before must have spoken of, "" for none.
    """
    fitted = bound(said, words, lexicon)
    names, far = lexicon.reads["thing"].dtype, pl.lit(None, pl.Int32)
    here = said.join(fitted, on="cid").with_columns(via=pl.lit(None, names), named=pl.lit(True))
    # A word with two meanings is settled by the one that found its thing.
    settled = here.select("sid", "start", "end").unique()
    loose = said.join(fitted, on="cid", how="anti").join(settled, on=["sid", "start", "end"], how="anti")
    general = pl.col("denied") & pl.col("noun")  # "No cracks." speaks of the whole pair
    before = uses.select("sid", via="carried").unique().drop_nulls()
    pairs = loose.filter(~general).join(before, on="sid")
    carried = pairs.join(
        unbound(pairs, lexicon, pl.col("via")).select("cid", "thing", "sign", "sign_state", via="thing"),
        on=["cid", "via"],
    ).with_columns(thing_start=far, thing_end=far, named=pl.lit(True))
    none = loose.join(unbound(loose, lexicon, "").select("cid", "thing", "sign", "sign_state"), on="cid")
    none = none.with_columns(thing_start=far, thing_end=far, via=pl.lit("", names), named=pl.lit(False))
    columns = here.columns
    return pl.concat([here, carried.select(columns), none.select(columns)]).drop_nulls("sign")


def _used(uses: pl.DataFrame, claims: pl.DataFrame) -> pl.DataFrame:
    """Return the claims at every use of their sentence, questions only where the next sentence replies."""
    carried = claims.filter(pl.col("via") != "")
    by_none = uses.join(claims.filter(pl.col("via") == ""), on="sid")
    parts = [
        uses.join(claims.filter(pl.col("via").is_null()), on="sid"),
        uses.join(carried, left_on=["sid", "carried"], right_on=["sid", "via"]).with_columns(via="carried"),
        by_none.join(carried.select("cid", carried="via").unique(), on=["cid", "carried"], how="anti"),
    ]
    rows = pl.concat([part.select(parts[0].columns) for part in parts])
    rows = rows.filter(~pl.col("asked") | pl.col("reply").is_not_null())
    flipped = pl.when(pl.col("state") == "denied").then(AFFIRMED).otherwise(DENIED)
    refused = pl.col("asked") & (pl.col("reply") == "denied")
    return rows.with_columns(state=pl.when(refused).then(flipped).otherwise("state"))


def _quoted(read: pl.DataFrame, once: pl.DataFrame) -> pl.DataFrame:
    """Turn byte spans of plain sentences into the words as typed and their place, ``first``, in characters."""
    span = read.join(once.select("sid", "text", "spelt", "odd"), on="sid").with_columns(
        from_=pl.min_horizontal("start", "thing_start", "cue_start") - 1,
        upto=pl.max_horizontal("end", "thing_end", "cue_end") - 1,
    )
    span = _unfolded(_in_characters(span))
    tail = pl.col("text").str.slice(pl.col("after")).str.extract(r"^([\pL\pM\pN]*)").str.len_chars()
    tail = pl.when(pl.col("language") == "ja").then(0).otherwise(tail.fill_null(0))
    span = span.with_columns(after=pl.col("after") + tail.cast(pl.Int64))
    span = span.with_columns(
        quote=pl.col("text").str.slice(pl.col("first"), pl.col("after") - pl.col("first")),
        sentence=sentence_key(pl.col("text")),
    )
    kept = ["sid", "cid", "via", "asked", "sign", "hedged", "named", "quote", "first", "language", "value", "sentence"]
    return span.select(*kept, state="sign_state")


def _in_characters(span: pl.DataFrame) -> pl.DataFrame:
    """Add ``first`` and ``after``: the bytes ``from_`` and ``upto`` of a plain sentence, in characters."""
    narrow = pl.col("spelt").str.len_bytes() == pl.col("spelt").str.len_chars()
    bytes_ = [pl.col(name).cast(pl.Int64) for name in ("from_", "upto")]
    raw = pl.col("spelt").cast(pl.Binary)
    letters = [raw.bin.slice(1, size).cast(pl.String, strict=False).str.len_chars().cast(pl.Int64) for size in bytes_]
    parts = [
        span.filter(of).with_columns(first=first, after=after)
        for of, (first, after) in ((narrow, bytes_), (~narrow, letters))
    ]
    return pl.concat(parts)


def _unfolded(span: pl.DataFrame) -> pl.DataFrame:
    """Map positions of sentences that were folded cluster by cluster back to the characters typed."""
    odd = span.filter("odd")
    if odd.is_empty():
        return span
    pieces = clusters(odd.select("sid", "text").unique(maintain_order=True)).with_columns(
        size_plain=pl.col("piece").str.len_chars().cast(pl.Int64), upto=pl.col("at") + pl.col("size").cast(pl.Int64)
    )
    pieces = pieces.with_columns(plain_upto=pl.col("size_plain").cum_sum().over("sid"))
    pieces = pieces.with_columns(plain_at=pl.col("plain_upto") - pl.col("size_plain")).sort("plain_at")
    shown = pieces.filter(pl.col("size_plain") > 0)
    begun = shown.select("sid", "plain_at", first_typed="at")
    ended = shown.select("sid", "plain_at", after_typed="upto")
    odd = odd.with_columns(last=pl.col("after") - 1).sort("first")
    odd = odd.join_asof(begun, left_on="first", right_on="plain_at", by="sid", check_sortedness=False)
    odd = odd.sort("last").join_asof(
        ended, left_on="last", right_on="plain_at", by="sid", check_sortedness=False, suffix="_end"
    )
    odd = odd.with_columns(first="first_typed", after="after_typed")
    return pl.concat([span.filter(~pl.col("odd")), odd.select(span.columns)], how="vertical_relaxed")


def with_hints(texts: pl.DataFrame, lexicon: Lexicon) -> pl.DataFrame:
    """Return texts with a language for those that came without: the one most of their words belong to."""
    bare = texts.filter(pl.col("hint").is_null() & pl.col("text").is_not_null())
    if bare.is_empty():
        return texts
    once = distinct(bare.select("text", "hint"))
    told = hits(once, lexicon)[1].join(once.select("sid", "text"), on="sid")
    filled = texts.join(told.select("text", told="language"), on="text", how="left", maintain_order="left")
    return filled.with_columns(hint=pl.col("hint").fill_null(pl.col("told"))).drop("told")
