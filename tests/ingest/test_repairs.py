"""A damaged row comes back as the clean row or is quarantined: a repair never invents one.

``damages`` makes every kind of damage at every place of a record; here some of them are drawn, by hand all are tried:
``python tests/ingest/test_repairs.py``.
"""

import json
import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from polluted import Rows, cell, clean, write

from triage.catalogue.feeds import load_feeds
from triage.ingest.readers import csv
from triage.ingest.rows import FileError, Settings

TABLES = {name: clean(name) for name in ("clean_export", "clean_central", "clean_japanese")}
CALM = settings(max_examples=150, deadline=None, derandomize=True)


def damages(cells: list[str]) -> Iterator[tuple[str, str]]:
    """Yield name and text of a record damaged in every way at every place, but for ways that leave a sound record.

    A line end inside quotes, a quote that closes nothing at the end of a bare cell, and an end cut off so that all
    cells are there say something else without any fault; nobody can know better.
    """
    written = [cell(text) for text in cells]
    line = ",".join(written)
    for i, text in enumerate(written):
        before, after = written[:i], written[i + 1 :]
        yield f"no cell {i}", ",".join(before + after)
        yield f"one more at {i}", ",".join([*before, "more", text, *after])
        yield f"empty one more at {i}", ",".join([*before, "", text, *after])
        yield f"not closed {i}", ",".join([*before, '"' + cells[i].replace('"', '""'), *after])
        yield f"behind the quote {i}", ",".join([*before, cell(cells[i], always=True) + " nice", *after])
        if "," in cells[i]:
            yield f"not opened {i}", ",".join([*before, text[1:], *after])
        if '"' in cells[i]:
            yield f"not doubled {i}", ",".join([*before, f'"{cells[i]}"', *after])
        if after:
            yield f"no delimiter {i}", ",".join([*before, text + after[0], *after[1:]])
            yield f"two cells less {i}", ",".join(before + after[1:])
    for at in range(1, len(line)):
        yield f"stray bytes at {at}", line[:at] + "\udcff\udcfe" + line[at:]
        quoted = line[:at].count('"') % 2
        if not quoted:
            yield f"broken at {at}", line[:at] + "\n" + line[at:]
        if line[:at].count(",") < line.count(",") and not quoted and "," in line[at : line.rindex(",")]:
            yield f"cut at {at}", line[:at]
    for name, mark in {"semicolons": ";", "tabs": "\t", "pipes": "|"}.items():
        yield f"with {name}", mark.join(cell(text, mark) for text in cells)


def possible(rows: Rows, at: int) -> list[tuple[str, str]]:
    """Return the damages of a row; where no other cell is quoted, a quote is a character like any other."""
    others = write([row for i, row in enumerate(rows) if i != at]).records
    quoted = sum(',"' in record for record in others) > 2
    return [one for one in damages(rows[at]) if quoted or '"' not in one[1]]


def outcome(rows: Rows, at: int, line: str, words) -> str:
    """Return what became of a table with one record damaged: exact, quarantined, or what is wrong."""
    records = write(rows).records
    records[at] = line
    with TemporaryDirectory() as folder:
        path = Path(folder, "a.csv")
        path.write_text("\n".join(records) + "\n", encoding="utf-8", errors="surrogateescape")
        try:
            pieces = list(csv.read(path, Settings(words)))
        except FileError as error:
            return f"file refused: {error}"
    got = Counter(tuple(json.loads(cells).values()) for piece in pieces for cells in piece.rows["cells"])
    want = Counter(map(tuple, rows[1:]))
    lost = want - got
    if got - want:
        return f"invented: {list(got - want)}"
    if not lost:
        return "exact"
    whole = lost.total() == 1 and rows[at] == list(next(iter(lost)))
    return "quarantined" if whole and any(piece.broken for piece in pieces) else f"lost: {list(lost)}"


@pytest.mark.parametrize("name", TABLES)
@CALM
@given(data=st.data())
def test_a_damaged_row_comes_back_as_the_clean_row_or_not_at_all(feeds, name, data):
    rows = TABLES[name]
    at = data.draw(st.sampled_from([i for i, row in enumerate(rows) if i and "\n" not in "".join(row)]))
    what, line = data.draw(st.sampled_from(possible(rows, at)))
    assert outcome(rows, at, line, feeds.words) in ("exact", "quarantined"), what


WORDS = st.lists(
    st.sampled_from(["worn", "boxed", "sole", "42", "9", "2019", '6"', "red,", "as", "new", "|", "ok"]),
    min_size=1, max_size=6,
)  # fmt: skip


@CALM
@given(
    texts=st.lists(
        st.tuples(WORDS, WORDS, st.integers(5, 400), st.sampled_from(["new", "worn", ""])), min_size=12, max_size=20
    ),
    data=st.data(),
)
def test_in_a_table_of_any_words_too(feeds, texts, data):
    rows = [["listing id", "title", "description", "price", "condition"]]
    rows += [
        [f"{7919 * i:06d}", " ".join(title), " ".join(body), f"{price}.50", state]
        for i, (title, body, price, state) in enumerate(texts, 1)
    ]
    at = data.draw(st.integers(1, len(rows) - 1))
    # Too few columns may be narrow here to see that a row lost the cell at one end, or a part of it, to a line end.
    every = [
        one
        for one in possible(rows, at)
        if not one[0].startswith("broken") or all("," in half for half in one[1].split("\n"))
    ]
    # A table in ASCII but for two bytes is one in cp1252 with two letters.
    every = [one for one in every if not one[0].startswith("stray")]
    what, line = data.draw(st.sampled_from([one for one in every if ",\n" not in one[1] and "\n," not in one[1]]))
    assert outcome(rows, at, line, feeds.words) in ("exact", "quarantined"), what


def main() -> int:
    """Try every damage at every place of every third row; print counts and what is wrong."""
    words = load_feeds(Path(__file__).parents[2] / "rules" / "feeds", []).words
    counts: Counter[tuple[str, str]] = Counter()
    for rows in TABLES.values():
        for at in range(1, len(rows), 3):
            if "\n" in "".join(rows[at]):
                continue
            for what, line in possible(rows, at):
                found = outcome(rows, at, line, words)
                counts[what.rstrip(" 0123456789"), found.split(":")[0]] += 1
                if found not in ("exact", "quarantined"):
                    print(what, "|", line, "|", found)
    for (what, found), count in sorted(counts.items()):
        print(f"{what:20} {found:12} {count}")
    return sum(count for (_, found), count in counts.items() if found not in ("exact", "quarantined"))


if __name__ == "__main__":
    sys.exit(bool(main()))
