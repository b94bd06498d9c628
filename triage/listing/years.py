"""Years as sellers state them: of the style, of manufacture or of purchase, as intervals of whole years."""

import polars as pl

from triage.catalogue.words import YearWords
from triage.listing.phrases import Phrase, book, whole

# Style numbers and other codes hold digits that are no years.
CODES = r"\b\p{L}{1,5}-?\d{2,}[\p{L}\d]*(?:[./-][\p{L}\d]+)*|\b\d{2}/\d{3}\b|#\s?\d+|\b\d{5,}\b|\b\d{4}-\d{3}\b"
AMOUNTS = (
    r"(?:[€$£¥]|\b(?:eur|usd|gbp|chf)\b)\s?\d[\d.,]*"
    r"|\b\d[\d.,]*\s?(?:[€$£¥円]|(?:eur|euro|usd|gbp|chf|yen|km|miles?|kg)\b)"
)
GAP = r"(?:[\s:,.()]+\p{L}{1,6}){0,3}[\s:,.()]*"
MENTION = r"[YMPSX]~?\d{4}(?:\.\.\d{4})?|D[EFL]?\d{4}"
DECADE_LIKE = r"(?i:[5-9]0\s?['’]?(?:s|er|iger|年代)|(?:années|anni|años|los)\s+'?(?:19)?[5-9]0|00s|00er)"
YEAR_LIKE = rf"(?:19|20)\d\d|['’`´]\d\d|\d\d/\d\d|{DECADE_LIKE}"
SENTENCE = rf"(?:[^.!?\n。]|[.!?]\S|(?-u:\b)(?:ca|c|approx)\. )*(?:{YEAR_LIKE})(?:[^.!?\n。]|\.\S)*"
# Marks with which a year is more than four digits among words.
INVOLVED = rf"['’`´/#€$£¥年頃~]|\d{{5}}|{DECADE_LIKE}|(?:19|20)\d\d\s?[-–]|(?:19|20)\d\d[.,]\d"
UNITS = ("eur", "euro", "usd", "gbp", "chf", "yen", "km", "mile", "miles", "kg")

KINDS = {"M": "made", "P": "purchase", "Y": "style", "S": "style", "D": "style"}
# best witness first: letter, then where it stands (0 year column, 1 title, 2 description)
RANK = ["M0", "P0", "Y0", "S0", "D0", "M1", "M2", "S1", "Y1", "P1", "P2", "D1", "S2", "D2"]
RECENT_YEARS = 8  # a bare year this near is as often that of a repair or a walk; our judgement
WIDEST_YEARS = 60


def read_years(cells: pl.DataFrame, words: YearWords) -> pl.DataFrame:
    """Return the years a listing states and what they mean.

    The best witness wins: a date of manufacture, then a year of style, of purchase, a decade. A year of something
    else (a new sole, a walk) is none, and a bare year in a description counts only where it opens the text.

    Args:
        cells: ``row, year`` (column), ``title, body`` (form NFKC), ``title_key`` (spaced), text or NULL; ``seen_on``.
        words: Words that say what a year means.

    Returns:
        ``row, lo, hi, kind``; rows without a stated year are left out.
    """
    night = cells.with_columns(
        _decades_in_digits(cells["title"], words),
        _decades_in_digits(cells["body"], words),
        night=pl.col("seen_on").dt.year(),
    )
    titles = night.filter(pl.col("title").str.contains(r"\d\d"))
    plain = _is_plain(titles, words)
    bodies = (
        night.filter(pl.col("body").str.contains(YEAR_LIKE))
        .select("row", "night", "body", text=pl.col("body").str.extract_all(SENTENCE))
        .explode("text")
        .with_columns(opens=pl.col("body").str.starts_with(pl.col("text")))
    )
    texts = pl.concat(
        [
            _texts(night.filter(pl.col("year").is_not_null()).with_columns(text="year"), 0),
            _texts(titles.filter(~plain & pl.col("title").str.contains(YEAR_LIKE)).with_columns(text="title"), 1),
            _texts(bodies.drop_nulls("text"), 2),
        ]
    )
    found = pl.concat([_plain_years(titles.filter(plain)), _involved_years(texts, words)])
    return _best(_fit(found, words))


def _decades_in_digits(texts: pl.Series, words: YearWords) -> pl.Series:
    """Return texts with "the nineties" as "the 90s"; those without a decade in words are left as they are."""
    digits = {word: digits for digits, listed in words.decades.items() for word in listed}
    places = texts.str.contains_any(list(digits), ascii_case_insensitive=True).fill_null(False).arg_true()
    if places.is_empty():
        return texts
    found = texts.gather(places).to_frame("text")
    named = pl.col("text").str.to_lowercase()
    for word in sorted(digits, key=len, reverse=True):
        named = named.str.replace_all(whole([word]), digits[word])
    return texts.scatter(places, found.select(named).to_series())


