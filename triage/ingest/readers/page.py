"""Saved web pages: schema.org Product and Offer in JSON-LD blocks, one row a product."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from selectolax.lexbor import LexborHTMLParser

from triage.ingest.objects import RowError, objects_piece, parse
from triage.ingest.rows import FileError, Piece, Settings
from triage.ingest.text import read_text

NAME = "page"
LIMIT_BYTES = 32 << 20
_STARTS = re.compile(rb"\s*(<!--.*?-->\s*)*<(!doctype\s+html|html|head|body|script|meta|div|title)\b", re.I | re.S)
_CDATA = re.compile(r"^\s*(?://|/\*)?\s*<!(?:\[CDATA\[|--)\s*(?:\*/)?|(?://|/\*)?\s*(?:\]\]|--)>\s*(?:\*/)?\s*$")
_DECLARED = re.compile(rb"<meta[^>]+charset\s*=\s*[\"']?\s*([\w.-]+)", re.I)
_TYPES = {"Product", "IndividualProduct", "ProductModel", "SomeProducts"}


def claims(path: Path, head: bytes) -> bool:
    """Tell whether a file is an HTML page."""
    start = head.removeprefix(b"\xef\xbb\xbf")
    named = path.suffix.lower() in (".html", ".htm", ".xhtml")
    return bool(_STARTS.match(start)) or (named and start.lstrip()[:1] == b"<")


def read(path: Path, settings: Settings) -> Iterator[Piece]:
    """Yield the products of a page; a block of broken JSON is noted and costs only itself."""
    text = read_text(path, LIMIT_BYTES, settings.encoding, _DECLARED)
    blocks: list[Any] = []
    unread = 0
    for script in LexborHTMLParser(text).css('script[type="application/ld+json" i]'):
        try:
            blocks.append(parse(_CDATA.sub("", script.text()).strip()))
        except RowError:
            unread += 1
    rows = [row for product in _products(blocks) for row in _offers(product)]
    notes = (f"{unread} JSON-LD blocks are broken and were left out",) if unread else ()
    if not rows:
        found = f"{len(blocks)} JSON-LD blocks, {unread} broken ones, no Product"
        raise FileError("no-listing-in-page", found, "schema.org Product in JSON-LD")
    piece = objects_piece(rows)
    yield Piece(piece.headings, piece.rows, piece.broken, notes=notes)


def _products(blocks: list[Any]) -> Iterator[dict[str, Any]]:
    """Yield every Product of the blocks in document order, at whatever depth it stands."""
    stack = list(reversed(blocks))
    while stack:
        value = stack.pop()
        if isinstance(value, list):
            stack.extend(reversed(value))
        elif isinstance(value, dict):
            if _types(value) & _TYPES:
                yield value
            else:
                stack.extend(reversed(list(value.values())))


def _types(value: dict[str, Any]) -> set[str]:
    """Return the schema.org types of a node, without the vocabulary's address."""
    found = value.get("@type", ())
    names = found if isinstance(found, list) else [found]
    return {str(name).rstrip("/").rsplit("/", 1)[-1] for name in names}


def _offers(product: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """Yield a product once for each of its offers, each with that offer alone."""
    plain = {key: _single(value) for key, value in product.items() if key != "@context"}
    offers = product.get("offers")
    if isinstance(offers, list) and len(offers) > 1:
        for offer in offers:
            yield plain | {"offers": _single(offer)}
    else:
        yield plain


def _single(value: Any) -> Any:
    """Return a value with lists of one object opened: schema.org makes no difference between the two."""
    if isinstance(value, list) and len(value) == 1 and isinstance(value[0], dict):
        value = value[0]
    if isinstance(value, dict):
        return {key: _single(inner) for key, inner in value.items()}
    return value
