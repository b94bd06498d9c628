"""The demo's reports: ``python tests/docs/demo.py`` writes ``reports/`` anew."""

import shutil
import sys
import tempfile
from datetime import date
from pathlib import Path

from triage import batch, catalogue
from triage.store import open_store

ROOT = Path(__file__).parent.parent.parent
AS_OF = date(2026, 11, 25)


def write_demo(out: Path) -> Path:
    """Run the demo night into a folder and return its page."""
    with tempfile.TemporaryDirectory() as place, open_store(Path(place) / "demo.duckdb") as connection:
        night = batch.nightly(connection, catalogue.load(ROOT / "rules"), [ROOT / "demo_feeds"], AS_OF, out)
    return night.page


if __name__ == "__main__":
    for old in (ROOT / "reports" / AS_OF.isoformat(), ROOT / "reports" / "latest"):
        shutil.rmtree(old, ignore_errors=True)
    sys.stdout.write(f"{write_demo(ROOT / 'reports')}\n")
