"""Polluted variants of three clean exports: one pollution each, and what must become of the rows.

The idea (pollute a clean file in one way at a time and see what is loaded) is from Vitagliano et al.,
"Pollock: A Data Loading Benchmark", PVLDB 16(8), 2023; the files and pollutions here are our own.
"""

import csv
import io
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from pathlib import Path

HERE = Path(__file__).parent
PLACES = {"first": 0, "middle": 20, "last": 39}
Rows = list[list[str]]


def clean(name: str = "clean_export") -> Rows:
    """Return a clean export, heading row first."""
    with (HERE / f"{name}.csv").open(encoding="utf-8", newline="") as stream:
        return list(csv.reader(stream))


@dataclass(frozen=True)
class Variant:
    """One polluted file.

    Attributes:
        rows: The clean data rows.
        damaged: Places in ``rows`` of those the file no longer says, since ``second_origins.py`` has another clean
            table that becomes the same bytes: reject them.
        kind: What kind of pollution it is.
        codes: Reasons that are right for a rejected row or file.
        whole: The file may be rejected whole: what it lacks can't be known.
    """

    name: str
    content: bytes
    rows: Rows
    damaged: frozenset[int] = frozenset()
    codes: tuple[str, ...] = ()
    whole: bool = False
    kind: str = ""


@dataclass
class Written:
    """A clean export as text, one element a record, still open to pollution."""

    records: list[str]
    eol: str = "\n"
    last: str = "\n"
    front: str = ""
    back: str = ""
    rows: Rows = field(default_factory=list)

    def text(self) -> str:
        return self.front + self.eol.join(self.records) + self.last + self.back


def cell(text: str, delimiter: str = ",", quote: str = '"', always: bool = False, double: str = "") -> str:
    """Return a cell as RFC 4180 writes it, or with another quote, or with an escape before it."""
    if always or delimiter in text or quote in text or "\n" in text or "\r" in text:
        return quote + text.replace(quote, (double or quote) + quote) + quote
    return text


def write(rows: Rows, delimiter: str = ",", **how: object) -> Written:
    records = [delimiter.join(cell(text, delimiter, **how) for text in row) for row in rows]  # type: ignore[arg-type]
    return Written(records, rows=rows[1:])


def variants(rows: Rows | None = None, kind: str | None = None) -> list[Variant]:
    """Return every variant, or those of one kind, of a clean export of ten columns; names are unique."""
    made = {
        "delimiters": _delimiters, "quotes": _quotes, "line ends": _line_ends, "encodings": _encodings,
        "headings": _headings, "no data": _no_data, "widths": _widths, "values": _values,
    }  # fmt: skip
    out = [
        replace(variant, kind=name)
        for name, make in made.items()
        if kind in (None, name)
        for variant in make(rows or clean())
    ]
    twice = [name for name, count in Counter(one.name for one in out).items() if count > 1]
    assert not twice, twice
    return out


def _made(name: str, written: Written, encoding: str = "utf-8", **more: object) -> Variant:
    return Variant(name, written.text().encode(encoding), written.rows, **more)  # type: ignore[arg-type]


def _delimiters(rows: Rows) -> Iterable[Variant]:
    named = {
        "comma": ",", "semicolon": ";", "tab": "\t", "pipe": "|", "caret": "^", "tilde": "~", "unit separator": "\x1f",
    }  # fmt: skip
    for name, delimiter in named.items():
        yield _made(f"delimiter {name}", write(rows, delimiter))
        yield _made(f"delimiter {name}, all quoted", write(rows, delimiter, always=True))
    yield _made("delimiter colon, all quoted", write(rows, ":", always=True))
    yield _made("delimiter blank, all quoted", write(rows, " ", always=True))
    for name, delimiter in {"comma and blank": ", ", "semicolon and blank": "; "}.items():
        records = [delimiter.join(cell(text, delimiter[0]) for text in row) for row in rows]
        yield _made(f"delimiter {name}", Written(records, rows=rows[1:]))
    yield _made("delimiter two pipes", write(rows, "||", always=True))
    yield _made("sep= line", Written(["sep=;", *write(rows, ";").records], rows=rows[1:]))
    yield _made("sep= line, tab", Written(["sep=\t", *write(rows, "\t").records], rows=rows[1:]))


