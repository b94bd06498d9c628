"""Earlier calls on the page and in the chain: what was, what is now, and why."""

from pathlib import Path
from types import SimpleNamespace
from typing import Any

from made_night import AS_OF, BEFORE, fill, whole_night

from triage.store import Connection, connect
from triage.writeup import Look, night_page
from triage.writeup.frames import read_night
from triage.writeup.history import change
from triage.writeup.terminal import explain
from triage.writeup.view import view_of

COURT = "attic board/a1"


def called(place: int, **given: Any) -> dict[str, Any]:
    """Return a row of the history; what is not given is plain."""
    return dict(
        listing_id=COURT, buyer="wren", place=place, as_of=AS_OF, call="buy", plan="wear", offer_minor=9690,
        currency="EUR", p_wearable=0.7, reason="r", because="first weighed", text_md5="", heard=[], held=[],
        rules_sha256="", buyer_sha256="",
    ) | given  # fmt: skip


def with_history(*rows: dict[str, Any]) -> Connection:
    store = connect()
    fill(store, whole_night())
    for row in rows:
        shown = {name: value for name, value in row.items() if name not in ("heard", "held")}
        store.execute(
            f"INSERT INTO call_history ({', '.join(shown)}, heard, held) "
            f"VALUES ({', '.join('?' * len(shown))}, [], [])",
            list(shown.values()),
        )
    return store


ASKED = called(1, call="ask", as_of=BEFORE, offer_minor=6000)
BOUGHT = called(2, because="the seller says the foam springs back")
WORDS = "was ask, now buy, because the seller says the foam springs back"


def page_of(store: Connection, catalogue: SimpleNamespace) -> str:
    return night_page(view_of(store, catalogue, read_night(store, AS_OF), Path("no reports here")), Look())


def test_the_ticket_says_what_changed_and_why(catalogue: SimpleNamespace) -> None:
    store = with_history(ASKED, BOUGHT)
    page = page_of(store, catalogue)
    assert page.count(f"{WORDS}, 25 Nov 2026") == 1


def test_a_first_call_is_no_change(catalogue: SimpleNamespace) -> None:
    store = with_history(ASKED)
    assert "was ask" not in page_of(store, catalogue)


def test_the_chain_shows_both_calls_in_their_order(catalogue: SimpleNamespace) -> None:
    told = explain(with_history(ASKED, BOUGHT), catalogue, COURT).replace("\u00a0", " ")
    first, second = told.split("Calls so far\n")[1].split("\n\n")[0].splitlines()
    assert first.strip().startswith("Wren, 24 Nov 2026: ask, wear as it is, up to EUR 60, wearable about 70 %")
    assert second.strip().endswith(WORDS)


def test_where_the_call_stays_the_plan_and_else_the_offer_is_told() -> None:
    row = BOUGHT | {"call_was": "buy", "plan_was": "restore", "offer_was_minor": 6000}
    assert change(row).startswith("was restore, then wear, now wear as it is, because ")
    same = row | {"plan_was": "wear"}
    assert change(same).replace("\u00a0", " ").startswith("was up to EUR 60, now up to EUR 96, because ")
