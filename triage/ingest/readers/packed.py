"""gzip and zip archives of one export in any other format, unpacked within limits."""

import gzip
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path, PurePosixPath
from tempfile import TemporaryDirectory
from typing import IO

from triage.ingest.readers import claimed_by, sheet
from triage.ingest.rows import FileError, Piece, Settings

NAME = "packed"
UNPACKED_BYTES = 4 << 30
# Text rarely packs better than 1 to 50; an archive that does so far beyond is made to fill the disk.
RATIO = 250
RATIO_FROM_BYTES = 16 << 20
_BLOCK = 1 << 20
_EXPORTS = {
    ".csv", ".tsv", ".tab", ".txt", ".json", ".jsonl", ".ndjson", ".html", ".htm", ".xml", ".rss", ".atom",
    ".xlsx", ".xlsm", ".xlsb", ".xls", ".ods", ".parquet",
}  # fmt: skip


def claims(path: Path, head: bytes) -> bool:
    """Tell whether a file is a gzip or zip archive that is no workbook."""
    return head.startswith(b"\x1f\x8b") or (head.startswith(b"PK\x03\x04") and not sheet.claims(path, head))


def read(path: Path, settings: Settings) -> Iterator[Piece]:
    """Yield the rows of the export inside."""
    with TemporaryDirectory(prefix="triage-") as folder:
        try:
            inner = (
                _unpacked_zip(path, Path(folder)) if zipfile.is_zipfile(path) else _unpacked_gzip(path, Path(folder))
            )
        except (
            OSError,
            EOFError,
            zlib.error,
            zipfile.BadZipFile,
            NotImplementedError,
            RuntimeError,
            ValueError,
        ) as error:
            raise FileError("broken-archive", str(error)[:200], "a whole archive without a password") from None
        yield from claimed_by(inner).read(inner, settings)


def _unpacked_gzip(path: Path, folder: Path) -> Path:
    inner = folder / (path.stem if path.suffix.lower() == ".gz" else "export")
    with gzip.open(path) as stream:
        _copy(stream, inner, path.stat().st_size)
    return inner


def _unpacked_zip(path: Path, folder: Path) -> Path:
    with zipfile.ZipFile(path) as archive:
        parts = [part for part in archive.infolist() if _is_export(PurePosixPath(part.filename))]
        if len(parts) != 1:
            names = ", ".join(part.filename for part in parts[:10]) or "no export"
            raise FileError("several-files" if parts else "no-reader", names, "one export in an archive")
        part = parts[0]
        # Only the last part of its name: an archive may name places outside the folder.
        inner = folder / ("export" + PurePosixPath(part.filename).suffix.lower())
        with archive.open(part) as stream:
            _copy(stream, inner, part.compress_size)
    return inner


def _is_export(name: PurePosixPath) -> bool:
    hidden = any(part.startswith((".", "__")) for part in name.parts)
    return not hidden and name.suffix.lower() in _EXPORTS


def _copy(stream: IO[bytes] | gzip.GzipFile, target: Path, packed_bytes: int) -> None:
    """Write a stream to a file until it is all there or more than any export."""
    size = 0
    with target.open("wb") as out:
        while block := stream.read(_BLOCK):
            size += len(block)
            if size > UNPACKED_BYTES or (size > RATIO_FROM_BYTES and size > RATIO * packed_bytes):
                found = f"more than {size} bytes out of {packed_bytes}"
                raise FileError("too-large", found, f"at most {UNPACKED_BYTES} bytes and {RATIO} times the archive")
            out.write(block)