def _quotes(rows: Rows) -> Iterable[Variant]:
    yield _made("quote apostrophe where needed", write(rows, quote="'"))
    yield _made("quote apostrophe everywhere", write(rows, quote="'", always=True))
    yield _made("quote apostrophe, semicolon", write(rows, ";", quote="'"))
    yield _made("quote escaped by backslash", write(rows, double="\\"))
    yield _made("quote escaped by backslash, all quoted", write(rows, always=True, double="\\"))
    yield _made("quote escaped by backslash, tab", write(rows, "\t", double="\\"))
    texts = [",".join(cell(text, always=not text.replace(".", "").isdigit()) for text in row) for row in rows]
    yield _made("only text quoted", Written(texts, rows=rows[1:]))
    head = write(rows, always=True).records[0]
    yield _made("only headings quoted", Written([head, *write(rows).records[1:]], rows=rows[1:]))
    body = write(rows, always=True).records[1:]
    yield _made("all but headings quoted", Written([write(rows).records[0], *body], rows=rows[1:]))
    flat = [[text.replace("\n", " ").replace('"', "”") for text in row] for row in rows]
    yield _made("no quotes at all, tab", write(flat, "\t"))
    bare = [[text.replace("\n", " ") for text in row] for row in rows]
    yield _made("bare quotes inside unquoted cells, tab", Written(["\t".join(row) for row in bare], rows=bare[1:]))
    yield _made(
        "bare quotes inside unquoted cells, pipe",
        Written(["|".join(row) for row in bare], rows=bare[1:]),
    )
    for name, change, code in _SPOILT_QUOTES:
        yield from _everywhere(rows, name, change, code)
    for place, at in PLACES.items():
        # The clean row has the text too, its quotes doubled.
        text = f'{rows[at + 1][1].replace(chr(34), "")} "grey" run, boxed'
        for name, cell_ in {
            "undoubled quotes": f'"{text}"',
            "quote not opened": text.replace('"', '""') + '"',
            "quotes escaped by backslash": '"' + text.replace('"', '\\"') + '"',
        }.items():
            yield _one_cell(rows, f"{name} in the {place} row", at, text, cell_)
        title, address = rows[at + 1][1].replace('"', ""), rows[at + 1][9]
        yield part_quoted(rows, f"quotes around a part of a title in the {place} row", at, " " + title.split()[-1])
        yield bare_comma(rows, f"comma in an unquoted title in the {place} row", at, 1, f"boxed,{title}")
        yield bare_comma(rows, f"comma in an unquoted address in the {place} row", at, 9, f"{address},2")
    yield _made(
        "delimiter escaped by backslash, no quotes",
        Written([",".join(text.replace(",", "\\,") for text in row) for row in flat], rows=flat[1:]),
    )
    for name, mark in {"semicolons": ";", "tabs": "\t", "pipes": "|"}.items():
        yield spoilt(rows, f"one row with {name}", 18, lambda r, mark=mark: r.replace(",", mark), SAME)
    yield spoilt(rows, "one row quoted by apostrophes", 20, lambda r: r.replace('"', "'"), SAME)


def part_quoted(rows: Rows, name: str, at: int, behind: str) -> Variant:
    """Return a variant in which quotes stand around the title of one row but for its end."""
    title = rows[at + 1][1].replace('"', "")
    written = f'"{title.removesuffix(behind)}"{behind}'
    return _one_cell(rows, name, at, title, written, damaged=frozenset({at}), codes=("stray-quote", "row-width"))


def bare_comma(rows: Rows, name: str, at: int, column: int, text: str) -> Variant:
    """Return a variant in which a cell with a comma, also of the clean row, is not quoted."""
    return _one_cell(rows, name, at, text, text, column, damaged=frozenset({at}), codes=("row-width",))


def _one_cell(rows: Rows, name: str, at: int, text: str, written: str, column: int = 1, **more: object) -> Variant:
    """Return a variant in which one cell of one row, also of the clean one, is a given text."""
    row = [one.replace("\n", " ") for one in rows[at + 1]]
    row[column] = text
    records = write([*rows[: at + 1], row, *rows[at + 2 :]]).records
    records[at + 1] = ",".join([*map(cell, row[:column]), written, *map(cell, row[column + 1 :])])
    return _made(name, Written(records, rows=[*rows[1 : at + 1], row, *rows[at + 2 :]]), **more)


