"""The two numbers that would move a call most, in words."""

import pytest

from triage.writeup.phrase import NO_BREAK
from triage.writeup.sensitivity import explained, swing, swings_of

ROW = {"buyer": "wren", "place": 1, "low": None, "high": None, "at_low_minor": -1520, "at_high_minor": 4060,
       "currency": "EUR"}  # fmt: skip


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ({"number": "p_unfit midsole", "low": 0.08, "high": 0.41, "at_low_minor": 4800, "at_high_minor": -1500},
         "midsole unfit 8 to 41 %: EUR 48 to EUR −15 left over"),
        ({"number": "value_minor", "low": 11_250.4, "high": 13_750.0},
         "value when sound EUR 113 to EUR 138: EUR −15 to EUR 41 left over"),
        ({"number": "shipping_minor", "low": 600.0, "high": 1_800.0},
         "postage, which is assumed EUR 6 to EUR 18: EUR −15 to EUR 41 left over"),
        ({"number": "p_fits", "low": 0.0, "high": 1.0}, "whether the size fits: EUR −15 to EUR 41 left over"),
        ({"number": "repair_minor"}, "what the repairs cost: EUR −15 to EUR 41 left over"),
        ({"number": "construction_id"}, "which release it is: EUR −15 to EUR 41 left over"),
    ],
)  # fmt: skip
def test_a_number_is_told_with_its_range_and_what_it_leaves(row: dict[str, object], words: str) -> None:
    assert swing(ROW | row).replace(NO_BREAK, " ") == words


def test_a_ticket_has_those_of_its_own_buyer_and_the_chain_those_of_all() -> None:
    rows = [ROW | {"number": "p_fits"}, ROW | {"number": "repair_minor", "buyer": "other"}]
    assert len(swings_of(rows, "wren")) == 1
    assert [line.split(":")[0] for line in explained(rows)] == [
        "wren 1. whether the size fits", "other 1. what the repairs cost",
    ]  # fmt: skip
