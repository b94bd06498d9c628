"""Years as sellers state them: of the style, of manufacture or of purchase, as intervals of whole years."""

import polars as pl

from triage.catalogue.words import BesideYear, YearWords
from triage.listing.phrases import whole

# Style numbers and other codes hold digits that are no years.
CODES = r"\b\p{L}{1,5}-?\d{2,}[\p{L}\d]*(?:[./-][\p{L}\d]+)*|\b\d{2}/\d{3}\b|#\s?\d+|\b\d{5,}\b|\b\d{4}-\d{3,}\b"
AMOUNTS = (
    r"(?:[€$£¥]|\b(?:eur|usd|gbp|chf)\b)\s?\d[\d.,]*"
    r"|\b\d[\d.,]*\s?(?:[€$£¥円]|(?:eur|euro|usd|gbp|chf|yen|km|miles?|g|gr|kg)\b)"
)
GAP = r"(?:[\s:,.()]+\p{L}{1,9}){0,2}[\s:,.()]*"
MENTION = r"[YMPSX]~?\d{4}(?:\.\.\d{4})?|D[EFL]?\d{4}"
KINDS = {"M": "made", "P": "purchase", "Y": "style", "S": "style", "D": "style"}
# best witness first: letter, then where it stands (0 year column, 1 title, 2 description)
RANK = ["Y0", "S0", "D0", "M0", "P0", "M1", "M2", "Y1", "S1", "P1", "P2", "D1", "S2", "D2"]
RECENT_YEARS = 8  # a bare year this near is as often that of a repair or a walk; our judgement


def read_years(cells: pl.DataFrame, words: YearWords) -> pl.DataFrame:
    """Return the years a listing states and what they mean.

    The best witness wins: a date of manufacture, then a year of style, of purchase, a decade. A year of something
    else (a new sole, a walk) is none.

    Args:
        cells: ``row, year`` (column), ``title, body``, text or NULL, and ``seen_on``.
        words: Words that say what a year means.

    Returns:
        ``row, lo, hi, kind``; rows without a stated year are left out.
    """
    dated = r"\d\d"
    sources = [
        cells.filter(pl.col(name).str.contains(dated)).select(
            "row", "seen_on", text=name, source=pl.lit(place, pl.Int8)
        )
        for place, name in enumerate(("year", "title", "body"))
    ]
    texts = pl.concat(sources)
    if texts.is_empty():
        return pl.DataFrame(schema={"row": pl.UInt32, "lo": pl.Int32, "hi": pl.Int32, "kind": pl.String})
    forms = texts.select("text", "source", year=pl.col("seen_on").dt.year()).unique(maintain_order=True)
    forms = forms.filter(pl.col("source") < 2).vstack(
        forms.filter((pl.col("source") == 2) & _year_like(pl.col("text")))
    )
    read = _mentions(forms, words)
    found = texts.with_columns(year=pl.col("seen_on").dt.year()).join(read, on=["text", "source", "year"], how="inner")
    return _best(found)


def _year_like(text: pl.Expr) -> pl.Expr:
    return text.str.contains(
        r"(?:19|20)\d\d|['’`´]\d\d|[5-9]0\s?(?:s|er|年代)|(?:années|anni|años|los)\s+(?:19)?[5-9]0|\d\d/\d\d"
    )


def tagged(text: pl.Expr, words: YearWords) -> pl.Expr:
    """Return a text with every year as a letter and digits: M made, P bought, S of the style, X other, D decade, Y bare."""
    text = (
        text.str.normalize("NFKC").str.to_lowercase().str.replace_all("[’`´]", "'")
        .str.replace_all(r"\b(0?[1-9]|1[0-2])/(\d\d)\s?[-–]\s?(?:0?[1-9]|1[0-2])/(\d\d)\b", " M_$2..$3 ")
        .str.replace_all(rf"({whole(words.made.before)}){GAP}(?:0?[1-9]|1[0-2])[/.](\d\d)\b", "$1 M_$2 ")
        .str.replace_all(rf"({whole(words.made.before)}){GAP}(?:0?[1-9]|1[0-2])[/.-]((?:19|20)\d\d)\b", "$1 M$2 ")
        .str.replace_all(CODES, " ").str.replace_all(AMOUNTS, " ")
        .str.replace_all(r"\b(?:19)?([5-9]0)\s?'?(?:s|er|ies)\b", " D19$1 ")
        .str.replace_all(r"(?:'|\b)?(?:20)?00\s?'?(?:s|er)\b", " D2000 ")
        .str.replace_all(r"\b(?:années|anni|años|gli anni|los)\s+'?(?:19)?([5-9]0)\b", " D19$1 ")
        .str.replace_all(r"\b(?:années|anni|años)\s+2000\b", " D2000 ")
        .str.replace_all(r"(?:19)?([5-9]0)年代", " D19$1 ").str.replace_all("2000年代", " D2000 ")
        .str.replace_all(r"\b((?:19|20)\d\d)\s?[-–/]\s?((?:19|20)\d\d)\b", " Y$1..$2 ")
        .str.replace_all(r"\b(19|20)(\d\d)\s?[-–/]\s?(\d\d)\b", " Y$1$2..$1$3 ")
        .str.replace_all(r"(?:\b|年|、|月)(19[5-9]\d|20[0-4]\d)(?:\b|年)", " Y$1 ")
        .str.replace_all(r"(?:^|[\s(])'([5-9]\d)\b", " Y19$1 ").str.replace_all(r"(?:^|[\s(])'([0-2]\d)\b", " Y20$1 ")
        .str.replace_all(r"M_([5-9]\d)", "M19$1").str.replace_all(r"M_([0-4]\d)", "M20$1")
        .str.replace_all(r"(M19\d\d)\.\.([5-9]\d)\b", "$1..19$2")
        .str.replace_all(r"(M\d{4})\.\.([0-4]\d)\b", "$1..20$2")
    )  # fmt: skip
    text = text.str.replace_all(rf"(?:{whole(words.about.before)})\s*([YMD])(\d)", "$1~$2").str.replace_all(
        rf"([YM])(\d{{4}})\s*(?:{whole(words.about.after)})", "$1~$2"
    )
    for letter, listed in (("E", words.early.words), ("F", words.middle.words), ("L", words.late.words)):
        text = text.str.replace_all(rf"(?:{whole(listed)})(?:\s+\p{{L}}{{1,4}})?\s*D~?(\d{{4}})", f"D{letter}$1")
        text = text.str.replace_all(rf"D~?(\d{{4}})\s*(?:の)?(?:{whole(listed)})", f"D{letter}$1")
    for letter, beside in (("X", words.other), ("M", words.made), ("P", words.purchase), ("S", words.style)):
        text = _tag(text, letter, beside)
    return text


