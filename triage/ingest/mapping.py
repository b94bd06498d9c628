"""Which heading fills which listing field: by the feed map, else by heading words; doubt is never settled."""

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from triage.catalogue.feeds import FeedCatalogue, FeedMap, HeadingWords
from triage.ingest.content import UNNAMED, fields_by_content
from triage.ingest.files import printable
from triage.ingest.rows import FileError

_DATE = re.compile(r"(?<!\d)\d{4}-?\d{2}-?\d{2}(?!\d)")
_COPY = re.compile(r"\(\d+\)|(?<![^\W_])\d+(?![^\W_])")
_DOUBT_MATTERS = ("title", "price", "external_id", "condition", "size", "currency", "body")


@dataclass(frozen=True)
class Mapping:
    """How the headings of one export are read.

    Attributes:
        columns: Listing field to heading.
        missing: Headings the feed map names and the export lacks.
        by_content: There are no headings; the cells decided.
    """

    source: str
    columns: dict[str, str]
    settings: dict[str, str | bool]
    feed_map: str | None = None
    missing: tuple[str, ...] = ()
    by_content: bool = False

    @property
    def notes(self) -> tuple[str, ...]:
        """Return what a person should know of the mapping."""
        if self.missing:
            return (f"headings of the feed map not in this export: {', '.join(self.missing)}",)
        if self.by_content:
            read = ", ".join(f"{heading} as {field}" for field, heading in self.columns.items())
            return (f"no headings: read by content, {read}",)
        return ()


def feed_map_of(feeds: FeedCatalogue, path: Path) -> FeedMap | None:
    """Return the feed map of a file by its name.

    Raises:
        FileError: Two maps claim it.
    """
    packed = path.suffix.lower() in (".gz", ".zip")
    maps = feeds.maps_for(path.name) or (feeds.maps_for(path.stem) if packed else ())
    if len(maps) > 1:
        names = ", ".join(f"rules/feeds/{one.id}.toml" for one in maps)
        raise FileError("two-maps", f"{path.name} fits the maps {names}", "one map for a file: narrow their match")
    return maps[0] if maps else None


def map_headings(
    feed_map: FeedMap | None, words: HeadingWords, headings: Sequence[str], path: Path, sample: Sequence[str] = ()
) -> Mapping:
    """Return how an export's headings are read.

    Args:
        sample: Cells of some rows as JSON objects: what columns without headings are judged by.

    Raises:
        FileError: No title, or two headings for one field; the expected part holds a map ready to edit.
    """
    if feed_map is not None:
        return _by_map(feed_map, headings)
    unnamed = bool(headings) and all(UNNAMED.match(heading) for heading in headings)
    claims = fields_by_content(_table(headings, sample)) if unnamed else _claims(words, headings)
    chosen = {field: found[0] for field, found in claims.items() if len(found) == 1}
    doubts = {field: found for field, found in claims.items() if len(found) > 1 and field in _DOUBT_MATTERS}
    source = source_of(path)
    if "title" in chosen and len(chosen) > 1 and not doubts:
        return Mapping(source, chosen, {}, by_content=unnamed)
    template = _template(source, path, chosen, doubts, headings)
    if doubts:
        found = "; ".join(f"{field} could be {' or '.join(map(repr, two))}" for field, two in doubts.items())
        raise FileError("heading-doubt", found, template)
    shown = ", ".join(headings[:40]) or "no headings"
    raise FileError("no-title" if "title" not in chosen else "no-fields", shown, template)


def _table(headings: Sequence[str], sample: Sequence[str]) -> pl.DataFrame:
    return pl.DataFrame([json.loads(cells) for cells in sample], schema=dict.fromkeys(headings, pl.String))


def source_of(path: Path) -> str:
    """Return a marketplace's name from a file's name, without dates and copy numbers."""
    stem = printable(path).rsplit("/", 1)[-1]
    while "." in stem.lstrip("."):
        stem = stem.rsplit(".", 1)[0]
    bare = _COPY.sub(" ", _DATE.sub(" ", stem))
    return " ".join(re.split(r"[\s_\-.()]+", bare)).strip().lower() or stem.lower()


def _by_map(feed_map: FeedMap, headings: Sequence[str]) -> Mapping:
    columns: dict[str, str] = {field: heading for field, heading in feed_map.columns.items() if heading in headings}
    missing = tuple(heading for heading in feed_map.columns.values() if heading not in headings)
    if "title" not in columns:
        found = f"no heading {feed_map.columns['title']!r} among {', '.join(headings[:40]) or 'none'}"
        raise FileError("no-title", found, f"the headings of rules/feeds/{feed_map.id}.toml: mend its [columns]")
    return Mapping(feed_map.source, columns, feed_map.settings(), feed_map.id, missing)


def _claims(words: HeadingWords, headings: Sequence[str]) -> dict[str, list[str]]:
    """Return the headings that claim each field; a weak claim counts only where there is no strong one."""
    strong: dict[str, list[str]] = {}
    weak: dict[str, list[str]] = {}
    for heading in headings:
        claim = words.field_of(heading)
        if claim is not None:
            (strong if claim[1] else weak).setdefault(claim[0], []).append(heading)
    return weak | strong


def _template(
    source: str,
    path: Path,
    chosen: dict[str, str],
    doubts: dict[str, list[str]],
    headings: Sequence[str],
) -> str:
    """Return a feed map ready to edit: what is clear is filled in, the rest stands as comments."""
    identity = re.sub(r"\W+", "-", source).strip("-") or "my-feed"
    pattern = _DATE.sub("*", printable(path).rsplit("/", 1)[-1])
    lines = [
        f"a feed map such as rules/feeds/{identity}.toml:",
        f"id = {_quoted(identity)}",
        f"source = {_quoted(source)}",
        f"match = [{_quoted(pattern)}]",
        "[columns]",
    ]
    lines += [f"{field} = {_quoted(heading)}" for field, heading in chosen.items()]
    lines += [f"# {field} = {_quoted(heading)}" for field, two in doubts.items() for heading in two]
    if "title" not in chosen and "title" not in doubts:
        lines.append('title = "?"')
    taken = {*chosen.values(), *(heading for two in doubts.values() for heading in two)}
    left = [heading for heading in headings if heading not in taken]
    if left:
        lines.append(f"# headings left: {', '.join(map(_quoted, left[:60]))}")
    return "\n".join(lines)


def _quoted(text: str) -> str:
    """Return a TOML string."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in escaped) + '"'
