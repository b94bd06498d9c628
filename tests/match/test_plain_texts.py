"""Texts of which only those outside ASCII are folded whole come out as if all were."""

import polars as pl
from hypothesis import example, given
from hypothesis import strategies as st
from polars.testing import assert_series_equal

from triage.match.text import plain, plain_texts

# Letters with and without accents, strokes that stand for one, kana in both widths, ligatures, and nothing at all.
SOME = st.text("aZ9 -`'’–éÉeﬁøßæł́ｶﾞガ店①½ İ", max_size=12)


@example(["Don`t", None, "DON`T wear: d\u00c9colle\u0301"])
@given(st.lists(st.none() | SOME | st.text(max_size=6), max_size=20))
def test_each_text_is_folded_as_it_would_be_alone(texts):
    given_texts = pl.Series("text", texts, dtype=pl.String)
    wanted = given_texts.to_frame().select(plain(pl.col("text"))).to_series()
    assert_series_equal(plain_texts(given_texts), wanted, check_names=False)