def _line_ends(rows: Rows) -> Iterable[Variant]:
    written = write(rows)
    for name, eol in {"CR": "\r", "CRLF": "\r\n", "CRCRLF": "\r\r\n", "LFCR": "\n\r"}.items():
        yield _made(f"line end {name}", Written(written.records, eol, eol, rows=rows[1:]))
    ends = ("\n", "\r\n", "\r")
    mixed = "".join(record + ends[i % 3] for i, record in enumerate(written.records))
    yield Variant("line ends mixed", mixed.encode(), rows[1:])
    yield _made("no line end at the end", Written(written.records, last="", rows=rows[1:]))
    yield _made("many line ends at the end", Written(written.records, last="\n" * 9, rows=rows[1:]))
    yield _made("blank line between all rows", Written(written.records, "\n\n", rows=rows[1:]))
    yield _made("blank lines of blanks", Written(written.records, "\n   \n", rows=rows[1:]))
    yield _made("blank line below the headings", Written([written.records[0], "", *written.records[1:]], rows=rows[1:]))
    yield _made("blank lines first", Written(["", "", *written.records], rows=rows[1:]))
    yield _made("Ctrl-Z at the end", Written(written.records, back="\x1a", rows=rows[1:]))
    yield _made("NUL padding at the end", Written(written.records, back="\0" * 700, rows=rows[1:]))
    yield _made("form feed line", Written([*written.records[:9], "\f", *written.records[9:]], rows=rows[1:]))
    crlf = [[text.replace("\n", "\r\n") for text in row] for row in rows]
    yield _made("CRLF also inside quoted cells", Written(write(crlf).records, "\r\n", "\r\n", rows=crlf[1:]))
    old = [[text.replace("\n", "\r") for text in row] for row in rows]
    yield _made("CR inside quoted cells", write(old))
    odd = [[text.replace("\n", "\u2028") for text in row] for row in rows]
    yield _made("Unicode line separator inside cells", write(odd))


def _encodings(rows: Rows) -> Iterable[Variant]:
    for name in (
        "utf-8-sig",
        "utf-16",
        "utf-16-le",
        "utf-16-be",
        "utf-32",
        "cp1252",
        "iso8859-15",
        "mac_roman",
        "cp850",
    ):
        kept = [[text.encode(name, "replace").decode(name) for text in row] for row in rows]
        yield _made(f"encoding {name}", write(kept), name)
    yield Variant("encoding utf-16-be with mark", b"\xfe\xff" + write(rows).text().encode("utf-16-be"), rows[1:])
    yield _made(
        "byte order mark twice",
        Written(["\ufeff\ufeff" + write(rows).records[0], *write(rows).records[1:]], rows=rows[1:]),
    )
    yield _made(
        "byte order mark before a quote",
        Written(["\ufeff" + write(rows, always=True).records[0], *write(rows).records[1:]], rows=rows[1:]),
    )
    for name in ("cp1250", "iso8859-2", "utf-8", "utf-16-le"):
        rows_pl = [[text.replace("–", "-") for text in row] for row in clean("clean_central")]
        yield _made(f"encoding {name}, Central European", write(rows_pl), name)
    for name in ("cp932", "euc_jp", "iso2022_jp", "utf-8", "utf-16-le", "utf-16-be", "utf-8-sig"):
        yield _made(f"encoding {name}, Japanese", write(clean("clean_japanese")), name)
    yield _made("encoding cp932, Japanese, tab", write(clean("clean_japanese"), "\t"), "cp932")
    lines = [record.encode() for record in write(rows).records]
    lines[12] = write(rows).records[12].encode("cp1252")
    assert b"\xc9t\xe9" in lines[12]
    yield Variant("one row in another encoding", b"\n".join(lines), rows[1:])
    for name in ("cp1252", "mac_roman"):
        unknown = [*rows[:11], [text.replace("Größe", "Naht öfter") for text in rows[11]], *rows[12:]]
        yield other_encoding(unknown, f"one row in {name}, with words no other row has", 10, name)
    lines = [record.encode() for record in write(rows).records]
    lines[7] = lines[7][:12] + b"\xff\xfe" + lines[7][12:]
    yield Variant("two stray bytes in one row", b"\n".join(lines), rows[1:])


