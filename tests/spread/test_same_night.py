"""A night over a cluster leaves the very bytes of a night in one process."""

from tests.conftest import AS_OF
from tests.spread.conftest import PARTS, ROOT, Left, files_of, tables_of
from triage import answers, batch, store
from triage.spread import Here, Spread


def test_every_row_and_every_file_is_the_same_over_four_partitions(tmp_path, known, here, spread):
    left = Left(tmp_path, known, spread)
    assert len(left.tables["verdict"]) > 1000
    left.is_as(here)
    assert not list(tmp_path.glob("t.duckdb.tmp*"))