def _texts(texts: pl.DataFrame, source: int) -> pl.DataFrame:
    opens = "opens" if "opens" in texts.columns else pl.lit(False)
    return texts.select("row", "night", "text", source=pl.lit(source, pl.Int8), opens=opens)


def _is_plain(titles: pl.DataFrame, words: YearWords) -> pl.Series:
    """Return which titles hold one four-digit year at most and no word that could give it another meaning."""
    beside = [words.made, words.purchase, words.secondhand, words.other, words.about, words.style]
    listed = [word for one in beside for word in (*one.before, *one.after)]
    listed += [word for one in (words.early, words.middle, words.late) for word in one.words]
    context = book(Phrase(word, "context") for word in (*listed, *UNITS)).patterns
    return titles.select(
        (pl.col("title").str.count_matches(r"(?:19|20)\d\d") <= 1)
        & ~pl.col("title").str.contains(INVOLVED)
        & ~pl.col("title_key").str.contains_any(context)
    ).to_series()


def _plain_years(titles: pl.DataFrame) -> pl.DataFrame:
    year = (
        pl.col("title").str.extract(r"(?:^|[^\p{L}\p{N}.,-])((?:19[5-9]|20[0-4])\d)(?:$|[^\p{L}\p{N}])").cast(pl.Int32)
    )
    return titles.select(
        "row", "night", source=pl.lit(1, pl.Int8), letter=pl.lit("Y"), first=year, lo=year, hi=year
    ).drop_nulls("first")


def tagged(text: pl.Expr, words: YearWords) -> pl.Expr:
    """Return a text with every year as a letter and digits: M made, P bought, S style, X other, D decade, Y bare."""
    month = r"(?:0?[1-9]|1[0-2])"
    # letters and digits of a finding are kept apart by __ until the codes are gone
    text = (
        text.str.to_lowercase().str.replace_all("[’`´]", "'")
        .str.replace_all(r"\b((?:19|20)\d\d)er\s+(modell|ausgabe|auflage|version|original)", "$1 $2")
        .str.replace_all(rf"\b{month}/(\d\d)\s?[-–]\s?{month}/(\d\d)\b", " M_$1..$2 ")
        .str.replace_all(rf"({whole(words.made.before)}){GAP}{month}[/.](\d\d)\b", "$1 M_$2 ")
        .str.replace_all(rf"({whole(words.made.before)}){GAP}{month}[/.-]((?:19|20)\d\d)\b", "$1 M__$2 ")
        .str.replace_all(r"\b(?:19)?([5-9]0)\s?'?(?:s|ern?|iger|ies)\b", " D__19$1 ")
        .str.replace_all(r"(?:'|\b)?(?:20)?00\s?'?(?:s|ern?)\b", " D__2000 ")
        .str.replace_all(r"\b(?:années|anni|años|gli anni|los)\s+'?(?:19)?([5-9]0)\b", " D__19$1 ")
        .str.replace_all(r"\b(?:années|anni|años)\s+2000\b", " D__2000 ")
        .str.replace_all(r"(?:19)?([5-9]0)年代", " D__19$1 ").str.replace_all("2000年代", " D__2000 ")
        .str.replace_all(CODES, " ").str.replace_all(AMOUNTS, " ").str.replace_all("__", "", literal=True)
        .str.replace_all(r"\b((?:19|20)\d\d)\s?[-–/]\s?((?:19|20)\d\d)\b", " Y$1..$2 ")
        .str.replace_all(r"\b(19|20)(\d\d)\s?[-–/]\s?(\d\d)\b", " Y$1$2..$1$3 ")
        .str.replace_all(r"(?:\b|年|、|月)(19[5-9]\d|20[0-4]\d)(?:\b|年)", " Y$1 ")
        .str.replace_all(r"(?:^|[\s(])'([5-9]\d)\s?[/–-]\s?'?([5-9]\d)\b", " Y19$1..19$2 ")
        .str.replace_all(r"(?:^|[\s(])'([5-9]\d)\b", " Y19$1 ").str.replace_all(r"(?:^|[\s(])'([0-2]\d)\b", " Y20$1 ")
        .str.replace_all(r"M_([5-9]\d)", "M19$1").str.replace_all(r"M_([0-4]\d)", "M20$1")
        .str.replace_all(r"(M19\d\d)\.\.([5-9]\d)\b", "$1..19$2")
        .str.replace_all(r"(M\d{4})\.\.([0-4]\d)\b", "$1..20$2")
    )  # fmt: skip
    text = text.str.replace_all(rf"(?:{whole(words.about.before)})\s*([YMD])(\d)", "$1~$2").str.replace_all(
        rf"([YM])(\d{{4}})\s*(?:{whole(words.about.after)})", "$1~$2"
    )
    for letter, listed in (("E", words.early.words), ("F", words.middle.words), ("L", words.late.words)):
        text = text.str.replace_all(rf"(?:{whole(listed)})(?:\s+\p{{L}}{{1,4}})?[\s-]*D~?(\d{{4}})", f"D{letter}$1")
        text = text.str.replace_all(rf"D~?(\d{{4}})\s*(?:の)?(?:{whole(listed)})", f"D{letter}$1")
    text = text.str.replace_all(rf"({whole(words.secondhand.before)}){GAP}Y(~?\d)", "$1 X$2")
    text = text.str.replace_all(rf"Y(~?\d{{4}})\s*(?:{whole(words.secondhand.after)})", "X$1 ")
    # "1988 sole swap" is a pair of 1988; "2019 sole swap" is a sole of 2019
    text = text.str.replace_all(rf"Y(~?20[1-4]\d)\s*(?:{whole(words.other.after)})", "X$1 ")
    for letter, beside in (("P", words.purchase), ("M", words.made)):
        text = text.str.replace_all(rf"Y(~?\d{{4}}(?:\.\.\d{{4}})?)\s*(?:{whole(beside.after)})", f"{letter}$1 ")
    for letter, beside in (("M", words.made), ("P", words.purchase), ("X", words.other), ("S", words.style)):
        text = text.str.replace_all(rf"({whole(beside.before)}){GAP}Y(~?\d)", f"$1 {letter}$2")
    return text.str.replace_all(rf"Y(~?\d{{4}}(?:\.\.\d{{4}})?)\s*(?:{whole(words.style.after)})", "S$1 ")


