"""Seller texts to plain text, and the language they are in."""

import unicodedata

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from triage.catalogue.words import Words
from triage.listing.phrases import Phrase, book, compatible, each_once, phrase_bits, spaced
from triage.listing.text import language_book, languages, plain_texts

# letters, full-width and half-width forms, fractions, ligatures and combining accents of listings
SIGNS = "aZ9 ÄöüßéñçåæøœŁžé，。、「」ひらカタ漢字０１２ＡＢｃ㎝㍉½⅓¾²…①㈱ﬁﬀｶﾀﾅﾞ〜～％￥￡\u3000\u00a0\u202f\u0301\u0308"


@pytest.mark.parametrize(
    ("written", "plain"),
    [
        ("Nie getragen.", "Nie getragen."),
        ("<p>One</p><p>Two</p>", "One\nTwo"),
        ("One<br/>Two<BR>Three", "One\nTwo\nThree"),
        ("a &amp; b &lt;3 &#8364; &#x20AC; &euro;", "a & b <3 € € €"),
        ("Gr&ouml;&szlig;e&nbsp;43", "Größe 43"),
        ("<script>alert('never worn')</script>worn", "worn"),
        ("<style>p{color:red}</style>worn", "worn"),
        ("&lt;b&gt;bold&lt;/b&gt;", "bold"),
        ("<b>unclosed", "unclosed"),
        ("size < 43 > 42", "size < 43 > 42"),
        ("<!-- hidden -->shown", "shown"),
        ("  two   blanks  ", "two blanks"),
        ("SchÃ¶ne Schuhe", "Schöne Schuhe"),
        ("TrÃ¨s bon Ã©tat", "Très bon état"),
        ("50 â‚¬", "50 €"),
        ("SÃO PAULO", "SÃO PAULO"),
        ("voilà — ça", "voilà — ça"),
        ("<p> </p>", None),
    ],
)
def test_a_text_is_made_plain(written: str, plain: str | None) -> None:
    assert plain_texts(pl.Series([written])).to_list() == [plain]


@given(st.lists(st.text(), max_size=5))
def test_any_text_is_made_plain_without_a_fault(texts: list[str]) -> None:
    once = plain_texts(pl.Series(texts, dtype=pl.String))
    assert len(once) == len(texts)


@pytest.mark.parametrize(
    ("title", "body", "language"),
    [
        ("Torquellan High", "Never worn, with box and laces. These are great.", "en"),
        ("Torquellan High", "Nie getragen, mit Karton, Sohle leicht vergilbt.", "de"),
        ("Torquellan High", "Jamais portées, semelle un peu dure, vendu avec la boîte.", "fr"),
        ("Torquellan High", "Mai usate, suola ancora elastica, con scatola.", "it"),
        ("Torquellan High", "Sin estrenar, con caja, la suela algo dura.", "es"),
        ("トルケラン", "未使用です。箱付き。", "ja"),
        ("Torquellan High 9.5", None, None),
    ],
)
def test_the_language_is_judged_by_its_words(title: str, body: str | None, language: str | None, words: Words) -> None:
    keys = pl.DataFrame({"row": [0], "title": [title], "body": [body or ""]}).select(
        "row", title_key=spaced(pl.col("title")), body_key=spaced(pl.col("body"))
    )
    judged = languages(keys, language_book(words.language), words.language.margin)
    assert judged["judged"].to_list() == [language]


def test_the_longest_phrase_at_a_place_counts() -> None:
    phrases = book([Phrase("new", "new"), Phrase("new soles", "nothing"), Phrase("never worn", "new")])
    texts = pl.DataFrame({"row": [0, 1, 2], "text": ["New soles", "Never worn. New!", "renewed"]})
    found = phrase_bits(texts.with_columns(text=spaced(pl.col("text"))), "text", phrases).sort("row")
    assert found.rows() == [(0, phrases.meanings["nothing"]), (1, phrases.meanings["new"])]


@given(st.lists(st.none() | st.sampled_from(["New. Soles", "", "new", "Neu!", "é"]) | st.text(alphabet=SIGNS)))
def test_a_text_seen_before_comes_out_as_it_would_alone(listed: list[str | None]) -> None:
    texts = pl.Series("body", listed, dtype=pl.String)
    alone = [texts[at : at + 1].to_frame().select(made=spaced(pl.col("body"))).item() for at in range(len(texts))]
    assert each_once(texts, spaced).to_list() == alone
    assert each_once(texts, pl.Expr.is_null).to_list() == texts.is_null().to_list()


@given(st.text(alphabet=SIGNS))
def test_signs_of_listings_end_in_form_nfkc(text: str) -> None:
    assert compatible(pl.Series([text])).to_list() == [unicodedata.normalize("NFKC", text)]
