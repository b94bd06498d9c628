"""What a night is held against: the least any program could take, and the script a practitioner's friend would write.

The floor is DuckDB alone: it reads the same exports into a table of texts, and writes tables with the very rows of
the night's, in one transaction, with no logic at all. The friend's script reads with pandas, names releases with
rapidfuzz ``extractOne``, looks for words with Python's ``re`` row by row, adds points and writes a CSV: a fair
evening's work that does a fraction of what the night does. It is timed on some thousand rows, and its time is
reckoned up in proportion.
"""

import csv
import re
import time
from pathlib import Path

import duckdb

OBVIOUS_ROWS = 5_000
# A few words a sign, as one would begin.
WORDS = {
    "crumbling": r"crumbl|brösel|zerfäll|émiett|sbriciol|desmigaj|加水分解|ボロボロ",
    "cracks": r"crack|riss|fissur|crep[ae]|griet|ひび",
    "yellowed": r"yellow|vergilb|jauni|ingiall|amarill|黄ばみ",
    "separated": r"separat|loose sole|löst|décoll|scoll|despeg|剥がれ",
    "sticky": r"sticky|tacky|kleb|collant|appiccic|pegajos|ベタ",
    "springy": r"spring|feder|souple|elastic|elástic|弾力",
    "deadstock": r"deadstock|new in box|neu|neuf|nuov|nuev|新品",
    "worn": r"worn|getragen|porté|usat|usad|中古",
    "returns": r"return|rücknahme|retour|reso|devoluci|返品",
    "box": r"box|karton|boîte|scatola|caja|箱",
}
POINTS = {"crumbling": -5, "cracks": -2, "yellowed": -1, "separated": -3, "sticky": -3, "springy": 2, "returns": 1}


def floor_seconds(exports: Path, store: Path, scratch: Path) -> float:
    """Return how long DuckDB alone takes to read the exports and to write the rows of the night's tables.

    Args:
        exports: Folder of the night's CSV files.
        store: The store the night left.
        scratch: A file that does not exist yet.
    """
    begun = time.perf_counter()
    with duckdb.connect(scratch) as connection:
        connection.execute(f"ATTACH '{store}' AS night (READ_ONLY)")
        tables = connection.execute(
            "SELECT table_name FROM duckdb_tables() WHERE database_name = 'night' AND table_name <> 'raw_row'"
        ).fetchall()
        connection.execute("BEGIN")
        for number, path in enumerate(sorted(exports.glob("*.csv"))):
            reader = f"read_csv('{path}', all_varchar = true, encoding = '{encoding_of(path)}')"
            connection.execute(f"CREATE TABLE rows_{number} AS FROM {reader}")
        for (name,) in tables:
            connection.execute(f"CREATE TABLE {name} AS FROM night.{name}")
        connection.execute("COMMIT")
        connection.execute("CHECKPOINT")
    return time.perf_counter() - begun


def encoding_of(path: Path) -> str:
    """Return what DuckDB must be told of a generated export."""
    try:
        path.open("rb").read(1 << 20).decode("utf-8", "strict")
    except UnicodeDecodeError as error:
        if error.start < (1 << 20) - 4:
            return "latin-1"
    return "utf-8"


def obvious_seconds(exports: Path, constructions: Path, out: Path, rows: int = OBVIOUS_ROWS) -> float:
    """Return how long the friend's script takes on the first rows of the exports."""
    import pandas as pd
    from rapidfuzz import fuzz, process

    begun = time.perf_counter()
    with constructions.open(encoding="utf-8", newline="") as stream:
        releases = list(csv.DictReader(stream))
    names = [f"{row['maker']} {row['model']} {row['edition']}" for row in releases]
    patterns = {sign: re.compile(words, re.IGNORECASE) for sign, words in WORDS.items()}
    frames = []
    for path in sorted(exports.glob("*.csv")):
        encoding = "utf-8" if encoding_of(path) == "utf-8" else "cp1252"
        frames.append(pd.read_csv(path, sep=None, engine="python", encoding=encoding, nrows=rows))
    calls = []
    for table in frames:
        title, text, price = (next(c for c in table.columns if re.match(pattern, c)) for pattern in (
            "Title|Titel", "Description|Beschreibung", "Price|Preis"))  # fmt: skip
        for _, row in table.head(rows // len(frames)).iterrows():
            found = process.extractOne(str(row[title]), names, scorer=fuzz.token_set_ratio)
            release = releases[found[2]] if found and found[1] >= 60 else None
            said = {sign for sign, pattern in patterns.items() if pattern.search(f"{row[title]} {row[text]}")}
            years = 2026 - int(release["made_from"][:4]) if release else 25
            cost = float(str(row[price]).replace(",", ".").replace("€", "") or 0)
            score = sum(POINTS.get(sign, 0) for sign in said) - years / 10 - cost / 50
            call = "buy" if score > 0 else "ask" if score > -4 and "springy" not in said else "skip"
            calls.append((row.iloc[0], release["model_id"] if release else "", round(score, 2), call))
    pd.DataFrame(calls, columns=["listing", "release", "score", "call"]).to_csv(out, index=False)
    return time.perf_counter() - begun