def _involved_years(texts: pl.DataFrame, words: YearWords) -> pl.DataFrame:
    """Return every year of each text with its interval and letter; each different text is read once."""
    forms = texts.select("text").unique(maintain_order=True)
    mentions = (
        forms.with_columns(mention=tagged(pl.col("text"), words).str.extract_all(MENTION))
        .explode("mention")
        .filter(pl.col("mention").is_not_null() & ~pl.col("mention").str.starts_with("X"))
    )
    digits = pl.col("mention").str.extract_all(r"\d{4}").list.eval(pl.element().cast(pl.Int32))
    part = pl.col("mention").str.extract(r"^D([EFL])")
    about = pl.when(pl.col("mention").str.contains("~", literal=True)).then(words.about_years).otherwise(0)
    start = pl.when(part == "F").then(3).when(part == "L").then(6).otherwise(0)
    end = pl.when(part == "E").then(3).when(part == "F").then(7).otherwise(9)
    decade = pl.col("letter") == "D"
    read = mentions.with_columns(
        letter=pl.col("mention").str.slice(0, 1), first=digits.list.min(), last=digits.list.max()
    ).select(
        "text",
        "letter",
        "first",
        about=pl.col("mention").str.contains("~", literal=True),
        lo=pl.col("first") + pl.when(decade).then(start).otherwise(-about),
        hi=pl.when(decade).then(pl.col("first") + end).otherwise(pl.col("last") + about),
    )
    # a bare year that opens a description is its subject ("1989, stitched welt"); one that is guessed is the pair's
    opens = pl.col("opens") & pl.col("text").str.contains(r"^\W*(?:19|20)\d\d\b")
    opens = (opens | pl.col("about")) & (pl.col("letter") == "Y")
    return texts.join(read, on="text", how="inner").select(
        "row",
        "night",
        "source",
        letter=pl.when(opens).then(pl.lit("S")).otherwise("letter"),
        first="first",
        lo=pl.col("lo").cast(pl.Int32),
        hi=pl.col("hi").cast(pl.Int32),
    )


def _fit(found: pl.DataFrame, words: YearWords) -> pl.DataFrame:
    """Leave out years that can't be meant: before shoes of this kind, after the night, or bare and recent."""
    recent = (pl.col("letter") == "Y") & (pl.col("first") > pl.col("night") - RECENT_YEARS) & (pl.col("source") > 0)
    return found.filter(
        (pl.col("lo") >= words.earliest)
        & (pl.col("first") <= pl.col("night"))
        & (pl.col("hi") - pl.col("lo") <= WIDEST_YEARS)
        & ~recent
    )


def _best(found: pl.DataFrame) -> pl.DataFrame:
    """Return one interval a row: of the best witness; several years of the same rank give their span."""
    rank = pl.concat_str("letter", "source").replace_strict(RANK, range(len(RANK)), default=None, return_dtype=pl.Int8)
    kind = pl.col("letter").replace_strict(KINDS, return_dtype=pl.String)
    ranked = found.with_columns(rank=rank, kind=kind).filter(pl.col("rank").is_not_null())
    several = ranked["row"].is_duplicated()
    best = (
        ranked.filter(several)
        .filter(pl.col("rank") == pl.col("rank").min().over("row"))
        .group_by("row")
        .agg(
            pl.col("lo").min(),
            pl.col("hi").max(),
            pl.col("kind").first(),
            pl.col("source").first(),
            spread=pl.col("lo").max() - pl.col("lo").min(),
        )
        # several years in a description tell no story
        .filter((pl.col("source") < 2) | (pl.col("kind") != "style") | (pl.col("spread") <= 1))
    )
    columns = ["row", "lo", "hi", "kind"]
    return pl.concat([ranked.filter(~several).select(columns), best.select(columns)])
