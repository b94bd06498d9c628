"""Atom (RFC 4287) and RSS 2.0 and 1.0 feeds: one row an entry or item, headings by element name."""

import re
from collections.abc import Iterator
from html.entities import name2codepoint
from pathlib import Path
from typing import Any
from xml.parsers import expat

from triage.ingest.objects import objects_piece
from triage.ingest.rows import FileError, Piece, Settings
from triage.ingest.text import read_text

NAME = "syndication"
LIMIT_BYTES = 128 << 20
_ROOT = re.compile(
    rb"\s*(?:<\?.*?\?>\s*|<!--.*?-->\s*|<!DOCTYPE[^>[]*(?:\[.*?\]\s*)?>\s*)*<(?:\w+:)?(rss|feed|RDF)\b", re.S
)
_DECLARED = re.compile(rb"^\s*<\?xml[^>]*?encoding\s*=\s*[\"']([\w.-]+)[\"']")
_ROWS = {"item", "entry"}
_DEPTH = 60
_ENTRIES = 500_000
# Names feeds agree on, whatever prefix a file binds; Atom's and RSS's own elements have none.
_PREFIXES = {
    "http://www.w3.org/2005/Atom": "",
    "http://purl.org/rss/1.0/": "",
    "http://base.google.com/ns/1.0": "g:",
    "http://purl.org/dc/elements/1.1/": "dc:",
    "http://purl.org/rss/1.0/modules/content/": "content:",
    "http://search.yahoo.com/mrss/": "media:",
    "http://www.w3.org/1999/xhtml": "",
}
_MARKUP = {"content", "summary", "description", "title"}


def claims(path: Path, head: bytes) -> bool:
    """Tell whether a file is a feed by its first element."""
    return bool(_ROOT.match(_narrow(head)))


def read(path: Path, settings: Settings) -> Iterator[Piece]:
    """Yield the entries of a feed; broken XML refuses the file whole."""
    entries = _Entries()
    try:
        entries.parse(read_text(path, LIMIT_BYTES, settings.encoding, _DECLARED).rstrip(" \t\r\n\0\x1a"))
    except expat.ExpatError as error:
        found = f"{expat.ErrorString(error.code)} at line {error.lineno}, column {error.offset + 1}"
        raise FileError("broken-xml", found, "well-formed XML") from None
    if not entries.rows:
        raise FileError("empty-feed", "no item and no entry", "a feed with entries")
    yield objects_piece(entries.rows)


def _narrow(head: bytes) -> bytes:
    """Return the first bytes without a byte order mark and without the zero bytes of UTF-16."""
    for mark in (b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff"):
        head = head.removeprefix(mark)
    return head.replace(b"\0", b"")


class _Entries:
    """Collects the entries of a feed while expat walks through it."""

    def __init__(self) -> None:
        self.rows: list[Any] = []
        self._row: dict[str, list[str]] | None = None
        self._path: list[str] = []
        self._text: list[str] = []
        self._markup = 0
        self._depth = 0

    def parse(self, text: str) -> None:
        """Walk through a feed.

        Raises:
            FileError: It declares entities or is nested or repeated beyond reason.
            ExpatError: It is not well-formed.
        """
        parser = expat.ParserCreate("utf-8", namespace_separator=" ")
        parser.buffer_text = True
        parser.StartElementHandler = self._start
        parser.EndElementHandler = self._end
        parser.CharacterDataHandler = self._characters
        parser.EntityDeclHandler = self._entity
        # Feeds use HTML's names for characters without declaring them; with a foreign DTD they come here.
        parser.UseForeignDTD(True)
        parser.SetParamEntityParsing(expat.XML_PARAM_ENTITY_PARSING_NEVER)
        parser.SkippedEntityHandler = self._skipped
        parser.Parse(text.encode("utf-8", "surrogatepass"), True)

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        self._depth += 1
        if self._depth > _DEPTH:
            raise FileError("too-deep", f"elements nested {self._depth} deep", f"at most {_DEPTH}")
        local = _local(name)
        if self._row is None:
            if local in _ROWS:
                self._row, self._path, self._text = {}, [], []
            return
        if self._markup:
            self._markup += 1
            self._text.append(f"<{local}>")
            return
        self._path.append(local)
        self._text = []
        self._attributes(attributes)
        if local in _MARKUP and attributes.get("type") in (None, "xhtml"):
            self._markup = 1

    def _attributes(self, attributes: dict[str, str]) -> None:
        """Add the attributes of an element: a link's address is the link itself."""
        heading = ".".join(self._path)
        if "href" in attributes:
            relation = attributes.get("rel", "alternate")
            self._add(heading if relation == "alternate" else f"{heading}.{relation}", attributes["href"])
        elif heading in ("enclosure", "media:content", "media:thumbnail") and "url" in attributes:
            self._add(heading, attributes["url"])
        else:
            for name, value in attributes.items():
                if not (heading.rsplit(".", 1)[-1] in _MARKUP and name in ("type", "xml:lang")):
                    self._add(f"{heading}.{_local(name)}", value)

    def _end(self, name: str) -> None:
        self._depth -= 1
        if self._row is None:
            return
        if self._markup > 1:
            self._markup -= 1
            self._text.append(f"</{_local(name)}>")
            return
        self._markup = 0
        if not self._path:
            self._close_row()
            return
        text = "".join(self._text).strip()
        if text:
            self._add(".".join(self._path), text)
        self._path.pop()
        self._text = []

    def _close_row(self) -> None:
        row = self._row or {}
        self.rows.append({heading: texts[0] if len(texts) == 1 else texts for heading, texts in row.items()})
        self._row = None
        if len(self.rows) > _ENTRIES:
            raise FileError("too-large", f"more than {_ENTRIES} entries", "a smaller feed")

    def _add(self, heading: str, text: str) -> None:
        if self._row is not None:
            self._row.setdefault(heading, []).append(text)

    def _characters(self, text: str) -> None:
        self._text.append(text)

    def _skipped(self, name: str, is_parameter: bool) -> None:
        self._text.append(chr(name2codepoint[name]) if name in name2codepoint else f"&{name};")

    def _entity(self, *declared: object) -> None:
        raise FileError("xml-entities", f"a declared entity {declared[0]!r}", "XML without entity declarations")


def _local(name: str) -> str:
    """Return an element's name under the prefix feeds agree on."""
    space, _, local = name.rpartition(" ")
    if not space or space in _PREFIXES:
        return _PREFIXES.get(space, "") + local
    return local
