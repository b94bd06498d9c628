"""Rows in the order of columns: as sorting has them, and left alone where they stand so."""

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from polars.testing import assert_frame_equal

from triage.order import ordered

TEXTS = st.sampled_from(["", "a", "b", "board/10", "board/9", "ä", "靴"])


@given(st.lists(st.tuples(TEXTS, st.integers(0, 3), TEXTS), max_size=12))
def test_rows_come_out_as_sorting_has_them(rows):
    frame = pl.DataFrame(rows, schema={"a": pl.String, "b": pl.Int64, "c": pl.String}, orient="row")
    frame = frame.with_row_index("nth")
    for keys in (("a",), ("a", "b"), ("a", "b", "c"), ("b", "c")):
        right = frame.sort(*keys, maintain_order=True)
        assert_frame_equal(ordered(frame, *keys), right)
        assert ordered(right, *keys) is right


@pytest.mark.parametrize(
    "rows", [[(1, 2), (1, 1)], [(1, 1), (1, 1), (1, 0)], [(2, 0), (1, 9)], [(1, 0), (2, 1), (2, 0)]]
)
def test_one_row_out_of_order_is_seen(rows):
    frame = pl.DataFrame(rows, schema=["a", "b"], orient="row")
    assert ordered(frame, "a", "b").rows() == sorted(rows)
