"""Take away the reports that name somebody: a night's folder whole, a sheet or a calibration by itself."""

import json
import re
import shutil
from collections.abc import Iterable, Iterator
from html import unescape
from pathlib import Path

from triage.keeping.forget import Forgotten
from triage.keeping.held import usual
from triage.writeup import latest, phrase
from triage.writeup.calibration import FOLDER
from triage.writeup.changes import NIGHT
from triage.writeup.folder import write_whole
from triage.writeup.receipt import SHEETS

LATEST = "latest"


def take_away(out: Path, words: Iterable[str]) -> int:
    """Remove every report among ``out`` that has one of some words in it, and return how many were removed.

    What lies there and is no report of this program is left alone, and so are pages that were written elsewhere.

    Args:
        out: Folder of all reports; it need not exist.
        words: Ids of listings and a seller's name; whatever the case, and only as whole words.
    """
    if not out.is_dir():
        return 0
    shown = {form for word in words for form in _forms(word)}
    pattern = re.compile("|".join(rf"(?<!\w){re.escape(form)}(?!\w)" for form in sorted(shown)))
    found = [place for place in _reports(out) if any(pattern.search(_text(file)) for file in _files(place))]
    for place in found:
        if place.is_dir():
            shutil.rmtree(place)
        else:
            place.unlink()
    _mend_latest(out)
    return len(found)


def _forms(word: str) -> Iterator[str]:
    """Yield how a word stands in a text: as it is, and as JSON has it."""
    flat = " ".join(word.split()).casefold()
    yield flat
    yield json.dumps(flat, ensure_ascii=False)[1:-1]


def _reports(out: Path) -> Iterator[Path]:
    """Yield what may be removed by itself; what a killed run left of a night belongs to it."""
    for place in sorted(out.iterdir()):
        night = place.name.removeprefix(".").removesuffix(".fresh").removesuffix(".old")
        if place.is_dir() and NIGHT.fullmatch(night):
            yield place
    yield from sorted((out / FOLDER).glob("*.html"))
    yield from sorted((out / SHEETS).glob("*.html"))


def _files(place: Path) -> Iterator[Path]:
    """Yield the files of a report that can be read as text; the workbook holds what the other tables do."""
    files = sorted(place.rglob("*")) if place.is_dir() else [place]
    return (file for file in files if file.suffix in (".html", ".json", ".csv", ".txt", ".xml") and file.is_file())


def _text(file: Path) -> str:
    return " ".join(unescape(file.read_text("utf-8", "replace")).split()).casefold()


def _mend_latest(out: Path) -> None:
    """Let ``latest`` lead to the newest night there is, or take it away with the last."""
    if not (out / LATEST).is_dir():
        return
    if any(NIGHT.fullmatch(path.name) for path in out.iterdir()):
        with usual():
            write_whole(out / LATEST, latest(out))
    else:
        shutil.rmtree(out / LATEST)


def forgotten_text(done: Forgotten, seller: str) -> str:
    """Return what was forgotten, and what is the user's own to look after."""
    rows = f"{phrase.count(done.listings, 'listing')} and {phrase.count(done.rows, 'exported row')} emptied"
    gone = f"{phrase.count(done.copies, 'copy', 'copies')} of the store and {phrase.count(done.reports, 'report')}"
    lines = [f"{phrase.plain(seller)}: {rows}; {gone} taken away"]
    if done.reports:
        lines.append("the next night writes its report anew; earlier ones are not made again")
    if done.exports:
        lines.append("your own exports still name them, and would bring them back if they were read again:")
        lines += [f"  {phrase.plain(path)}" for path in done.exports]
    lines += [
        f"the word still stands in {phrase.count(number, 'row')} of {place}: other people's texts, left as they are"
        for place, number in done.mentions.items()
    ]
    lines.append("pages, copies and exports that you moved elsewhere are yours to look after")
    return "\n".join(lines) + "\n"
