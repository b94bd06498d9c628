"""A folder of files that appears whole or not at all."""

import os
import shutil
from collections.abc import Mapping
from pathlib import Path


def write_whole(folder: Path, files: Mapping[str, str]) -> None:
    """Write a folder beside its place and move it there in one step, over what stood there before.

    Args:
        folder: Where the files shall be; its parent is made when missing.
        files: Text by file name.
    """
    folder.parent.mkdir(parents=True, exist_ok=True)
    fresh, old = (folder.with_name(f".{folder.name}.{word}") for word in ("fresh", "old"))
    # A run that was ended between the two steps of a swap has left the old folder aside.
    if old.exists() and not folder.exists():
        os.replace(old, folder)
    for leftover in (fresh, old):
        shutil.rmtree(leftover, ignore_errors=True)
    fresh.mkdir()
    try:
        for name, text in files.items():
            with (fresh / name).open("w", encoding="utf-8", newline="\n") as stream:
                stream.write(text)
                stream.flush()
                os.fsync(stream.fileno())
        _swap(fresh, folder, old)
    finally:
        shutil.rmtree(fresh, ignore_errors=True)
    shutil.rmtree(old, ignore_errors=True)


def _swap(fresh: Path, folder: Path, old: Path) -> None:
    # A folder that is not empty can't be replaced, so the old one steps aside and comes back on trouble.
    if folder.exists():
        os.replace(folder, old)
    try:
        os.replace(fresh, folder)
    except OSError:
        if old.exists():
            os.replace(old, folder)
        raise
