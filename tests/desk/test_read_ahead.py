"""What is read of a pair before anything is noted of it: it moves no figure, and holds no longer than it is true."""

import shutil
import time
from pathlib import Path
from threading import Thread
from urllib.request import Request, urlopen

import pytest
from polars.testing import assert_frame_equal

from tests.desk.conftest import AS_OF, Served
from tests.desk.random_requests import TOKEN
from tests.desk.test_notes import FORM, TABLES, rows
from triage.catalogue import Catalogue
from triage.desk import again
from triage.desk.again import Supposed
from triage.desk.site import GLANCE_SECONDS
from triage.desk.tonight import Tonight
from triage.journal import Kind
from triage.rules import findings
from triage.rules.facts import NOTHING
from triage.verdict import Releases, chunks, judging, known
from triage.writeup.ticket import anchor

# What moves nothing of what is read ahead, and what moves some of it: the parts' age, whether a pair is to be had.
SAID: tuple[tuple[Kind, dict[str, object]], ...] = (
    ("look", {"signs": {"outsole_shiny": "yes", "midsole_cracked": "no"}}),
    ("answer", {"text": "Pressed it, springs back. I think no cracks.", "signs": {"sole_separation": "no"}}),
    ("look", {"signs": {"outsole_shiny": "not shown"}}),
    ("no_reply", {}),
    ("look", {"signs": {"stored_attic": "yes"}}),
    ("answer", {"text": "Made in 1994. Returns accepted.", "signs": {}}),
    ("sold", {}),
    ("open", {}),
    ("look", {"signs": {"outsole_shiny": "yes"}}),
)


@pytest.fixture
def unprepared(store: Path, known: Catalogue, tmp_path: Path) -> Tonight:
    """Return the pairs of another copy, of which nothing is read ahead."""
    (tmp_path / "other").mkdir()
    for file in (store, store.with_name(f"{store.name}.desk")):
        shutil.copy(file, tmp_path / "other" / file.name)
    return Tonight(tmp_path / "other" / store.name, known, lambda: AS_OF)