def _tag(text: pl.Expr, letter: str, beside: BesideYear) -> pl.Expr:
    text = text.str.replace_all(rf"({whole(beside.before)}){GAP}Y(~?\d)", f"$1 {letter}$2")
    return text.str.replace_all(rf"Y(~?\d{{4}}(?:\.\.\d{{4}})?)\s*(?:{whole(beside.after)})", f"{letter}$1 ")


def _mentions(forms: pl.DataFrame, words: YearWords) -> pl.DataFrame:
    """Return every year of each text with its interval and kind."""
    digits = pl.col("mention").str.extract_all(r"\d{4}").list.eval(pl.element().cast(pl.Int32))
    letter = pl.col("mention").str.slice(0, 1)
    part = pl.col("mention").str.extract(r"^D([EFL])")
    about = pl.when(pl.col("mention").str.contains("~", literal=True)).then(words.about_years).otherwise(0)
    start = pl.when(part == "F").then(3).when(part == "L").then(6).otherwise(0)
    end = pl.when(part == "E").then(3).when(part == "F").then(7).otherwise(9)
    table = (
        forms.with_columns(mention=tagged(pl.col("text"), words).str.extract_all(MENTION))
        .explode("mention")
        .filter(pl.col("mention").is_not_null() & ~pl.col("mention").str.starts_with("X"))
        .with_columns(letter=letter, first=digits.list.min(), last=digits.list.max())
        .with_columns(
            lo=pl.when(pl.col("letter") == "D").then(pl.col("first") + start).otherwise(pl.col("first") - about),
            hi=pl.when(pl.col("letter") == "D").then(pl.col("first") + end).otherwise(pl.col("last") + about),
        )
    )
    # a bare year at the very start of a description is its subject: "1989, stitched welt"
    opens = pl.col("text").str.contains(r"^\W*(?:\p{L}+\W+){0,1}(?:ca\.? )?(?:19|20)\d\d\b")
    bare = (pl.col("letter") == "Y") & (pl.col("source") == 2)
    recent = (pl.col("letter") == "Y") & (pl.col("first") > pl.col("year") - RECENT_YEARS) & (pl.col("source") > 0)
    table = table.filter(~recent).with_columns(letter=pl.when(bare & opens).then(pl.lit("S")).otherwise("letter"))
    return table.filter(
        (pl.col("lo") >= words.earliest) & (pl.col("first") <= pl.col("year")) & (pl.col("hi") - pl.col("lo") <= 60)
    ).select("text", "source", "year", "letter", "lo", "hi")


def _best(found: pl.DataFrame) -> pl.DataFrame:
    """Return one interval a row: of the best witness; several years of the same rank give their span."""
    rank = pl.concat_str("letter", "source").replace_strict(RANK, range(len(RANK)), default=None, return_dtype=pl.Int8)
    ranked = found.with_columns(rank=rank).filter(pl.col("rank").is_not_null())
    ranked = ranked.filter(pl.col("rank") == pl.col("rank").min().over("row"))
    return (
        ranked.group_by("row")
        .agg(
            lo=pl.col("lo").min().cast(pl.Int32),
            hi=pl.col("hi").max().cast(pl.Int32),
            kind=pl.col("letter").first().replace_strict(KINDS, return_dtype=pl.String),
            spread=pl.col("lo").max() - pl.col("lo").min(),
            source=pl.col("source").first(),
        )
        # several years in a description tell no story
        .filter((pl.col("source") < 2) | (pl.col("kind") != "style") | (pl.col("spread") <= 1))
        .select("row", "lo", "hi", "kind")
    )
