"""A store of every released version, as that version left it: ``python tests/faults/releases.py`` adds today's.

Run it once for a version, in the change that releases it, and commit the file; the files of older versions stay as
they are. A test migrates each and compares every row.
"""

import lzma
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.faults.common import NIGHTS, night, small_feeds, triage
from triage.keeping.versions import current

LISTING = "harbour auction/H51356"
FOLDER = Path(__file__).parent / "releases"


def release(version: int) -> Path:
    """Return where the store of a version is kept."""
    return FOLDER / f"version-{version}.duckdb.xz"


def main() -> int:
    """Write the store of today's version; never over one that is there."""
    path = release(current())
    if path.exists():
        print(f"{path} is there already: a released version does not change")
        return 1
    FOLDER.mkdir(exist_ok=True)
    with TemporaryDirectory() as name:
        place = Path(name)
        feeds = small_feeds(place / "feeds", rows=4)
        kept = ["--store", place / "t.duckdb", "--as-of", NIGHTS[1]]
        steps = [
            *[night(feeds, place, one, "--backups", "0") for one in NIGHTS],
            ["confirm", LISTING, "none", *kept],
            ["answer", LISTING, "outsole_flexible", "yes", "--text", "bends fine", *kept],
        ]
        for step in steps:
            done = triage(*step)
            if done.returncode:
                print(done.stderr)
                return 1
        path.write_bytes(lzma.compress((place / "t.duckdb").read_bytes(), preset=9 | lzma.PRESET_EXTREME))
    print(f"{path}: {path.stat().st_size} bytes")
    return 0


if __name__ == "__main__":
    sys.exit(main())
