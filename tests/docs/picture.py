"""The README's picture of the report, from the demo: ``python tests/docs/picture.py CHROMIUM``.

CHROMIUM is the path of a Chromium or Chrome binary; nothing of it is a dependency.
"""

import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parent.parent.parent
PAGE = ROOT / "reports" / "2026-11-25" / "index.html"
PICTURE = ROOT / "reports" / "night.png"


def take(browser: str, page: Path, picture: Path, size: str = "1100,1500") -> None:
    """Write a picture of the top of a page."""
    with tempfile.TemporaryDirectory() as profile:
        subprocess.run(
            [
                browser, "--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking",
                "--hide-scrollbars", f"--user-data-dir={profile}", f"--window-size={size}",
                f"--screenshot={picture}", page.as_uri(),
            ],
            check=True, capture_output=True,
        )  # fmt: skip


if __name__ == "__main__":
    take(sys.argv[1], PAGE, PICTURE)
