"""Stage 4, observation: listing, answer -> observation. What was affirmed, denied and doubted, and where.

A condition ("cracked") said of a thing ("midsole") makes a sign. Small words around it deny it, doubt it
or point to other shoes. The words are in ``rules/signs/``; nothing here knows a word of any language.
"""

from collections.abc import Callable, Iterator, Sequence
from datetime import date

import polars as pl

from triage import store as tables
from triage.blocks import in_order
from triage.catalogue.signs import LANGUAGES, Signs
from triage.observation.habit import habitual
from triage.observation.lexicon import Lexicon, lexicon
from triage.observation.read import TEXTS, mentions, mentions_each, with_hints
from triage.observation.weigh import answered, latest, weighed
from triage.once import KEPT
from triage.order import ordered

__all__ = ["make_ready", "observed", "read_text", "run", "run_answers"]

LISTINGS_AT_ONCE = 50_000  # keeps memory flat; a listing is read alone
OFFERED = """
SELECT listing_id, source, seller, title, body, language
FROM listing
WHERE listing_id IN (SELECT listing_id FROM todo)
"""
OF_SELLERS = """
SELECT source, seller, body
FROM listing
WHERE seller IS NOT NULL
  AND body IS NOT NULL
  AND (source, seller) IN (
    SELECT (source, seller)
    FROM {of}
  )
"""
SELLERS = "(SELECT DISTINCT source, seller FROM listing WHERE listing_id IN (SELECT listing_id FROM todo))"
ANSWERED = """
SELECT listing_id, sign, answered_on, said_by, state, text
FROM answer
WHERE listing_id IN (SELECT listing_id FROM todo)
WINDOW looks AS (
  PARTITION BY listing_id, sign, said_by ORDER BY answered_on, rowid
  ROWS BETWEEN UNBOUNDED PRECEDING AND UNBOUNDED FOLLOWING
)
QUALIFY state IS DISTINCT FROM 'no_reply'
  -- What one has looked for oneself and then called not shown is taken back, whatever was noted before.
  AND (said_by = 'answer' OR sign IS NULL OR last(state) OVER looks IS DISTINCT FROM 'no_reply')
ORDER BY listing_id, sign, said_by, answered_on, rowid
"""
# What later stages look at in an answer; the rest is where it was read.
HEARD = ("listing_id", "sign", "said_by", "state", "hedged", "counts", "value")
OF_ANSWERS = f"""
DELETE FROM observation
WHERE said_by IN ('answer', 'buyer') AND listing_id IN (SELECT listing_id FROM todo)
RETURNING {", ".join(HEARD)}
"""
COLUMNS = ["listing_id", "sign", "said_by", "state", "hedged", "quote", "start", "field", "language"]
OBSERVATION = [*COLUMNS, "counts", "value"]
DATED = [*OBSERVATION, "answered_on"]


def make_ready(signs: Signs) -> None:
    """Work out what hangs on the words alone, before there is a text to read."""
    mentions(pl.DataFrame(schema=TEXTS), lexicon(signs))


def run(store: tables.Connection, signs: Signs, as_of: date) -> None:
    """Read the listings of ``todo`` and the answers to questions about them; nothing depends on ``as_of``."""
    words = lexicon(signs)
    offered = _offered(store)
    habits = habitual(tables.frame(store, OF_SELLERS.format(of=SELLERS)))
    store.execute(f"DELETE FROM habit WHERE (source, seller) IN {SELLERS}")
    tables.append(store, "habit", habits)
    replies = tables.frame(store, ANSWERED)
    tables.replace(store, "observation", pl.DataFrame())
    for rows in in_parts(offered, replies, habits, words):
        tables.append(store, "observation", rows)


def _offered(store: tables.Connection) -> pl.DataFrame:
    return ordered(tables.frame(store, OFFERED), "listing_id")


def run_answers(store: tables.Connection, signs: Signs) -> frozenset[str]:
    """Read only the answers about the listings of ``todo``; what their own texts say stays as it was read.

    Returns:
        The signs of which something else is said now.
    """
    replies = tables.frame(store, ANSWERED)
    before = set(store.execute(OF_ANSWERS).fetchall())
    # To read no text takes as long as to read a few, and more than are kept are read the sooner together.
    if texts := replies["text"].count():
        none = pl.DataFrame(schema={"source": pl.String, "seller": pl.String, "sentence": pl.String})
        offered, each = _offered(store), mentions_each if texts <= KEPT else mentions
        read = observed(offered, replies, none, lexicon(signs), ("answer",), each)
    else:
        read = _counted(answered(replies).select(DATED))
    tables.append(store, "observation", read)
    sign = HEARD.index("sign")
    return frozenset(one[sign] for one in before ^ set(read.select(HEARD).rows()))


