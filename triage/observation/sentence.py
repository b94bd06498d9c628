"""Texts cut into sentences, each distinct sentence once, and the words of the lexicon found in it."""

import numpy as np
import numpy.typing as npt
import polars as pl

from triage.catalogue.signs import LANGUAGES
from triage.observation.fold import PLAIN, bare, clusters, plain
from triage.observation.lexicon import BREAKS, LANGUAGE, Lexicon

ENDS = r"[!?;|\n\r•●■★☆！？；]+|\.+(?:\s|$)|[。…]+"
ORDINAL = r"(?i)(\b\d)\.(\s+(?:wahl|choix|scelta))"
SPEAKS = r"[\pL\pN]"
KANA = r"[\p{Hiragana}\p{Katakana}]"
HAN = r"\p{Han}"
HINT = 2.5  # words that speak for the language the listing is said to be in
FEW_BYTES = 50_000
NOWHERE = "\x00\x00"  # a search needs one pattern
LONGEST = 2**18  # bytes of a sentence that are read
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]


def cut(texts: pl.DataFrame) -> pl.DataFrame:
    """Return texts piece by piece, one row a sentence, in order; the pieces joined are as long as the text."""
    # "ca. 1995", "2. Wahl": these full stops end nothing. A comma in their place keeps every offset.
    held = pl.col("text").str.replace_all(r"\.(\s+\d)", ",${1}").str.replace_all(ORDINAL, "${1},${2}")
    split = texts.with_columns(text=held.str.split(ENDS, literal=False, inclusive=True))
    return split.explode("text", empty_as_null=False)


def sentences(texts: pl.DataFrame) -> pl.DataFrame:
    """Return the sentences of texts (tid, text, hint): tid, no, text, at (characters), hint."""
    pieces = cut(texts.select("tid", "hint", "text")).with_row_index("row")
    size = pl.col("text").str.len_chars().cast(pl.Int64)
    pieces = pieces.with_columns(row=pl.col("row").cast(pl.Int64), before=size.cum_sum() - size)
    # Where a text begins, carried forward: a window over millions of texts would cost more than all the rest.
    first = (pl.col("tid") != pl.col("tid").shift(1)).fill_null(True)
    begun = [pl.when(first).then(name).forward_fill() for name in ("row", "before")]
    pieces = pieces.with_columns(no=pl.col("row") - begun[0], at=pl.col("before") - begun[1])
    return pieces.filter(pl.col("text").str.contains(SPEAKS)).select("tid", "hint", "text", "no", "at")


def distinct(found: pl.DataFrame) -> pl.DataFrame:
    """Return each distinct sentence and hint once, with its number and plain spelling.

    Returns:
        sid, text, hint, spelt (blank at both ends), odd (folded cluster by cluster).
    """
    once = found.select("text", "hint").unique(maintain_order=True).with_row_index("sid")
    once = once.with_columns(odd=~pl.col("text").str.contains(PLAIN))
    plainly = once.filter(~pl.col("odd")).with_columns(spelt=plain(pl.col("text")))
    oddly = once.filter("odd").join(_spelt_oddly(once.filter("odd")), on="sid", how="left")
    both = pl.concat([plainly, oddly]).sort("sid")
    return both.with_columns(spelt=pl.concat_str(pl.lit(" "), pl.col("spelt").fill_null(""), pl.lit(" ")))


def _spelt_oddly(odd: pl.DataFrame) -> pl.DataFrame:
    pieces = clusters(odd.select("sid", "text"))
    return pieces.group_by("sid", maintain_order=True).agg(spelt=pl.col("piece").str.join(""))