@pytest.fixture
def reads(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Return the names of what was read of pairs that no answer moves, as it is read."""
    told: list[str] = []
    of_money = [(module, "read_comparables") for module in (judging, known)]
    of_money += [(chunks, "read_ages"), (known, "read_aged")]
    for module, name in (*of_money, (findings, "read_facts")):
        was = getattr(module, name)

        def counted(*given: object, name: str = name, was: object = was, **named: object) -> object:
            if name != "read_facts" or given[-1] is NOTHING:
                told.append(name)
            return was(*given, **named)  # type: ignore[operator]

        monkeypatch.setattr(module, name, counted)
    return told


def weighed(tonight: Tonight, kind: Kind, one: str, content: dict[str, object]) -> None:
    tonight.note(FORM, kind, one, content)
    with tonight.fresh():
        tonight.called()


def test_what_is_read_ahead_moves_no_figure(tonight: Tonight, unprepared: Tonight) -> None:
    with tonight.fresh():
        some = tonight.order[::24]
    filled = set()
    # The next of two pairs is prepared before the first is noted on too: what was read ahead may be of another pair.
    for one, other in zip(some, some[1:] + some[:1], strict=True):
        for number, (kind, content) in enumerate(SAID):
            tonight.prepare((one, other)[number % 2])
            for page in (tonight, unprepared):
                weighed(page, kind, one, content)
            with tonight.fresh() as memory, unprepared.fresh() as plain:
                found, expected = rows(memory, [one, other]), rows(plain, [one, other])
            for table in TABLES:
                assert_frame_equal(found[table], expected[table])
                filled |= {table} if expected[table].height else set()
    assert filled == set(TABLES)


def test_a_prepared_pair_is_weighed_without_reading_it_again(tonight: Tonight, reads: list[str]) -> None:
    with tonight.fresh():
        one, other = tonight.order[:2]
    tonight.prepare(one)
    reads.clear()
    for number, seen in enumerate(("yes", "no", "yes")):
        weighed(tonight, "look", one, {"signs": {"outsole_shiny": seen, "midsole_cracked": ("yes", "no")[number % 2]}})
    assert reads == []
    weighed(tonight, "look", other, {"signs": {"outsole_shiny": "yes"}})
    assert {"read_comparables", "read_ages", "read_facts"} == set(reads)


@pytest.mark.parametrize(
    ("kind", "content", "pair", "read"),
    [
        ("look", {"signs": {"stored_attic": "yes"}}, 0, set()),
        ("sold", {}, 0, {"read_ages", "read_facts"}),
        ("look", {"signs": {"outsole_shiny": "yes"}}, 1, {"read_ages", "read_comparables", "read_facts"}),
    ],
    ids=["age", "sold", "another pair"],
)
def test_of_what_was_read_ahead_only_that_is_read_again_which_may_have_moved(
    tonight: Tonight, reads: list[str], kind: Kind, content: dict[str, object], pair: int, read: set[str]
) -> None:
    with tonight.fresh():
        some = tonight.order[:2]
    tonight.prepare(some[0])
    weighed(tonight, kind, some[pair], content)
    assert tonight._known is None or not tonight._known.whole
    reads.clear()
    weighed(tonight, "look", some[0], {"signs": {"outsole_shiny": "no"}})
    assert set(reads) == read
    tonight.prepare(some[0])
    assert tonight._known is not None
    assert tonight._known.whole


@pytest.mark.parametrize(
    "supposed",
    [Supposed(price_minor=4_000), Supposed(purpose="display"), Supposed(storage="stored_attic"), Supposed(year=1985)],
    ids=lambda one: next(name for name, value in vars(one).items() if value is not None),
)
def test_what_is_supposed_of_a_prepared_pair_is_the_same(
    tonight: Tonight, known: Catalogue, supposed: Supposed
) -> None:
    with tonight.fresh() as memory:
        one = tonight.order[4]
        buyer = tonight.standing(memory, one).buyer
        plain = tonight.suppose(memory, one, supposed, buyer)
        tonight.prepare(one)
        assert tonight._known is not None
        assert tonight.suppose(memory, one, supposed, buyer) == plain
        kept = tonight._known
        memory.execute("BEGIN TRANSACTION")
        fresh = again.know(memory, known, one, Releases.of(memory))
        memory.execute("ROLLBACK")
        # Nothing of what was supposed stayed in what is known.
        for name in ("unaged", "unsaid"):
            assert_frame_equal(getattr(kept.facts, name), getattr(fresh.facts, name))
        for name in ("listings", "offers", "comparables"):
            assert_frame_equal(getattr(kept.money, name), getattr(fresh.money, name))


def test_nobody_waits_for_what_is_read_ahead(tonight: Tonight) -> None:
    with tonight.fresh():
        one = tonight.order[0]
        prepared = tonight._known
    with tonight.lock:
        late = Thread(target=tonight.prepare, args=(one,))
        late.start()
        late.join(10)
        assert not late.is_alive()
        assert tonight._known is prepared is None


def test_a_pair_that_is_shown_and_not_passed_over_is_made_ready(served: Served, reads: list[str]) -> None:
    with served.tonight.fresh():
        some = served.tonight.order[:4]
    reads.clear()
    for one in some:
        asked = Request(f"{served.address}/pair/{anchor(one)}", headers={"Cookie": f"desk-{served.port}={TOKEN}"})
        with urlopen(asked) as answer:
            assert answer.status == 200
    until = time.monotonic() + 20
    while served.tonight._known is None and time.monotonic() < until:
        time.sleep(0.02)
    assert served.tonight._known is not None
    assert served.tonight._known.listing_id == some[-1]
    time.sleep(2 * GLANCE_SECONDS)
    assert reads.count("read_comparables") == 1


def test_every_listing_can_be_made_ready(tonight: Tonight) -> None:
    with tonight.fresh() as memory:
        shown = [name for (name,) in memory.execute("SELECT listing_id FROM listing ORDER BY listing_id").fetchall()]
        assert {kind for (kind,) in memory.execute("SELECT DISTINCT kind FROM listing").fetchall()} >= {"pair"}
    for one in shown[::3]:
        tonight.prepare(one)
        assert tonight._known is not None
        assert tonight._known.listing_id == one
