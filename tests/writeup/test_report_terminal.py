"""Plain text for the terminal: the night in a few lines, one listing from its row to the call."""

import re
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import pytest
from made_night import AS_OF, whole_night

from triage.errors import TriageError
from triage.store import Connection
from triage.writeup.terminal import explain, summary


def spaced(text: str) -> str:
    return text.replace("\u00a0", " ").replace("\u202f", " ")


def test_the_summary_has_the_account_the_calls_and_a_line_per_buy(store: Connection) -> None:
    lines = spaced(summary(store, AS_OF).text).splitlines()
    assert lines[0] == "Wednesday 25 November 2026"
    assert lines[1] == "3 exports: 6 rows read = 4 new + 1 seen again + 1 rejects"
    assert lines[2] == "5 open listings weighed: 1 buy, 1 ask, 3 skips"
    assert lines[3].startswith("buy  up to EUR 96, price EUR 70, for wren, otto, wear as it is: Baskets Brelloway")
    assert len(lines) == 4


def test_the_chain_goes_from_the_exported_cell_to_the_call(store: Connection, catalogue: SimpleNamespace) -> None:
    text = spaced(explain(store, catalogue, "attic board/a1"))
    stages = (
        "Preis: 70,00",
        "price     EUR 70, fixed",
        "+9.2  model",
        "“semelle cousue”",
        "fails about 42 % in 2 years",
        "rubber of 41 years",
        "prior −1.4   signs −3.5  rules +1.5",
        "reglue: EUR 5 to 20",
        "landed EUR 76 = EUR 41.50; highest sensible offer EUR 96.90",
        "Wren: buy (1 of 1), wear as it is, wearable 61 to 78 %, weak part outsole",
    )
    places = [text.find(stage) for stage in stages]
    assert -1 not in places
    assert places == sorted(places)


def test_every_ladder_adds_up_from_prior_to_posterior(store: Connection, catalogue: SimpleNamespace) -> None:
    text = explain(store, catalogue, "attic board/a1") + explain(store, catalogue, "lantern flea/j7")
    ladders = re.findall(r"prior (\S+) +signs (\S+) +rules (\S+) +mixing (\S+) += ([+−0-9.]+)", text)
    assert len(ladders) == 12
    for ladder in ladders:
        *steps, posterior = (float(step.replace("−", "-")) for step in ladder)
        assert sum(steps) == pytest.approx(posterior, abs=0.2 + 1e-9)  # four figures rounded to 0.1


def test_questions_come_with_what_each_answer_would_do(store: Connection, catalogue: SimpleNamespace) -> None:
    text = spaced(explain(store, catalogue, "lantern flea/j7"))
    assert "midsole_springy, worth EUR 15; yes: buy, up to EUR 96; no: skip" in text


def test_the_cautions_of_a_repair_stand_with_the_plans(store: Connection, catalogue: SimpleNamespace) -> None:
    plans = explain(store, catalogue, "lantern flea/j7").split("Plans\n")[1].split("Money\n")[0]
    for caution in catalogue.repairs["sole-transplant"].cautions:
        assert caution in plans


def test_a_box_without_shoes_is_explained_too(store: Connection, catalogue: SimpleNamespace) -> None:
    text = explain(store, catalogue, "harbour auction/h9")
    assert "kind      accessory" in text
    assert "a box without shoes" in text


def test_an_unknown_listing_is_an_error_that_names_the_nearest(store: Connection, catalogue: SimpleNamespace) -> None:
    with pytest.raises(TriageError, match=r"listing lantern/j7: not in the store; expected .* lantern flea/j7"):
        explain(store, catalogue, "lantern/j7")


def test_nothing_a_terminal_would_obey_gets_through(
    store_of: Callable[[dict[str, list[dict[str, Any]]]], Connection], catalogue: SimpleNamespace
) -> None:
    tables = whole_night()
    tables["listing"][0] |= {"title": "\x1b[2Jcleared\x07", "body": "a\u202eb\x9b31m"}
    con = store_of(tables)
    text = summary(con, AS_OF).text + explain(con, catalogue, "attic board/a1")
    assert "cleared" in text
    assert not re.search(r"[\x00-\x09\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]", text)
