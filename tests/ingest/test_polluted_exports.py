"""Polluted variants of a clean export: loaded exactly where the file still says the rows, else refused, never wrong."""

import json

import pytest
from polluted import Variant, clean, judge, variants, write
from second_origins import SAME_POLLUTION, second_origins

from triage.ingest.readers import csv
from triage.ingest.rows import FileError, Settings

VARIANTS = {variant.name: variant for variant in variants()}
SECOND = second_origins()


def outcome(variant: Variant, path, words) -> str:
    """Return what became of a variant under this project's reader."""
    path.write_bytes(variant.content)
    try:
        pieces = list(csv.read(path, Settings(words)))
    except FileError as error:
        return judge(variant, None, [error.code])
    loaded = [tuple(json.loads(cells).values()) for piece in pieces for cells in piece.rows["cells"]]
    return judge(variant, loaded, [one.code for piece in pieces for one in piece.broken])


@pytest.mark.parametrize("name", [name for name in VARIANTS if name not in SECOND])
def test_a_polluted_export_that_still_says_its_rows_is_loaded_exactly(name, feeds, tmp_path):
    assert outcome(VARIANTS[name], tmp_path / "export.csv", feeds.words) == "exact"


@pytest.mark.parametrize("name", SECOND)
def test_one_that_may_have_been_another_table_loses_that_row_alone_for_the_right_reason(name, feeds, tmp_path):
    assert outcome(VARIANTS[name], tmp_path / "export.csv", feeds.words) == "accounted"


@pytest.mark.parametrize("name", SECOND)
def test_another_sound_table_becomes_the_same_bytes(name, feeds, tmp_path):
    first, second = VARIANTS[name], SECOND[name]
    assert second.content == first.content
    (at,) = first.damaged
    other = [i for i, (row, row_2) in enumerate(zip(first.rows, second.rows, strict=True)) if row != row_2]
    assert other == [at]
    assert (name in SAME_POLLUTION) == (first.name == second.name)
    # The other table is one that is read without a doubt before it is polluted.
    plain = Variant("plain", write([clean()[0], *second.rows]).text().encode(), second.rows)
    assert outcome(plain, tmp_path / "export.csv", feeds.words) == "exact"


def test_damage_is_claimed_for_no_variant_without_a_second_origin():
    assert {name for name, variant in VARIANTS.items() if variant.damaged} == SECOND.keys()
    assert len(VARIANTS) - len(SECOND) >= 200


def test_the_judge_sees_a_row_that_is_not_clean_and_one_that_is_missing():
    whole = VARIANTS["delimiter comma"]
    rows = [tuple(row) for row in whole.rows]
    assert judge(whole, rows, []) == "exact"
    assert judge(whole, [*rows[1:], (*rows[0][:9], "")], []) == "wrong"
    assert judge(whole, rows[1:], []) == "lost"
    assert judge(whole, rows, ["row-width"]) == "reason"
