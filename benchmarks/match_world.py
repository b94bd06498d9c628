"""A seeded world of invented releases and titles, of any size, for measuring how well and how fast titles are matched.

The words are made of syllables, so no name means anything. A fifth of the titles sell a sibling that is not in
the table: same maker, often the same model word, another number, qualifier or edition.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from triage.catalogue.constructions import SCHEMA, Constructions

ONSETS = [
    "b",
    "br",
    "d",
    "dr",
    "f",
    "fl",
    "g",
    "gr",
    "h",
    "j",
    "k",
    "kl",
    "l",
    "m",
    "n",
    "p",
    "pr",
    "r",
    "s",
    "st",
    "t",
    "tr",
    "v",
    "vr",
    "z",
]
VOWELS = ["a", "e", "i", "o", "u", "ae", "ia", "ou"]
CODAS = ["l", "n", "r", "s", "rn", "lk", "nd", "th", "m", "x"]
QUALIFIERS = [
    "high",
    "mid",
    "low",
    "light",
    "heritage",
    "classic",
    "pro",
    "plus",
    "max",
    "mini",
    "premium",
    "evo",
    "elite",
    "comp",
    "ultra",
]
COLOURS = [
    "white",
    "black",
    "grey",
    "navy",
    "red",
    "green",
    "yellow",
    "orange",
    "brown",
    "purple",
    "sand",
    "silver",
    "cobalt",
    "rust",
    "lime",
]
NOISE = [
    "rare",
    "vintage",
    "deadstock",
    "nos",
    "worn",
    "boxed",
    "clean",
    "grail",
    "no",
    "box",
    "great",
    "look",
    "nice",
    "used",
    "read",
    "japan",
]
SHOES = {"running": "running shoes", "court": "trainers", "basketball": "basketball shoes", "boots": "boots"}
ABSENT = 0.2  # share of releases left out of the table, and so of titles that match nothing
TYPO = 0.04  # share of name words with one slip


@dataclass(frozen=True)
class World:
    """A table, titles with the columns a listing has, and the true release of each ('' = not in the table)."""

    constructions: Constructions
    listings: pl.DataFrame
    truth: pl.DataFrame


def make_world(listings: int, releases: int, seed: int) -> World:
    """Return a world of about ``releases`` rows in the table and exactly ``listings`` titles."""
    rng = np.random.default_rng(seed)
    everything = _releases(round(releases / (1 - ABSENT)), rng)
    absent = rng.random(everything.height) < ABSENT
    table = everything.filter(pl.Series(~absent))
    sold = everything[rng.integers(0, everything.height, listings)]
    known = set(table["model_id"].to_list())
    titles = _titles(sold, rng)
    ids = pl.Series("listing_id", [f"{n:07d}" for n in range(listings)])
    empty = {
        "body": pl.String, "size_text": pl.String, "stated_year_lo": pl.Int32, "stated_year_hi": pl.Int32,
        "stated_year_kind": pl.String,
    }  # fmt: skip
    frame = pl.DataFrame([ids, titles]).with_columns([pl.lit(None, kind).alias(name) for name, kind in empty.items()])
    truth = pl.DataFrame([ids, sold["model_id"].alias("release")])
    truth = truth.with_columns(pl.when(pl.col("release").is_in(sorted(known))).then("release").otherwise(pl.lit("")))
    return World(Constructions(_typed(table), _typed(table.clear())), frame, truth)


def _typed(table: pl.DataFrame) -> pl.DataFrame:
    missing = [pl.lit(None, kind).alias(name) for name, kind in SCHEMA.items() if name not in table.columns]
    filled = table.with_columns(missing)
    lists = [name for name, kind in SCHEMA.items() if isinstance(kind, pl.List)]
    return filled.with_columns(pl.col(name).fill_null(pl.lit([], pl.List(pl.String))) for name in lists).select(
        list(SCHEMA)
    )


def _words(number: int, syllables: int, rng: np.random.Generator) -> list[str]:
    found: dict[str, None] = {}
    while len(found) < number:
        word = "".join(rng.choice(ONSETS) + rng.choice(VOWELS) for _ in range(syllables)) + rng.choice(CODAS)
        found.setdefault(word, None)
    return list(found)


def _releases(number: int, rng: np.random.Generator) -> pl.DataFrame:
    """Return invented releases: families of one to eight, told apart by number, qualifier, edition or years."""
    makers = [word.capitalize() for word in _words(100, 2, rng)]
    prefixes = [maker[:2].upper() + maker[-1].upper() for maker in makers]
    families = number // 4
    stems, seconds = _words(families, 3, rng), _words(300, 2, rng)
    rows: list[dict[str, object]] = []
    names: set[tuple[int, str]] = set()
    while len(rows) < number:
        family = int(rng.integers(families))
        maker = family % 100
        name = stems[family] + (f" {seconds[family % 300]}" if family % 5 == 0 else "")
        name += f" {rng.choice([2, 3, 4, 5, 90, 180, 200, 300, 500, 850])}" if rng.random() < 0.4 else ""
        name += f" {rng.choice(QUALIFIERS)}" if rng.random() < 0.4 else ""
        later = rng.random() < 0.15
        if (maker, name) in names and not later:
            continue
        names.add((maker, name))
        style = 1984 + family % 25
        made = style + (int(rng.integers(8, 22)) if later else int(rng.integers(0, 3)))
        code = f"{prefixes[maker]}{rng.integers(10, 99)}-{rng.integers(1000, 9999)}"
        rows.append({
            "model_id": f"R{len(rows):05d}", "maker": makers[maker], "model": name.title(),
            "edition": "reissue" if later else "original",
            "made_from": float(made), "made_to": made + float(rng.integers(1, 4)), "style_year": style,
            "colourway": " / ".join(sorted(rng.choice(COLOURS, 2, replace=False))), "category": list(SHOES)[maker % 4],
            "style_numbers": [code], "life_factor": 1.0,
        })  # fmt: skip
    return pl.DataFrame(rows).unique("model_id", keep="first", maintain_order=True)


def _titles(sold: pl.DataFrame, rng: np.random.Generator) -> pl.Series:
    """Return one title a release, as sellers write them: words left out, out of order, with slips and decoys."""
    n = sold.height
    name = sold["model"].str.to_lowercase()
    kept = _dropped(name, rng)
    made = sold["made_from"].to_numpy() + rng.integers(0, 3, n)
    style = sold["style_year"].to_numpy()
    draw = rng.random(n)
    year = np.where(draw < 0.8, made, np.where(draw < 0.95, style, rng.integers(1982, 2017, n))).astype(int)
    later = (sold["edition"] == "reissue").to_numpy()
    word = np.where(later, "reissue", "og")
    colour = sold["colourway"].str.split(" / ").list.first()
    shoe = sold["category"].replace_strict(SHOES)
    code = sold["style_numbers"].list.first()
    loose = rng.random(n) < 0.4
    parts = [
        _some(_slips(sold["maker"].str.to_lowercase(), rng), 0.85, rng),
        _slips(kept, rng),
        _some(pl.Series(year).cast(pl.String), 0.35, rng),
        _some(pl.Series(word), np.where(later, 0.35, 0.1), rng),
        _some(colour, 0.25, rng),
        _some(shoe, 0.3, rng),
        _some(pl.Series(np.where(loose, code.str.replace("-", " "), code)), 0.1, rng),
        _some("size " + pl.Series(rng.integers(6, 14, n)).cast(pl.String), 0.4, rng),
        _some(pl.Series(rng.integers(38, 48, n)).cast(pl.String), 0.15, rng),
        _some(pl.Series(np.array(NOISE)[rng.integers(0, len(NOISE), n)]), 0.5, rng),
    ]
    frame = pl.DataFrame([part.alias(str(place)) for place, part in enumerate(parts)])
    joined = frame.select(pl.concat_str(pl.all(), separator=" ", ignore_nulls=True).str.strip_chars().alias("title"))
    return joined.to_series()


def _some(values: pl.Series, share: float | np.ndarray, rng: np.random.Generator) -> pl.Series:
    """Return values with all but a share of them taken out."""
    keep = pl.Series(rng.random(len(values)) < share)
    return pl.select(pl.when(keep).then(values)).to_series()


def _dropped(names: pl.Series, rng: np.random.Generator) -> pl.Series:
    """Return names without their last word, now and then, when that word is a qualifier or a number."""
    cut = names.str.replace(rf" (?:{'|'.join(QUALIFIERS)})$", "")
    drop = pl.Series(rng.random(len(names)) < 0.12)
    return pl.select(pl.when(drop).then(cut).otherwise(names)).to_series()


def _slips(names: pl.Series, rng: np.random.Generator) -> pl.Series:
    """Return names of which a share lost, doubled or swapped a letter in the first word."""
    length = names.str.extract(r"^([a-z]+)").str.len_chars().to_numpy()
    at = pl.Series((rng.random(len(names)) * np.maximum(length - 3, 1)).astype(int) + 1)
    kind = pl.Series(np.where(rng.random(len(names)) < TYPO, rng.integers(0, 3, len(names)), 9))
    frame = pl.DataFrame({"name": names, "at": at, "kind": kind})
    head, letter = pl.col("name").str.slice(0, pl.col("at")), pl.col("name").str.slice(pl.col("at"), 1)
    tail = pl.col("name").str.slice(pl.col("at") + 1)
    after = pl.col("name").str.slice(pl.col("at") + 1, 1)
    swapped = pl.concat_str(head, after, letter, pl.col("name").str.slice(pl.col("at") + 2))
    written = (
        pl.when(pl.col("kind") == 0).then(pl.concat_str(head, tail))
        .when(pl.col("kind") == 1).then(pl.concat_str(head, letter, letter, tail))
        .when(pl.col("kind") == 2).then(swapped)
        .otherwise("name")
    )  # fmt: skip
    return frame.select(written).to_series()
