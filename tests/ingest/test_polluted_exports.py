"""Polluted variants of a clean export: loaded exactly, or refused for the right reason, never silently wrong."""

import json

import pytest
from polluted import Variant, judge, variants

from triage.ingest.readers import csv
from triage.ingest.rows import FileError, Settings


def outcome(variant: Variant, path, words) -> str:
    """Return what became of a variant under this project's reader."""
    path.write_bytes(variant.content)
    try:
        pieces = list(csv.read(path, Settings(words)))
    except FileError as error:
        return judge(variant, None, [error.code])
    loaded = [tuple(json.loads(cells).values()) for piece in pieces for cells in piece.rows["cells"]]
    return judge(variant, loaded, [one.code for piece in pieces for one in piece.broken])


@pytest.mark.parametrize("variant", variants(), ids=lambda variant: variant.name)
def test_a_polluted_export_is_read_exactly_or_refused_for_the_right_reason(variant, feeds, tmp_path):
    assert outcome(variant, tmp_path / "export.csv", feeds.words) in ("exact", "accounted", "refused")
