"""The picture of survival and the line on foam: what they show and when."""

from itertools import pairwise
from types import SimpleNamespace

import pytest
from made_night import material, prognosis

from triage.writeup.foam import foam_line
from triage.writeup.page import environment
from triage.writeup.survival import BOTTOM, LEFT, RIGHT, TOP, picture_of

FOAM = material(("polyester polyurethane foam", "ester PU foam", "crumbles from inside"))
EVA = material(("EVA foam", "moulded EVA", "cracks or splits"))
CATALOGUE = SimpleNamespace(materials={"pu_ester_midsole": FOAM, "eva_structural": EVA})


def row(part: str, key: str, p: float, **given: object) -> dict:
    return prognosis("a/1", part, key, p, made_lo=1999.0, made_hi=2001.0, age_years=26.9, **given)


def points(curve) -> list[tuple[float, float]]:
    return [tuple(float(value) for value in pair.split(",")) for pair in curve.points.split()]


ROWS = [row("midsole", "pu_ester_midsole", 0.8), row("outsole", "eva_structural", 0.3), row("upper", "?", 0.1)]
ALL = ("midsole", "outsole", "upper")


def test_every_line_falls_from_all_fit_and_passes_through_the_chance_at_the_horizon():
    picture = picture_of(ROWS, ALL, 2.0, CATALOGUE)
    assert {curve.part for curve in picture.curves} == set(ALL)
    for curve in picture.curves:
        path = points(curve)
        assert path[0] == (LEFT, TOP)
        heights = [y for _, y in path]
        assert heights == sorted(heights)
        (wanted,) = (r["p_unfit"] for r in ROWS if r["part"] == curve.part)
        at = float(picture.horizon_x)
        (x0, y0), (x1, y1) = next(pair for pair in pairwise(path) if pair[1][0] >= at)
        height = y0 + (at - x0) / (x1 - x0) * (y1 - y0)
        assert 1 - (BOTTOM - height) / (BOTTOM - TOP) == pytest.approx(wanted, abs=0.01)


def test_now_comes_before_the_horizon_and_both_lie_in_the_field():
    picture = picture_of(ROWS, ALL, 2.0, CATALOGUE)
    assert LEFT < float(picture.now_x) < float(picture.horizon_x) < RIGHT
    years = [int(year) for year, _ in picture.ticks]
    assert years == sorted(years)
    assert 2000 <= years[0] <= years[-1] <= 2032


def test_names_beside_the_lines_never_overlap_even_where_the_lines_do():
    picture = picture_of([row(part, "?", 0.5) for part in ALL], ALL, 2.0, CATALOGUE)
    heights = sorted(float(curve.label_y) for curve in picture.curves)
    assert all(b - a >= 11.9 for a, b in pairwise(heights))


def test_names_of_lines_that_end_at_one_height_stand_in_the_order_of_the_lines():
    picture = picture_of([row(part, "?", 0.5 - at * 1e-9) for at, part in enumerate(ALL)], ALL, 2.0, CATALOGUE)
    assert len({curve.end_y for curve in picture.curves}) == 1
    heights = [float(curve.label_y) for curve in picture.curves]
    assert heights == sorted(heights)


def test_words_say_what_the_picture_shows_and_no_markup_slips_in():
    picture = picture_of(ROWS, ALL, 2.0, CATALOGUE)
    assert "midsole" in picture.text
    assert "20\u00a0% in 2 years" in picture.text
    module = environment().get_template("survival.svg").module
    drawn = str(module.survival(picture, "p1", "2"))
    assert drawn.count("<polyline") == 3
    assert '<title id="p1-st">' in drawn
    assert f'<desc id="p1-sd">{picture.text}</desc>' in drawn
    assert ">now</text>" in drawn
    assert ">+2 years</text>" in drawn


def test_a_new_sole_starts_its_line_later():
    new = prognosis("a/1", "outsole", "?", 0.1, made_lo=2019.0, made_hi=2020.0, age_years=7.4)
    picture = picture_of([row("midsole", "pu_ester_midsole", 0.8), new], ALL, 2.0, CATALOGUE)
    starts = {curve.part: points(curve)[0][0] for curve in picture.curves}
    assert starts["outsole"] > starts["midsole"] + 100


def test_nothing_known_draws_nothing():
    assert picture_of([], ALL, 2.0, CATALOGUE) is None
    assert picture_of(ROWS, (), 2.0, CATALOGUE) is None
    assert picture_of(ROWS, ALL, 9.0, CATALOGUE) is None


CLAIM = {"sign": "eva_claimed", "state": "affirmed"}


def test_a_seller_who_says_eva_of_polyurethane_is_set_right_in_one_line():
    line = foam_line([CLAIM], [row("midsole", "pu_ester_midsole", 0.8, mode="hydrolysis")], CATALOGUE)
    assert line.startswith("The seller says EVA, the likeliest release has ester PU foam")
    assert "crumbles from inside" in line
    assert "EVA is not polyurethane" in line
    assert "\n" not in line


@pytest.mark.parametrize(
    ("said", "key"),
    [
        ([CLAIM], "eva_structural"), ([], "pu_ester_midsole"),
        ([{**CLAIM, "state": "denied"}], "pu_ester_midsole"), ([{**CLAIM, "sign": "other"}], "pu_ester_midsole"),
    ],
)  # fmt: skip
def test_where_word_and_release_agree_or_nobody_says_eva_there_is_no_line(said, key):
    assert foam_line(said, [row("midsole", key, 0.3)], CATALOGUE) == ""


def test_a_foam_no_table_knows_is_said_to_be_a_mix():
    assert "no table says what this foam is" in foam_line([CLAIM], [row("midsole", "?", 0.3)], CATALOGUE)
    assert foam_line([CLAIM], [row("outsole", "?", 0.3)], CATALOGUE) == ""
