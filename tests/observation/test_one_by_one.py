"""Few texts are read one by one and kept: what is read of each is what is read of it among all others."""

import polars as pl
from polars.testing import assert_frame_equal

from tests.observation.test_labelled_listings import labelled
from triage.observation import read
from triage.observation.lexicon import Lexicon


def test_a_text_read_alone_says_what_it_says_among_others(words: Lexicon) -> None:
    texts = labelled().select("language", text="body")[::25].with_row_index("tid", offset=3)
    texts = texts.select("tid", "text", hint=pl.when(pl.col("tid") % 3 > 0).then("language"))
    silent = texts.head(1).with_columns(tid=pl.lit(900, pl.UInt32), text=pl.lit(None, pl.String))
    texts = pl.concat([texts, silent])
    together = read.mentions(texts, words)
    assert together.height > 20
    assert_frame_equal(read.mentions_each(texts, words), together)


def test_a_text_is_read_once_in_each_language_it_is_said_to_be_in(words: Lexicon, monkeypatch) -> None:
    told, was = [], read._mentions
    monkeypatch.setattr(read, "_mentions", lambda texts, lexicon: told.append(texts.row(0)) or was(texts, lexicon))
    # Other strings of the same letters: text is told apart by what it says.
    for text, hint in (("No cra", "en"), ("No cra", "en"), ("No cra", "de"), ("No cra", None), ("No cra", "en")):
        read.mentions_each(pl.DataFrame({"tid": [7], "text": [text + "cks."], "hint": [hint]}), words)
    assert [row[2] for row in told] == ["en", "de", None]
