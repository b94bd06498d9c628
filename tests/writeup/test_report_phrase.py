"""Numbers in words: checked against published scales, and for never saying more than is known."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from triage.writeup import phrase

chances = st.floats(0, 1)


@pytest.mark.parametrize(
    ("chance", "word"),
    # Source: IPCC, Guidance Note on Consistent Treatment of Uncertainties (2010), table 1: very likely 90-100 %,
    # likely 66-100 %, about as likely as not 33-66 %, unlikely 0-33 %, very unlikely 0-10 %.
    [(0.95, "very likely"), (0.8, "likely"), (0.5, "about even"), (0.2, "unlikely"), (0.05, "very unlikely")],
)
def test_a_chance_has_the_word_of_the_published_scale(chance: float, word: str) -> None:
    assert phrase.likelihood(chance) == word


@given(chances, chances)
def test_a_higher_chance_never_gets_a_lower_step(one: float, other: float) -> None:
    lo, hi = sorted((one, other))
    assert 1 <= phrase.step(lo) <= phrase.step(hi) <= 5


@given(chances)
def test_the_step_and_the_word_always_agree(chance: float) -> None:
    words = ("very unlikely", "unlikely", "about even", "likely", "very likely")
    assert phrase.likelihood(chance) == words[phrase.step(chance) - 1]


@given(chances, chances)
def test_a_range_is_never_given_with_decimals_nor_as_certain(one: float, other: float) -> None:
    lo, hi = sorted((one, other))
    text = phrase.percent_range(lo, hi)
    assert "." not in text
    assert not text.startswith(("0", "about 0"))
    assert "100" not in text


@pytest.mark.parametrize(
    ("lo", "hi", "text"),
    [
        (0.61, 0.783, "61 to 78 %"),
        (0.61, 0.612, "about 61 %"),
        (0.0, 0.07, "under 1 to 7 %"),
        (0.93, 1.0, "93 to over 99 %"),
        (0.0, 0.0, "under 1 %"),
        (0.996, 0.996, "over 99 %"),
        (0.004, 0.996, "under 1 to over 99 %"),
    ],
)
def test_a_range_reads_like_speech(lo: float, hi: float, text: str) -> None:
    assert phrase.percent_range(lo, hi).replace("\u00a0", " ") == text


@pytest.mark.parametrize(
    ("minor", "currency", "text"),
    # Source: ISO 4217 minor units: EUR 2, JPY 0, KWD 3.
    [
        (9600, "EUR", "EUR 96"),
        (9650, "EUR", "EUR 96.50"),
        (9800, "JPY", "JPY 9 800"),
        (1250, "KWD", "KWD 1.250"),
        (-900, "EUR", "EUR −9"),
        (123456700, "EUR", "EUR 1 234 567"),
    ],
)
def test_money_has_the_decimals_of_its_currency_and_no_idle_ones(minor: int, currency: str, text: str) -> None:
    assert phrase.money(minor, currency).replace("\u00a0", " ").replace("\u202f", " ") == text


@given(st.integers(0, 10**9))
def test_an_offer_is_never_rounded_up(minor: int) -> None:
    shown = int(phrase.at_most(minor, "EUR").split("\u00a0")[1].replace("\u202f", ""))
    assert shown * 100 <= minor < shown * 100 + 100


@given(st.integers(-(10**9), 10**9))
def test_an_estimate_is_the_nearest_whole_amount(minor: int) -> None:
    shown = int(phrase.estimate(minor, "EUR").split("\u00a0")[1].replace("\u202f", "").replace("−", "-"))
    assert abs(shown * 100 - minor) <= 50


@pytest.mark.parametrize(
    ("chance", "decibans"),
    # Source: I. J. Good, Probability and the Weighing of Evidence (1950): even odds are 0, odds of 10 are 10 decibans.
    [(0.5, 0.0), (10 / 11, 10.0), (1 / 11, -10.0), (2 / 3, 3.0103)],
)
def test_odds_are_in_decibans(chance: float, decibans: float) -> None:
    assert phrase.decibans(chance) == pytest.approx(decibans, abs=1e-4)


def test_the_end_of_december_is_not_the_next_year() -> None:
    assert phrase.years(1991.0, 1995.0) == "1991 to 1994"
    assert phrase.years(1991.2, 1991.9) == "1991"


def test_dates_follow_no_locale() -> None:
    assert phrase.long_day(date(2026, 11, 25)) == "Wednesday 25 November 2026"
    assert phrase.day(date(2026, 3, 1)) == "1 Mar 2026"


@given(st.text())
def test_no_control_or_direction_character_survives(text: str) -> None:
    shown = phrase.plain(text)
    assert all(ord(c) >= 0x20 and not 0x7F <= ord(c) <= 0x9F for c in shown)
    assert not set(shown) & set("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f")
