"""Saved web pages: schema.org Product and Offer in JSON-LD or microdata, one row a product and offer."""

import json
import re
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from triage.ingest.apart import lines_apart
from triage.ingest.objects import RowError, objects_piece, parse
from triage.ingest.rows import Broken, FileError, Piece, Settings, cut
from triage.ingest.text import read_text

NAME = "page"
LIMIT_BYTES = 32 << 20
_STARTS = re.compile(
    rb"\s*(<\?xml[^>]*>\s*)?(<!--.*?-->\s*)*<(!doctype\s+html|html|head|body|script|meta|div|title|main|article)\b",
    re.I | re.S,
)
_DECLARED = re.compile(rb"<meta[^>]+charset\s*=\s*[\"']?\s*([\w.-]+)", re.I)
# Old templates hide the block from old browsers; shops leave a comma behind the last property.
_CDATA = re.compile(r"^\s*(?://|/\*)?\s*<!(?:\[CDATA\[|--)\s*(?:\*/)?|(?://|/\*)?\s*(?:\]\]|--)>\s*(?:\*/)?\s*$")
_TEXT_OR_COMMA = re.compile(r'"(?:[^"\\]|\\.)*"|,(?=\s*[}\]])', re.S)
_TYPES = {"Product", "IndividualProduct", "ProductModel", "SomeProducts"}
_NODES = 200_000


def claims(path: Path, head: bytes) -> bool:
    """Tell whether a file is an HTML page."""
    start = head.removeprefix(b"\xef\xbb\xbf")
    named = path.suffix.lower() in (".html", ".htm", ".xhtml")
    return bool(_STARTS.match(start)) or (named and start.lstrip()[:1] == b"<")


def read(path: Path, settings: Settings) -> Iterator[Piece]:
    """Yield the products of a page; a broken block costs only itself, and is a broken row if it was a product's."""
    values, unread = _values(read_text(path, LIMIT_BYTES, settings.encoding, _DECLARED))
    nodes = {id_: node for node in _nodes(values) if isinstance(id_ := node.get("@id"), str) and len(node) > 1}
    products = list(_products(values))
    rows = [row for product in products for row in _offers(product, nodes)]
    if not rows:
        found = f"{len(values)} blocks and items, {len(unread)} broken ones, no Product"
        raise FileError("no-listing-in-page", found, "schema.org Product in JSON-LD or microdata")
    piece = objects_piece(rows)
    lost = [block for block in unread if "Product" in block[0]]
    broken = tuple(Broken(len(rows) + i, cut(text), "broken-json", hint) for i, (text, hint) in enumerate(lost, 1))
    others = len(unread) - len(lost)
    notes = (f"JSON-LD blocks that are broken and name no Product: {others}",) if others else ()
    yield Piece(piece.headings, piece.rows, (*piece.broken, *broken), notes=notes)


def _values(text: str) -> tuple[list[Any], list[tuple[str, str]]]:
    """Return JSON-LD blocks, microdata items where no block has a Product, and broken blocks with what is wrong."""
    blocks: list[Any] = []
    items: list[Any] = []
    unread: list[tuple[str, str]] = []
    with TemporaryDirectory(prefix="triage-") as folder:
        plain = Path(folder, "page.html")
        plain.write_text(text, "utf-8", errors="replace")
        for line in lines_apart("page", plain):
            value = json.loads(line)
            if isinstance(value, dict):
                items.append(value)
                continue
            try:
                blocks.append(_block(value))
            except RowError as error:
                unread.append((value.strip(), error.hint))
    return (blocks if any(_products(blocks)) else [*blocks, *items]), unread


def _block(text: str) -> Any:
    """Return the value of a JSON-LD block.

    Raises:
        RowError: It is not JSON, even without a comment around it and commas too many.
    """
    bare = _CDATA.sub("", text).strip()
    try:
        return parse(bare)
    except RowError:
        return parse(_TEXT_OR_COMMA.sub(lambda found: "" if found[0] == "," else found[0], bare))


def _nodes(values: list[Any]) -> Iterator[dict[str, Any]]:
    """Yield every object of JSON values in document order."""
    stack = list(reversed(values))
    seen = 0
    while stack and seen < _NODES:
        value = stack.pop()
        seen += 1
        if isinstance(value, list):
            stack.extend(reversed(value))
        elif isinstance(value, dict):
            yield value
            stack.extend(reversed(list(value.values())))


def _products(values: list[Any]) -> Iterator[dict[str, Any]]:
    """Yield every Product that stands for itself, not one a Product only refers to."""
    stack = list(reversed(values))
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
    return {re.split(r"[/#:]", str(name).rstrip("/"))[-1] for name in names}


def _offers(product: dict[str, Any], nodes: dict[str, dict[str, Any]]) -> Iterator[dict[str, Any]]:
    """Yield a product once for each of its offers, each with that offer alone."""
    plain = {key: _single(value, nodes) for key, value in product.items() if key != "@context"}
    offers = product.get("offers")
    if isinstance(offers, list) and len(offers) > 1:
        for offer in offers:
            yield plain | {"offers": _single(offer, nodes)}
    else:
        yield plain


def _single(value: Any, nodes: dict[str, dict[str, Any]], level: int = 0) -> Any:
    """Return a value with lists of one object opened, which schema.org sees as the same, and references followed."""
    if isinstance(value, list) and len(value) == 1 and isinstance(value[0], dict):
        value = value[0]
    if isinstance(value, dict) and level < 8:
        if set(value) == {"@id"}:
            value = nodes.get(str(value["@id"]), value)
        return {key: _single(inner, nodes, level + 1) for key, inner in value.items()}
    return value