def other_encoding(rows: Rows, name: str, at: int, encoding: str) -> Variant:
    """Return a variant in UTF-8 but for one row."""
    lines = [record.encode() for record in write(rows).records]
    lines[at + 1] = write(rows).records[at + 1].encode(encoding)
    return Variant(name, b"\n".join(lines), rows[1:], frozenset({at}), ("undecodable",))


def _headings(rows: Rows) -> Iterable[Variant]:
    written = write(rows)
    top, body = written.records[0], written.records[1:]
    yield _made("no headings", Written(body, rows=rows[1:]))
    yield _made("no headings, semicolon", Written(write(rows, ";").records[1:], rows=rows[1:]))
    units = ["", "", "", "in full", "code", "as on tag", "", "", "year-month-day", ""]
    yield _made("second heading row of units", Written([top, ",".join(units), *body], rows=rows[1:]))
    yield _made("headings twice at the top", Written([top, top, *body], rows=rows[1:]))
    every = [line for i, record in enumerate(body) for line in ([top, record] if i % 10 == 0 else [record])]
    yield _made("headings every ten rows", Written(every, rows=rows[1:]))
    yield _made("headings again at the end", Written([top, *body, top], rows=rows[1:]))
    yield _made("headings in capitals", Written([top.upper(), *body], rows=rows[1:]))
    yield _made("blanks around headings", Written([top.replace(",", " ,  "), *body], rows=rows[1:]))
    yield _made("line end inside a heading", Written([top.replace("listed on", '"listed\non"'), *body], rows=rows[1:]))
    yield _made("comment sign before headings", Written(["#" + top, *body], rows=rows[1:]))
    yield _made("empty heading", Written([top.replace("size", ""), *body], rows=rows[1:]))
    yield _made(
        "same heading twice",
        Written([top.replace("currency", "size"), *body], rows=rows[1:]),
        whole=True,
        codes=("heading-doubt",),
    )
    yield _made("delimiter after headings only", Written([top + ",", *body], rows=rows[1:]))
    yield _made(
        "unknown headings",
        Written(["a1,b1,c1,d1,e1,f1,g1,h1,i1,j1", *body], rows=rows[1:]),
        whole=True,
        codes=("no-title",),
    )
    yield _made("headings only", Written([top], rows=[]))
    yield _made("one row", Written([top, body[0]], rows=rows[1:2]))
    yield _made("two rows", Written([top, *body[:2]], rows=rows[1:3]))
    for name, line in {
        "French": "Réf. annonce;Titre;Description;Prix;Devise;Pointure;État;Vendeur;Date de publication;Lien",
        "Italian": "Codice annuncio;Titolo;Descrizione;Prezzo;Valuta;Numero;Condizioni;Venditore;Data;Link",
        "Spanish": "Referencia;Título;Descripción;Precio;Moneda;Talla;Estado;Vendedor;Fecha;Enlace",
    }.items():
        yield _made(f"{name} headings", Written([line, *write(rows, ";").records[1:]], rows=rows[1:]))
    german = "Anzeigen-Nr.;Titel;Beschreibung;Preis;Währung;Größe;Zustand;Verkäufer;Eingestellt am;Link"
    yield _made("German headings", Written([german, *write(rows, ";").records[1:]], rows=rows[1:]))


def _no_data(rows: Rows) -> Iterable[Variant]:
    records = write(rows).records
    fronts = {
        "one line": ["Saved search"], "three lines": ["Saved search", "2026-11-24", "40 listings"],
        "ten lines": [f"note {i}" for i in range(10)], "line and blank line": ["Saved search", ""],
        "line with delimiters": ["Saved search, trail shoes, all sizes"], "comment lines": ["# board", "# export 3"],
        "title row with empty cells": ["Export" + "," * 9], "key and value lines": ["query,trail", "pages,4", ""],
    }  # fmt: skip
    for name, lines in fronts.items():
        yield _made(f"preamble: {name}", Written([*lines, *records], rows=rows[1:]))
    ends = {
        "total row": ["Total,,,4021.50,,,,,,"], "count line": ["40 rows"], "sign-off": ["Exported by the board"],
        "blank and sign-off": ["", "End of export"], "page tail": ["</table></body></html>"],
        "two lines": ["Total: 40", "Generated 2026-11-24"],
    }  # fmt: skip
    for name, lines in ends.items():
        yield _made(f"footer: {name}", Written([*records, *lines], rows=rows[1:]), codes=("row-width",))
    other = ["", "seller,rating", "anna_k,5", "club-82,4"]
    yield _made(
        "second table of other columns", Written([*records, *other], rows=rows[1:]), codes=("row-width", "second-table")
    )
    yield _made(
        "comment line between rows",
        Written([*records[:20], "# page 2", *records[20:]], rows=rows[1:]),
        codes=("row-width",),
    )