def in_parts(
    offered: pl.DataFrame, replies: pl.DataFrame, habits: pl.DataFrame, words: Lexicon
) -> Iterator[pl.DataFrame]:
    """Return what ``observed`` does, some listings at a time: the next are read while the last are written."""

    def read(part: pl.DataFrame) -> pl.DataFrame:
        theirs = replies.join(part.select("listing_id"), on="listing_id", how="semi", maintain_order="left")
        return observed(part, theirs, habits, words)

    return in_order(read, offered.iter_slices(LISTINGS_AT_ONCE))


def observed(
    offered: pl.DataFrame,
    replies: pl.DataFrame,
    habits: pl.DataFrame,
    words: Lexicon,
    fields: Sequence[str] = ("title", "body", "answer"),
    read: Callable[[pl.DataFrame, Lexicon], pl.DataFrame] = mentions,
) -> pl.DataFrame:
    """Return the observation rows of listings and answers.

    Args:
        offered: listing_id, source, seller, title, body, language.
        replies: listing_id, sign, answered_on, said_by, state, text; in order, the last one holds. Without a
            sign the words alone speak.
        habits: source, seller, sentence, as ``habitual`` gives them.
        fields: Which texts are read; the others only tell the language of a listing that states none.
        read: ``mentions``, or ``mentions_each`` of few texts.
    """
    # An id is a number in disguise, in the order of the ids: rows are joined, ranked and sorted by it.
    ids = pl.Enum(offered["listing_id"].sort())
    offered, replies = (rows.with_columns(pl.col("listing_id").cast(ids)) for rows in (offered, replies))
    texts = pl.concat(
        [
            offered.select(
                "listing_id",
                said_by=pl.lit("listing"),
                field=pl.lit(field),
                text=field,
                hint="language",
                answered_on=pl.lit(None, pl.Date),
            )
            for field in ("title", "body")
        ]
        + [
            replies.filter((pl.col("said_by") == "answer") | pl.col("sign").is_null())
            .join(offered.select("listing_id", "language"), on="listing_id")
            .select(
                "listing_id",
                "said_by",
                field=pl.lit("answer"),
                text="text",
                hint="language",
                answered_on="answered_on",
            )
        ]
    ).with_row_index("tid")
    known = pl.col("hint").is_in(list(LANGUAGES)).fill_null(False)
    texts = _hinted(texts.with_columns(hint=pl.when(known).then("hint")), words)
    texts = texts.filter(pl.col("field").is_in(list(fields)))
    mentioned = _mentioned(read(texts.select("tid", "text", "hint"), words), texts, offered, habits)
    said = pl.concat([weighed(mentioned, words).select(DATED), answered(replies).select(DATED)])
    return _counted(said).with_columns(pl.col("listing_id").cast(pl.String))


def _counted(said: pl.DataFrame) -> pl.DataFrame:
    """Return the observation rows of what was said, in order."""
    rows = latest(said).select(OBSERVATION)
    return rows.sort("listing_id", "sign", "said_by", "field", "start", "quote", "state", nulls_last=True)


def _mentioned(read: pl.DataFrame, texts: pl.DataFrame, offered: pl.DataFrame, habits: pl.DataFrame) -> pl.DataFrame:
    """Return the mentions in texts: whose each is, in which field, and whether it is a seller's standing sentence."""
    read = read.join(
        texts.select("tid", "listing_id", "said_by", "field", "answered_on"), on="tid", maintain_order="left"
    )
    theirs = habits.join(offered.select("listing_id", "source", "seller"), on=["source", "seller"])
    theirs = theirs.select("listing_id", "sentence", habit=pl.lit(True))
    return read.join(theirs, on=["listing_id", "sentence"], how="left", maintain_order="left").with_columns(
        pl.col("habit").fill_null(False) & (pl.col("field") == "body")
    )


def _hinted(texts: pl.DataFrame, words: Lexicon) -> pl.DataFrame:
    """Return texts with a language for the listings without one, judged by title and body together."""
    bare = texts.filter(pl.col("hint").is_null()).drop_nulls("text")
    if bare.is_empty():
        return texts
    whole = bare.group_by("listing_id", maintain_order=True).agg(pl.col("text").str.join(" . "))
    told = with_hints(whole.with_columns(hint=pl.lit(None, pl.String)), words)
    texts = texts.join(told.select("listing_id", told="hint"), on="listing_id", how="left", maintain_order="left")
    return texts.with_columns(hint=pl.col("hint").fill_null(pl.col("told"))).drop("told")


def read_text(text: str, signs: Signs, language: str | None = None) -> pl.DataFrame:
    """Return what a pasted text says: sign, state, hedged, quote, start, language, value, counts."""
    words = lexicon(signs)
    texts = pl.DataFrame({"tid": [0], "text": [text], "hint": [language]}, schema_overrides={"hint": pl.String})
    read = mentions_each(with_hints(texts, words), words)
    read = read.with_columns(
        listing_id=pl.lit(""), said_by=pl.lit("listing"), field=pl.lit("body"), habit=pl.lit(False)
    )
    kept = weighed(read, words).sort("start", "sign")
    return kept.select("sign", "state", "hedged", "quote", "start", "language", "value", "counts")
