"""Bytes to text, decoded once: byte order mark, strict UTF-8, then evidence for one of a dozen encodings."""

import codecs
import re
from collections.abc import Iterator
from pathlib import Path
from typing import TextIO

import chardet

from triage.ingest.rows import FileError

HEAD_BYTES = 65_536
LINE_CHARACTERS = 4_000_000
_SAMPLE_BYTES = 200_000
_BLOCK_BYTES = 1 << 22

# UTF-32 first: its little-endian mark begins with the one of UTF-16.
_MARKS = (
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
# What spreadsheets of Western and Central Europe and of Japan write when it is not Unicode.
_CANDIDATES = (
    "utf-8", "cp1252", "cp1250", "iso8859-2", "iso8859-15", "mac-roman", "cp850", "cp932", "euc_jis_2004",
)  # fmt: skip
_PYTHON_NAMES = {"euc-jis-2004": "euc_jp", "windows-1252": "cp1252", "windows-1250": "cp1250"}
_ISO_2022_JP = re.compile(rb"\x1b\$[@B]|\x1b\([BJ]")
_NOT_ASCII_LINE = re.compile(rb"[^\r\n]*[\x80-\xff][^\r\n]*")
_ESCAPED_BYTE = re.compile("[\udc80-\udcff]")
_NOT_ASCII = re.compile(r"[^\x00-\x7f]")


def detect(path: Path) -> str:
    """Return the encoding of a text file, a name Python knows.

    Raises:
        FileError: The file is not text.
    """
    with path.open("rb") as stream:
        head = stream.read(HEAD_BYTES)
    for mark, encoding in _MARKS:
        if head.startswith(mark):
            return encoding
    if _ISO_2022_JP.search(head) and not _NOT_ASCII_LINE.search(head):
        return "iso2022_jp"
    if b"\0" in head.rstrip(b"\0"):
        wide = _without_mark(head)
        if wide:
            return wide
    return "utf-8" if _is_utf8(path) else _legacy(path)


def looks_like_text(head: bytes) -> bool:
    """Tell whether the first bytes are those of a text file, in whatever encoding."""
    if head.startswith(tuple(mark for mark, _ in _MARKS)):
        return True
    sample = head.rstrip(b"\0\x1a")
    if b"\0" in sample:
        # A stray NUL in a text is for the rows to judge; binary formats have many, and other controls.
        return _without_mark(head) is not None or _controls(sample) < len(sample) // 100
    return _is_whole(sample) or _controls(sample) <= len(sample) // 20


def _is_whole(sample: bytes) -> bool:
    """Tell whether bytes are UTF-8 but for a character cut off at their end."""
    try:
        codecs.getincrementaldecoder("utf-8")("strict").decode(sample)
    except UnicodeDecodeError:
        return False
    return True


def read_text(path: Path, limit: int, encoding: str | None = None, declared: re.Pattern[bytes] | None = None) -> str:
    """Return the text of a file; bytes that are not of its encoding come back as lone surrogates.

    Args:
        limit: Most bytes.
        encoding: Stated by a feed map.
        declared: Where in its head the format names the encoding; believed when the bytes agree.

    Raises:
        FileError: The file is longer than ``limit`` bytes or not text.
    """
    size = path.stat().st_size
    if size > limit:
        raise FileError("too-large", f"{size} bytes", f"at most {limit} bytes for this format")
    raw = path.read_bytes()
    found = declared.search(raw[:2_000]) if declared and not encoding else None
    if found:
        try:
            return raw.decode(found[1].decode("ascii")).removeprefix("\ufeff")
        except (LookupError, UnicodeError):
            pass
    try:
        text = raw.decode(encoding or detect(path), errors="surrogateescape")
    except UnicodeError as error:
        raise FileError("undecodable", str(error), "text of one encoding") from error
    return text.removeprefix("\ufeff")


def copy_as_utf8(path: Path, encoding: str, copy: Path) -> bool:
    """Write a text file anew as UTF-8; tell whether all of it was of its encoding."""
    decoder = codecs.getincrementaldecoder(encoding)("strict")
    try:
        with copy.open("wb") as stream:
            for block in _blocks(path):
                stream.write(decoder.decode(block).encode())
            stream.write(decoder.decode(b"", final=True).encode())
    except UnicodeError:
        return False
    return True


def bounded_lines(stream: TextIO) -> Iterator[str]:
    """Yield the lines of a stream; one that is too long comes as its first part, one character over the limit."""
    whole = True
    while line := stream.readline(LINE_CHARACTERS + 1):
        ended = line.endswith(("\n", "\r")) or len(line) <= LINE_CHARACTERS
        if whole:
            yield line
        whole = ended


def undecodable(text: str) -> bool:
    """Tell whether a text holds bytes that were not of the file's encoding, or half a character."""
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        return True
    return False


def _controls(sample: bytes) -> int:
    """Return how many bytes are control characters no text has."""
    return len(sample.translate(None, bytes(range(32, 256)) + b"\t\r\n\f\x1a\x1b"))


def _without_mark(head: bytes) -> str | None:
    """Return which UTF-16 a text without a byte order mark is in, judged by line ends and ASCII letters."""
    even = head[: len(head) // 2 * 2]
    counts = {}
    for encoding in ("utf-16-le", "utf-16-be"):
        # The head may end inside a pair; what matters is that nearly all of it is plain text.
        text = even.decode(encoding, errors="replace")
        plain = sum(map(text.count, "\n\r\t ,;|0123456789"))
        odd = text.count("\ufffd") + text.count("\0")
        counts[encoding] = plain if odd <= 1 + len(text) // 200 else 0
    best = max(counts, key=lambda encoding: counts[encoding])
    return best if counts[best] * 50 >= len(even) // 2 and counts[best] > 0 else None


def _blocks(path: Path) -> Iterator[bytes]:
    with path.open("rb") as stream:
        while block := stream.read(_BLOCK_BYTES):
            yield block


def _is_utf8(path: Path) -> bool:
    """Tell whether the whole file is UTF-8, or all of it but a few stray bytes."""
    decoder = codecs.getincrementaldecoder("utf-8")("strict")
    try:
        for block in _blocks(path):
            decoder.decode(block)
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return _is_nearly_utf8(path)
    return True


def _is_nearly_utf8(path: Path) -> bool:
    """Tell whether characters outside ASCII are nearly all good UTF-8: a few rows came from elsewhere."""
    decoder = codecs.getincrementaldecoder("utf-8")("surrogateescape")
    stray = good = 0
    for block in _blocks(path):
        text = decoder.decode(block)
        broken = len(_ESCAPED_BYTE.findall(text))
        stray += broken
        good += len(_NOT_ASCII.findall(text)) - broken
    return good > 4 * stray


def _legacy(path: Path) -> str:
    """Return the likeliest encoding by the lines that have more than ASCII."""
    sample = b""
    for block in _blocks(path):
        sample += b"\n".join(_NOT_ASCII_LINE.findall(block))
        if len(sample) >= _SAMPLE_BYTES:
            break
    found = chardet.detect(sample[:_SAMPLE_BYTES], include_encodings=_CANDIDATES, compat_names=False)
    name = str(found["encoding"] or "cp1252").lower().replace("_", "-")
    return codecs.lookup(_PYTHON_NAMES.get(name, name)).name