def hits(once: pl.DataFrame, lexicon: Lexicon) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Return where the patterns of its own language stand in each sentence, and that language.

    Returns:
        sid, language, pid (row of ``lexicon.patterns``), start, end (bytes, no blanks), in order. The longest
        wins: what lies inside a longer hit is left out. Sentences that name no thing and no condition have none.
        sid, language of every sentence.
    """
    words = _find(once.select("sid", text=bare(pl.col("spelt"))), lexicon.patterns)
    told = spoken(once, words, lexicon)
    code = told["language"].to_physical().to_numpy()
    sizes = lexicon.sizes
    sid, at, pid = _own(words, code, lexicon)
    telling = np.zeros(once.height, bool)
    telling[sid[sizes["telling"][pid]]] = True
    marks = _find(once.select("sid", text="spelt").filter(telling), lexicon.patterns.tail(len(BREAKS)))
    marks = marks.with_columns(pl.col("pid") + lexicon.patterns.height - len(BREAKS))
    kept = telling[sid]
    both = zip((sid[kept], at[kept], pid[kept]), _own(marks, code, lexicon), strict=True)
    sid, at, pid = (np.concatenate(one) for one in both)
    placed = _longest(sid, pid, at + sizes["lead"][pid], at + sizes["upto"][pid], lexicon)
    language = pl.Series("language", code[placed["sid"].to_numpy()]).cat.to(LANGUAGE)
    return placed.insert_column(1, language), told


def _own(found: pl.DataFrame, code: npt.NDArray[np.uint8], lexicon: Lexicon) -> tuple[Ints, Ints, Ints]:
    """Return sid, at and pid of the hits that mean something in the language of their sentence."""
    sid, at, pid = (found[name].to_numpy() for name in ("sid", "at", "pid"))
    own = lexicon.known[pid, code[sid]] & ~lexicon.sizes["common"][pid]
    return sid[own], at[own], pid[own]


def _find(texts: pl.DataFrame, wanted: pl.DataFrame) -> pl.DataFrame:
    listed = _present(texts, wanted).to_list() or [NOWHERE]
    found = texts.select(
        "sid",
        at=pl.col("text").str.find_many(listed, overlapping=True),
        pattern=pl.col("text").str.extract_many(listed, overlapping=True),
    )
    long = found.filter(pl.col("at").list.len() > 0).explode("at", "pattern", empty_as_null=False)
    long = long.filter(pl.col("pattern") != NOWHERE)
    return long.select(
        pl.col("sid").cast(pl.Int64),
        pl.col("at").cast(pl.Int64),
        pid=pl.col("pattern").cast(pl.Enum(wanted["pattern"])).to_physical().cast(pl.Int64),
    )


def _present(texts: pl.DataFrame, wanted: pl.DataFrame) -> pl.Series:
    """Return the patterns worth building a search tree of: those that may be in the texts.

    Most patterns are misspelt words, and hardly any of them is ever written. Each begins a run of letters.
    """
    if texts["text"].str.len_bytes().sum() <= FEW_BYTES:
        every = "\n".join(texts["text"])
        return wanted.filter(pl.lit(every).str.contains(pl.col("pattern"), literal=True))["pattern"]
    sizes = wanted["slip"].str.len_bytes().unique().drop_nulls().to_list()
    if not sizes:
        return wanted["pattern"]
    runs = texts.select(run=pl.col("text").str.extract_all(rf"[a-z]{{{min(sizes)},}}")).explode("run").unique()
    begun = pl.concat([runs.select(slip=pl.col("run").str.head(size)) for size in sizes]).unique().drop_nulls()
    written = pl.col("slip").is_in(begun["slip"].implode())
    return wanted.filter(pl.col("slip").is_null() | written)["pattern"]


def _longest(sid: Ints, pid: Ints, start: Ints, end: Ints, lexicon: Lexicon) -> pl.DataFrame:
    """Drop hits inside a longer one, but keep a thing inside the condition that is said of it.

    One running maximum serves all sentences, as sid leads the key.
    """
    within = end < LONGEST
    sid, pid, start, end = sid[within], pid[within], start[within], end[within]
    order = np.argsort((sid * LONGEST + start) * LONGEST + (LONGEST - 1 - end), kind="stable")
    sid, pid, start, end = sid[order], pid[order], start[order], end[order]
    span = sid * LONGEST + start
    reach = sid * LONGEST + end
    again = np.zeros(len(sid), bool)
    again[1:] = (span[1:] == span[:-1]) & (reach[1:] == reach[:-1])
    holds, thing = lexicon.sizes["holds"][pid], lexicon.sizes["thing"][pid]
    anything = _before(reach, again)
    outside = _before(np.where(holds, -1, reach), again)
    free = np.where(thing, reach > outside, reach > anything)
    return pl.DataFrame(
        {
            "sid": sid[free].astype(np.uint32),
            "pid": pid[free],
            "start": start[free].astype(np.int32),
            "end": end[free].astype(np.int32),
        }
    )


def _before(reach: Ints, again: Flags) -> Ints:
    """Return how far the hits before each one reach; hits on one span count as one."""
    farthest = np.maximum.accumulate(reach) if len(reach) else reach
    before = np.full(len(reach), -1, np.int64)
    before[1:] = farthest[:-1]
    first = np.maximum.accumulate(np.where(again, 0, np.arange(len(reach)))) if len(reach) else again
    return before[first]


def spoken(once: pl.DataFrame, found: pl.DataFrame, lexicon: Lexicon) -> pl.DataFrame:
    """Return the language of each sentence: kana decide, then its words, with a lead for the hint."""
    size = len(LANGUAGES)
    sid, pid = found["sid"].to_numpy(), found["pid"].to_numpy()
    score = np.empty((once.height, size))
    for code, knows in enumerate(np.ascontiguousarray(lexicon.known.T)):
        score[:, code] = np.bincount(sid[knows[pid]], minlength=once.height)
    hint = once["hint"].replace_strict(LANGUAGES, range(size), default=-1, return_dtype=pl.Int64).fill_null(-1)
    hinted = hint.to_numpy()
    score[np.flatnonzero(hinted >= 0), hinted[hinted >= 0]] += HINT
    japanese = once.select(
        pl.col("text").str.contains(KANA) | ((pl.col("hint") == "ja") & pl.col("text").str.contains(HAN))
    ).to_series()
    best = np.where(japanese.fill_null(False).to_numpy(), LANGUAGES.index("ja"), score.argmax(axis=1))
    return pl.DataFrame({"sid": once["sid"], "language": pl.Series(best.astype(np.uint8)).cat.to(LANGUAGE)})