def _widths(rows: Rows) -> Iterable[Variant]:
    records = write(rows).records
    yield _made("delimiter after every row", Written([record + "," for record in records], rows=rows[1:]))
    yield _made(
        "delimiter after every row but headings", Written([records[0], *(r + "," for r in records[1:])], rows=rows[1:])
    )
    yield _made(
        "row numbers without a heading",
        Written([records[0], *(f"{i},{r}" for i, r in enumerate(records[1:]))], rows=rows[1:]),
    )
    yield _made("rows of empty cells", Written([*records[:5], "," * 9, *records[5:], "," * 9], rows=rows[1:]))
    for name, change, code in _SPOILT_WIDTHS:
        yield from _everywhere(rows, name, change, code)
    yield _joined(rows)
    # At every other place than the last.
    names = rows[0]
    for i, name in enumerate(names[:8]):
        yield spoilt(rows, f"delimiter missing between {name} and {names[i + 1]}", 18, _gone(i), SAME)
    for i in (4, 7, 10):
        yield spoilt(rows, f"one empty cell too many at column {i}", 18, _added(i), SAME)
    for name, mark in {"price": "146.", "date": "2026-", "address": "item/43", "id": "1435"}.items():
        yield spoilt(rows, f"row broken by a line end inside the {name}", 18, _after(mark), SAME)
    yield spoilt(rows, "row broken by a line end behind a delimiter", 18, _after("EUR,"), SAME)
    yield spoilt(rows, "row broken by a line end before a delimiter", 18, _after("EUR"), SAME)
    yield _made(
        "file cut off inside the last address",
        Written([*records[:-1], records[-1][:-3]], last="", rows=rows[1:]),
        damaged=frozenset({39}),
        codes=("cut-off",),
    )
    yield _made(
        "file cut off behind the last delimiter",
        Written([*records[:-1], records[-1].rpartition(",")[0] + ","], last="", rows=rows[1:]),
        damaged=frozenset({39}),
        codes=("cut-off",),
    )
    yield _made(
        "two tables of the same columns", Written([*records[:20], "", records[0], *records[20:]], rows=rows[1:])
    )
    broken = [*records[:19], records[19][:40], records[19][40:], *records[20:]]
    yield _made("row broken by a line end", Written(broken, rows=rows[1:]))
    yield _prose(rows)


