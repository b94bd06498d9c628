"""One export under its reader: the map and reader it has, its pieces, and the account of what came out."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

import polars as pl

from triage.catalogue.feeds import FeedCatalogue, FeedMap
from triage.ingest.mapping import Mapping, feed_map_of, map_headings
from triage.ingest.readers import claimed_by
from triage.ingest.rows import FileError, Piece, Reader, Settings, cut

_SAMPLE_ROWS = 500


@dataclass(frozen=True)
class Export:
    """A file with its feed map, if it has one, and the reader that claims it."""

    path: Path
    feeds: FeedCatalogue
    feed_map: FeedMap | None
    reader: Reader

    def pieces(self, bulk_from: int | None = None, folder: Path | None = None) -> Iterator[Piece]:
        """Yield the pieces; whatever goes wrong inside a reader rejects this file and no other.

        Args:
            bulk_from: Bytes from which a clean table may come as a query; None: never.
            folder: Where a copy of the file may lie until its rows are stored.

        Raises:
            FileError: The file can't be read.
        """
        try:
            yield from self.reader.read(self.path, replace(self._settings(), bulk_from=bulk_from, folder=folder))
        except (FileError, GeneratorExit):
            raise
        except (Exception, pl.exceptions.PanicException) as error:
            shown = cut(f"{type(error).__name__}: {error}")
            raise FileError("reader-failed", shown, f"a file the {self.reader.NAME} reader can read") from error

    def mapping(self, account: "Account") -> Mapping:
        """Return how the headings found are read.

        Raises:
            FileError: That is in doubt.
        """
        headings = tuple(account.headings)
        return map_headings(self.feed_map, self.feeds.words, headings, self.path, account.sample)

    def _settings(self) -> Settings:
        one = self.feed_map
        if one is None:
            return Settings(self.feeds.words)
        return Settings(self.feeds.words, one.encoding, one.delimiter, one.header, tuple(one.columns.values()))


@dataclass
class Account:
    """What came out of an export so far."""

    headings: dict[str, None] = field(default_factory=dict)
    sample: list[str] = field(default_factory=list)
    rows_read: int = 0
    rows_rejected: int = 0
    skipped: Counter[str] = field(default_factory=Counter)
    notes: list[str] = field(default_factory=list)

    def add(self, piece: Piece) -> None:
        """Count a piece."""
        self.headings.update(dict.fromkeys(piece.headings))
        if len(self.sample) < _SAMPLE_ROWS:
            self.sample += piece.rows["cells"].head(_SAMPLE_ROWS - len(self.sample)).to_list()
        self.rows_read += piece.rows.height + len(piece.broken)
        self.rows_rejected += len(piece.broken)
        self.skipped.update(piece.skipped)
        self.notes += [note for note in piece.notes if note not in self.notes]


def open_export(path: Path, feeds: FeedCatalogue, readers: tuple[Reader, ...]) -> Export:
    """Return a file with its map and reader.

    Raises:
        FileError: No reader or more than one, or more than one map, claims it.
    """
    feed_map = feed_map_of(feeds, path)
    try:
        reader = claimed_by(path, readers)
    except FileError:
        raise
    except Exception as error:
        shown = cut(f"{type(error).__name__}: {error}")
        raise FileError("reader-failed", shown, "a file whose first bytes can be looked at") from error
    return Export(path, feeds, feed_map, reader)
