"""Attic, cellar, shed and other damp places are told apart in six languages, and a denial denies each."""

import polars as pl
import pytest

from triage.observation import read_text

SAID = {
    "en": ("Kept in the loft.", "They were in the basement.", "Stored in a barn.", "Kept in a storage unit."),
    "de": ("Lagen auf dem Dachboden.", "Standen im Keller.", "Lagen in der Scheune.", "Sie waren feucht gelagert."),
    "fr": ("Rangées au grenier.", "Elles étaient à la cave.", "Gardées dans le garage.", "Gardées en box de stockage."),
    "it": ("Tenute in soffitta.", "Erano in cantina.", "Tenute in garage.", "Stavano in un magazzino umido."),
    "es": ("Guardadas en el desván.", "Estaban en el sótano.", "Guardadas en el garaje.", "Guardadas en un trastero."),
    "ja": ("屋根裏にありました。", "地下室に保管。", "ガレージに置いていました。", "トランクルームで保管。"),
}
SIGNS = ("stored_attic", "stored_cellar", "stored_shed", "stored_hot_damp")
DENIED = {
    "en": ("Never kept in an attic or a garage.", {"stored_attic", "stored_shed"}),
    "de": ("Nie im Keller oder in der Garage gelagert.", {"stored_cellar", "stored_shed"}),
}


@pytest.mark.parametrize(
    ("text", "sign"), [(text, sign) for texts in SAID.values() for text, sign in zip(texts, SIGNS, strict=True)]
)
def test_each_place_is_its_own_sign(known, text, sign):
    read = read_text(text, known.reading).filter(pl.col("sign").is_in(SIGNS))
    assert read.select("sign", "state").rows() == [(sign, "affirmed")]


@pytest.mark.parametrize(("text", "signs"), DENIED.values())
def test_a_denial_denies_each_place_it_names(known, text, signs):
    read = read_text(text, known.reading).filter(pl.col("sign").is_in(SIGNS))
    assert set(read.select("sign", "state").rows()) == {(sign, "denied") for sign in signs}
