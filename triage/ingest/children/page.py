"""Print what a saved page says of its products: JSON-LD blocks as text, then microdata items as objects.

Source: WHATWG HTML, sections 5.2 to 5.3 (items, itemref, property values); a ``content`` attribute on any
element is read too, which the standard has on ``meta`` alone: common practice of shops.
"""

import json
from collections.abc import Callable
from typing import Any, NoReturn

from selectolax.lexbor import LexborHTMLParser, LexborNode

DEPTH = 40
_LINKS = {"a": "href", "area": "href", "link": "href", "object": "data"}
_SOURCES = {name: "src" for name in ("audio", "embed", "iframe", "img", "source", "track", "video")}
_VALUES = {"data": "value", "meter": "value", "time": "datetime"}


def item(node: LexborNode, tree: LexborHTMLParser, around: tuple[int, ...] = ()) -> dict[str, Any]:
    """Return an item as JSON-LD would have it: its type, and a value or list of values a property.

    Args:
        around: Items this one is inside of; by itemref an item may be inside itself, which the standard calls an error.
    """
    out: dict[str, list[Any]] = {}
    inside = (*around, node.mem_id)
    for inner in properties(node, tree):
        if inner.mem_id in inside or len(inside) > DEPTH:
            continue
        value = item(inner, tree, inside) if "itemscope" in inner.attributes else value_of(inner)
        for name in (inner.attributes.get("itemprop") or "").split():
            out.setdefault(name, []).append(value)
    types = (node.attributes.get("itemtype") or "").split()
    named: dict[str, Any] = {name: values[0] if len(values) == 1 else values for name, values in out.items()}
    return {"@type": types[0] if len(types) == 1 else types} | named


def properties(node: LexborNode, tree: LexborHTMLParser) -> list[LexborNode]:
    """Return the elements with a property of an item: below it, not below an item inside it, and by itemref."""
    found: list[LexborNode] = []
    pending = list(node.iter())[::-1]
    for identity in (node.attributes.get("itemref") or "").split():
        pending += tree.css(f'[id="{identity}"]')[:1] if '"' not in identity else []
    while pending:
        one = pending.pop()
        if one.attributes.get("itemprop"):
            found.append(one)
        if "itemscope" not in one.attributes:
            pending += list(one.iter())[::-1]
    return found


def value_of(node: LexborNode) -> str:
    """Return the text of a property."""
    attributes, tag = node.attributes, node.tag or ""
    place = _LINKS.get(tag) or _SOURCES.get(tag) or _VALUES.get(tag) or ""
    if attributes.get("content") is not None:
        return attributes["content"] or ""
    if place and attributes.get(place) is not None:
        return attributes[place] or ""
    return node.text().strip()


def main(path: str, refuse: Callable[[str, str], NoReturn]) -> None:
    """Print the blocks and items of a page; the file is UTF-8."""
    with open(path, encoding="utf-8", errors="replace") as stream:
        tree = LexborHTMLParser(stream.read())
    for script in tree.css('script[type="application/ld+json" i]'):
        print(json.dumps(script.text()))
    for node in tree.css("[itemscope]"):
        if not node.attributes.get("itemprop"):
            print(json.dumps(item(node, tree)))