def _values(rows: Rows) -> Iterable[Variant]:
    def with_column(name: str, change: Callable[[str], str], column: int, **how: object) -> Variant:
        changed = [rows[0], *([*r[:column], change(r[column]), *r[column + 1 :]] for r in rows[1:])]
        return _made(name, write(changed, **how))

    yield with_column("empty column", lambda _: "", 7)
    yield with_column(r"column of \N", lambda _: r"\N", 7)
    quoted = [",".join(cell(text) or '""' for text in row) for row in rows]
    yield _made("empty cells quoted", Written(quoted, rows=rows[1:]))
    yield with_column("column of N/A", lambda _: "N/A", 7)
    yield with_column("column of NULL", lambda _: "NULL", 2)
    yield with_column("column of nan", lambda _: "nan", 2)
    yield with_column("column of true", lambda _: "TRUE", 6)
    yield with_column("ids that look like powers of ten", lambda text: text[:2] + "E3", 0)
    yield with_column("ids of 25 digits", lambda text: text.zfill(25), 0)
    yield with_column("prices with a decimal comma", lambda text: text.replace(".", ","), 3)
    yield with_column("prices with a decimal comma, semicolon", lambda text: text.replace(".", ","), 3, delimiter=";")
    yield with_column("prices with thousands", lambda text: f"1,{text.zfill(6)}", 3)
    yield with_column("prices with currency", lambda text: f"€ {text}", 3)
    yield with_column("dates day first", lambda text: "/".join(reversed(text.split("-"))), 8)
    yield with_column("blanks around cells", lambda text: f"  {text} ", 1)
    yield with_column("tabs inside cells", lambda text: text.replace(" ", "\t"), 2)
    yield with_column("formulas", lambda text: f"=1+1 {text}", 2)
    yield with_column("emoji and right-to-left text", lambda text: f"👟 نعل {text}", 2)
    yield with_column("long cells", lambda text: text + " word" * 4_000, 2)
    yield with_column("HTML in cells", lambda text: f'<p class="a">{text}</p>\n<br/>', 2)
    yield with_column("JSON in cells", lambda text: '{"a": [1, "x,y"]}', 2)
    yield with_column("three lines in each cell", lambda text: f"{text}\n\nmore, and more\n", 2)
    yield with_column("other delimiters in cells", lambda text: f"{text}; a; b; c | d | e", 2)
    yield with_column("literal backslashes", lambda text: f"C:\\new\\{text}\\", 2)
    yield with_column("apostrophes around words", lambda text: f"'{text}' boxed", 1)
    wide = [row + [f"extra {j}" if i == 0 else f"{i}x{j}" for j in range(290)] for i, row in enumerate(rows)]
    yield _made("300 columns", write(wide))
    many = [rows[0], *([f"{i:06d}", *rows[1 + i % 40][1:]] for i in range(5_000))]
    yield _made("5,000 rows", write(many))
    late = [*many[:4_000], [*many[4_000][:2], "first\n\nlast", *many[4_000][3:]], *many[4_001:]]
    yield _made("a cell of three lines only in row 4,000", write(late))
    yield spoilt(rows, "NUL behind a cell", 20, lambda r: r.replace(",", "\0,", 1), SAME)
    yield letter_lost(rows, "NUL inside a text", 20, "Tor")


def letter_lost(rows: Rows, name: str, at: int, letters: str) -> Variant:
    """Return a variant with a NUL instead of the second of some letters in one row."""
    change = letters[0] + "\0" + letters[2:]
    return spoilt(rows, name, at, lambda record: record.replace(letters, change, 1), "control-character")


def _everywhere(rows: Rows, name: str, change: Callable[[str], str], code: str | None) -> Iterable[Variant]:
    """Yield three variants with one record changed: the first, one in the middle, the last."""
    for place, at in PLACES.items():
        yield spoilt(rows, f"{name} in the {place} row", at, change, code)


def spoilt(rows: Rows, name: str, at: int, change: Callable[[str], str], code: str | None) -> Variant:
    """Return a variant with one record changed; None: its cells as they stand are right; SAME: they can be known."""
    records = write(rows).records
    plain = [text.replace("\n", " ") for text in rows[at + 1]]
    records[at + 1] = change(write([plain]).records[0])
    kept = [*rows[1 : at + 1], plain, *rows[at + 2 :]]
    if code is None:
        kept[at] = next(csv.reader(io.StringIO(records[at + 1])))[:10]
    if code in (None, SAME):
        return _made(name, Written(records, rows=kept))
    return _made(name, Written(records, rows=kept), damaged=frozenset({at}), codes=(code, "stray-quote", "row-width"))


def _in_cell(record: str, column: int, change: Callable[[str], str]) -> str:
    cells = next(csv.reader([record]))
    written = [cell(text) for text in cells]
    written[column] = change(cells[column])
    return ",".join(written)


def behind_quote(record: str, text: str) -> str:
    """Return a record with a text behind the closing quote of its title."""
    return _in_cell(record, 1, lambda title: f'"{title}"{text}')


def one_more(record: str, text: str) -> str:
    """Return a record with one more cell before its title."""
    return record.replace(",", f",{text},", 1)


def _gone(at: int) -> Callable[[str], str]:
    """Return what takes out one delimiter of a record without quotes."""

    def gone(record: str) -> str:
        cells = record.split(",")
        return ",".join([*cells[:at], cells[at] + cells[at + 1], *cells[at + 2 :]])

    return gone


