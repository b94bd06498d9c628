"""A short run of mutated files a format; ``fuzzing.py`` runs as many as one likes."""

import pytest
from fuzzing import READERS, fault, mutated, open_export, seeds

COUNTS = {"csv": 150, "jsonl": 150, "json": 150, "syndication": 150, "page": 12, "sheet": 12, "ods": 12, "parquet": 8}


@pytest.mark.parametrize("format_", COUNTS)
def test_a_mutated_file_is_read_or_refused_and_every_row_is_counted(format_, feeds, tmp_path):
    path = tmp_path / seeds()[format_][0]
    said = {number: fault(path, feeds, mutated(format_, 0, number)) for number in range(COUNTS[format_])}
    assert {number: text for number, text in said.items() if text} == {}


@pytest.mark.parametrize("format_", COUNTS)
def test_the_file_that_is_mutated_is_sound_itself(format_, feeds, tmp_path):
    name, content = seeds()[format_]
    (tmp_path / name).write_bytes(content)
    pieces = list(open_export(tmp_path / name, feeds, READERS).pieces())
    assert sum(piece.rows.height for piece in pieces) == 12
    assert not any(piece.broken for piece in pieces)
