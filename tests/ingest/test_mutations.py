"""A short run of mutated files a format; ``fuzzing.py`` runs as many as one likes."""

import pytest
from fuzzing import READERS, fault, mutated, one_process_for_many, open_export, seeds

COUNT = 120
# The same program and bounds as the night has them, a process a file.
APART = {"page": 8, "microdata": 8, "xlsx": 8, "xls": 8, "ods": 8, "parquet": 5}


def faults(format_, count, feeds, folder) -> dict[int, str]:
    path = folder / seeds()[format_][0]
    said = {number: fault(path, feeds, mutated(format_, 0, number)) for number in range(count)}
    return {number: text for number, text in said.items() if text}


@pytest.fixture(scope="module")
def loops():
    with one_process_for_many() as running:
        yield running


@pytest.mark.parametrize("format_", APART)
def test_a_mutated_file_is_read_or_refused_by_a_process_of_its_own(format_, feeds, tmp_path):
    assert faults(format_, APART[format_], feeds, tmp_path) == {}


@pytest.mark.parametrize("format_", seeds())
def test_the_file_that_is_mutated_is_sound_itself(format_, feeds, tmp_path):
    name, content = seeds()[format_]
    (tmp_path / name).write_bytes(content)
    pieces = list(open_export(tmp_path / name, feeds, READERS).pieces())
    assert sum(piece.rows.height for piece in pieces) == (2 if format_ == "xls" else 12)
    assert not any(piece.broken for piece in pieces)


@pytest.mark.parametrize("format_", seeds())
def test_a_mutated_file_is_read_or_refused_and_every_row_is_counted(format_, feeds, loops, tmp_path):
    assert faults(format_, COUNT, feeds, tmp_path) == {}