def _added(at: int) -> Callable[[str], str]:
    """Return what puts an empty cell into a record without quotes."""
    return lambda record: ",".join([*record.split(",")[:at], "", *record.split(",")[at:]])


def _after(mark: str) -> Callable[[str], str]:
    """Return what breaks a record behind a text."""
    return lambda record: record.replace(mark, mark + "\n", 1)


def _drop(cells: list[str], at: int) -> list[str]:
    return cells[:at] + cells[at + 1 :] if at != -1 else cells[:-1]


def _moved(record: str) -> str:
    """Return a record with the delimiter before the price gone and one more behind the last but one."""
    cells = [cell(text) for text in next(csv.reader([record]))]
    return ",".join([cells[0], cells[1], *cells[3:9], "", cells[9]])


def _joined(rows: Rows) -> Variant:
    records = write(rows).records
    joined = [*records[:21], records[21] + records[22], *records[23:]]
    return _made(
        "line end missing between two rows",
        Written(joined, rows=rows[1:]),
    )


def _prose(rows: Rows) -> Variant:
    """Return a variant whose descriptions have commas and no quotes, as a hand-made export has."""
    plain = [[text.replace("\n", " ").replace('"', "") for text in row] for row in rows]
    return _made(
        "commas in unquoted text",
        Written([",".join(row) for row in plain], rows=plain[1:]),
    )


SAME = "same"
# What is done to one record, and the reason it is to be rejected for; None and SAME as in ``spoilt``.
_SPOILT_QUOTES: list[tuple[str, Callable[[str], str], str | None]] = [
    ("unclosed quote", lambda r: r.replace(",", ',"', 1), SAME),
    ("inch mark", lambda r: _in_cell(r, 1, lambda c: c + ' 6" wide'), None),
    ("text after a closing quote", lambda r: behind_quote(r, " nice"), "stray-quote"),
    ("blank before an opening quote", lambda r: _in_cell(r, 1, lambda c: f' "{c}"'), SAME),
    ("closing quote only", lambda r: _in_cell(r, 1, lambda c: f'{c}"'), None),
]
_SPOILT_WIDTHS: list[tuple[str, Callable[[str], str], str | None]] = [
    ("last cell missing", lambda r: r.rsplit(",", 1)[0], "row-width"),
    ("middle cell missing", lambda r: ",".join(_drop(r.split(","), -4)), "row-width"),
    ("delimiter missing", lambda r: "".join(r.rpartition(",")[::2]), SAME),
    ("one empty cell too many", lambda r: r.replace(",", ",,", 1), SAME),
    ("cell too many", lambda r: r + ",more", "row-width"),
    ("cell too many inside", lambda r: one_more(r, "more"), "row-width"),
    ("delimiter doubled at the end", lambda r: r + ",,", None),
    ("only the first cell", lambda r: r.split(",")[0], "row-width"),
    ("half a row", lambda r: r[: len(r) // 2], "row-width"),
    ("delimiter moved", lambda r: _moved(r), "misplaced-cells"),
]


def judge(variant: Variant, loaded: Iterable[tuple[str, ...]] | None, codes: Iterable[str]) -> str:
    """Return what became of a variant.

    Args:
        loaded: Rows that were loaded, or None when the file was refused.
        codes: Reasons of the rejected rows, one each, or of the file.

    Returns:
        exact: all clean rows and nothing else · accounted: so but for damaged rows, which are rejected with a
        right reason · refused: the whole file, with a right reason · wrong: a row that is no clean row ·
        lost: a clean row is missing and nothing says so · reason: rejected for a wrong reason.
    """
    reasons = list(codes)
    right = all(code in variant.codes for code in reasons)
    if loaded is None:
        return "refused" if variant.whole and right and reasons else "reason"
    got = Counter(map(tuple, loaded))
    want = Counter(tuple(row) for row in variant.rows)
    whole = Counter(tuple(row) for i, row in enumerate(variant.rows) if i not in variant.damaged)
    if got - want:
        return "wrong"
    if whole - got:
        return "lost"
    missing = (want - got).total()
    if not missing:
        return "exact" if right else "reason"
    if len(reasons) < missing:
        return "lost"
    return "accounted" if right else "reason"
