"""What becomes of notes: in the store by the night, on the page at once, and the same in both."""

import subprocess
import sys
import threading
from collections.abc import Sequence
from pathlib import Path

import polars as pl
import pytest
from polars.testing import assert_frame_equal
from typer.testing import CliRunner

from tests.desk.conftest import AS_OF, ROOT
from triage import answers, batch, journal, observation, rules
from triage.answers import Told
from triage.catalogue import Catalogue
from triage.cli import app
from triage.desk import again, overnight, published
from triage.desk.again import Supposed
from triage.desk.tonight import Tonight
from triage.errors import TriageError
from triage.once import KEPT
from triage.store import Connection, frame, open_store

TABLES = ("observation", "prognosis", "finding", "posterior", "soundness", "verdict", "plan", "question", "sensitivity")
FORM = "a" * 32


def rows(store: Connection, listings: Sequence[str]) -> dict[str, pl.DataFrame]:
    """Return everything that is worked out of some listings; ranks hang on all others too."""
    found = {}
    for table in TABLES:
        query = f"SELECT * FROM {table} WHERE list_contains($1::VARCHAR[], listing_id) ORDER BY ALL"
        found[table] = frame(store, query, [list(listings)]).drop("rank", strict=False)
    return found


def nightly(store: Path, known: Catalogue, out: Path) -> None:
    with open_store(store) as connection:
        batch.nightly(connection, known, [ROOT / "demo_feeds"], AS_OF, out)


def test_the_page_weighs_a_note_as_the_night_does(tonight: Tonight, known: Catalogue, tmp_path: Path) -> None:
    some = tonight_order(tonight)[::9]
    # Each kind of note moves other stages: what is heard, what ages a pair, whether it is still to be had, nothing.
    plain = ("asked", "no_reply", "open", "sold")
    for number, one in enumerate(some):
        with tonight.fresh():
            tonight.note(FORM, plain[number % len(plain)], one, {})
        with tonight.fresh():
            ageing = ("stored_attic", "worn_recently_ok", "sole_swapped")[number % 3]
            tonight.note(FORM, "look", one, {"signs": {ageing: "yes"}})
        tonight.note(
            FORM, "look", one, {"signs": {"outsole_shiny": ("yes", "no")[number % 2], "midsole_cracked": "no"}}
        )
        tonight.note(FORM, "answer", one, {"text": "Pressed it, springs back. I think no cracks. Made in 1994.",
                                           "signs": {"sole_separation": "no"}})  # fmt: skip
    with tonight.fresh() as memory:
        page = rows(memory, some)
    nightly(tonight.store, known, tmp_path / "reports")
    with open_store(tonight.store) as store:
        night = rows(store, some)
        assert store.execute("SELECT count(*) FROM note").fetchall() == [(4 * len(some),)]
    for table in TABLES:
        assert page[table].height, table
        assert_frame_equal(page[table], night[table], check_exact=False, abs_tol=1e-12)


def test_a_page_begun_anew_reads_the_replies_that_wait_together_and_says_the_same(
    tonight: Tonight, known: Catalogue, monkeypatch: pytest.MonkeyPatch
) -> None:
    some = tonight_order(tonight)[: KEPT + 1]
    for number, one in enumerate(some):
        tonight.note(FORM, "answer", one, {"text": f"Pressed it, springs back. Pair {number} of mine.", "signs": {}})
        with tonight.fresh() as memory:
            one_by_one = rows(memory, some)
    monkeypatch.setattr(observation, "mentions_each", None)
    with Tonight(tonight.store, known, lambda: AS_OF).fresh() as memory:
        together = rows(memory, some)
    for table in TABLES:
        assert one_by_one[table].height, table
        assert_frame_equal(together[table], one_by_one[table])


def test_the_page_weighs_a_note_as_the_command_does(tonight: Tonight, known: Catalogue) -> None:
    one = tonight_order(tonight)[3]
    tonight.note(FORM, "answer", one, {"text": "The foam springs back", "signs": {}})
    with tonight.fresh() as memory:
        page = rows(memory, [one])
    with open_store(tonight.store) as store:
        told = Told(one, None, AS_OF, "answer", None, "The foam springs back")
        assert answers.take(store, known, [told], AS_OF) == [one]
        command = rows(store, [one])
    for table in TABLES:
        assert_frame_equal(page[table], command[table], check_exact=False, abs_tol=1e-12)


def tonight_order(tonight: Tonight) -> tuple[str, ...]:
    with tonight.fresh():
        return tonight.order


def test_a_look_that_is_taken_back_leaves_no_trace_in_the_figures(tonight: Tonight) -> None:
    one = tonight_order(tonight)[0]
    with tonight.fresh() as memory:
        before = rows(memory, [one])
    tonight.note(FORM, "look", one, {"signs": {"outsole_shiny": "yes"}})
    with tonight.fresh() as memory:
        assert not rows(memory, [one])["posterior"].equals(before["posterior"])
    tonight.note(FORM, "look", one, {"signs": {"outsole_shiny": "not shown"}})
    with tonight.fresh() as memory:
        after = rows(memory, [one])
    for table in TABLES:
        assert_frame_equal(after[table], before[table], check_exact=False, abs_tol=1e-12)


def test_taken_over_twice_each_note_is_taken_once(tonight: Tonight, known: Catalogue) -> None:
    one = tonight_order(tonight)[0]
    tonight.note(FORM, "look", one, {"signs": {"outsole_shiny": "yes"}})
    tonight.note(FORM, "no_reply", one, {})
    tonight.note(FORM, "bought", one, {"on": str(AS_OF), "price": "40.50", "buyer": "bench"})
    found = [{"part": "outsole", "found": "fit", "note": "", "wears": ""}]
    tonight.note(FORM, "received", one, {"arrived": str(AS_OF), "found": found})
    counts = "SELECT " + ", ".join(
        f"(SELECT count(*) FROM {name})" for name in ("note", "answer", "purchase", "inspection")
    )
    for _ in range(2):
        with open_store(tonight.store) as store:
            overnight.take_journal(store, known)
            assert store.execute(counts).fetchall() == [(4, 2, 2, 1)]
            assert store.execute("SELECT status FROM listing WHERE listing_id = ?", [one]).fetchall() == [("sold",)]


def test_sold_holds_until_an_export_or_a_note_knows_better(tonight: Tonight, known: Catalogue) -> None:
    one = tonight_order(tonight)[0]
    tonight.note(FORM, "sold", one, {})
    with tonight.fresh() as memory:
        assert tonight.ticket(memory, one) is None
        assert tonight.standing(memory, one) is None
    with open_store(tonight.store) as store:
        status = "SELECT status FROM listing WHERE listing_id = ?"
        overnight.take_journal(store, known)
        assert store.execute(status, [one]).fetchall() == [("sold",)]
        # An export saved later shows it open: stage 2 says so, and the older note does not speak against it.
        store.execute("UPDATE listing SET status = 'open', last_seen = last_seen + 1 WHERE listing_id = ?", [one])
        overnight.take_journal(store, known)
        assert store.execute(status, [one]).fetchall() == [("open",)]
    tonight.note(FORM, "open", one, {})
    with tonight.fresh() as memory:
        assert tonight.ticket(memory, one) is not None


def test_what_does_not_fit_a_pair_is_told_before_it_is_noted(tonight: Tonight) -> None:
    one = tonight_order(tonight)[0]
    for kind, content, told in (
        ("bought", {"on": "2026-11-31", "price": "40", "buyer": None}, "--on"),
        ("bought", {"on": "2026-11-20", "price": "forty", "buyer": None}, "--price"),
        ("received", {"arrived": "2026-11-25", "found": []}, "--on"),
    ):
        with pytest.raises(TriageError, match=told):
            tonight.note(FORM, kind, one, content)
    assert journal.read(tonight.store).notes == ()


def test_supposing_tells_and_keeps_nothing(tonight: Tonight) -> None:
    with tonight.fresh() as memory:
        one = tonight.order[5]
        before, stands = rows(memory, [one]), tonight.standing(memory, one)
        seen = {}
        for supposed in (
            Supposed(price_minor=1_000_000), Supposed(purpose="display"), Supposed(storage="stored_attic"),
            Supposed(year=1970), Supposed(repair_minor=90_000, repairs=("resole-welted", "reglue-sole")),
        ):  # fmt: skip
            found = tonight.suppose(memory, one, supposed, stands.buyer)
            seen[supposed] = (found.surplus_minor, found.offer_minor, found.call)
            assert found.wearable is not None
        assert seen[Supposed(price_minor=1_000_000)][2] == "skip"
        assert tonight.standing(memory, one) == stands
        for table, was in before.items():
            assert_frame_equal(rows(memory, [one])[table], was)
        assert {one for one, found in seen.items() if found[:2] != (stands.surplus_minor, stands.offer_minor)}


@pytest.mark.parametrize(
    "supposed",
    [
        Supposed(price_minor=4_000), Supposed(purpose="display"), Supposed(storage="stored_attic"), Supposed(year=1985),
        Supposed(repair_minor=9_000, repairs=("resole-welted", "reglue-sole")),
    ],
    ids=lambda one: next(name for name, value in vars(one).items() if value is not None),
)  # fmt: skip
def test_the_stages_a_supposition_leaves_out_would_change_nothing(
    tonight: Tonight, known: Catalogue, supposed: Supposed
) -> None:
    with tonight.fresh() as memory:
        some = tonight.order[::15]
        memory.execute("BEGIN TRANSACTION")
        again.suppose(memory, known, AS_OF, some, supposed)
        told = rows(memory, some)
        batch.age(memory, known, AS_OF)
        rules.run(memory, known.rules, known.facts, known.signs, again.OFFERED)
        every = rows(memory, some)
        memory.execute("ROLLBACK")
    for table in ("prognosis", "finding"):
        assert told[table].height, table
        assert_frame_equal(every[table], told[table])


NIGHT = """
import sys
from datetime import date
from pathlib import Path
from triage import batch, catalogue
from triage.store import open_store
store, root = Path(sys.argv[1]), Path(sys.argv[2])
known = catalogue.load(buyers=[root / "rules" / "buyers" / f"{name}.toml" for name in ("bench", "daily")])
with open_store(store) as connection:
    print("open", flush=True)
    batch.nightly(connection, known, [root / "demo_feeds"], date(2026, 11, 25), store.parent / "reports")
"""


def test_a_page_and_a_running_night_neither_wait_for_nor_lose_each_others_work(
    tonight: Tonight, known: Catalogue
) -> None:
    order = tonight_order(tonight)
    night = subprocess.Popen([sys.executable, "-c", NIGHT, str(tonight.store), str(ROOT)], stdout=subprocess.PIPE)
    assert night.stdout.readline() == b"open\n"
    ended = threading.Event()
    threading.Thread(target=lambda: (night.wait(), ended.set()), daemon=True).start()
    noted = 0
    while not ended.is_set() and noted < 400:
        one = order[noted % len(order)]
        assert tonight.note(f"{noted:032x}", "look", one, {"signs": {"outsole_shiny": ("yes", "no")[noted % 2]}})
        with tonight.fresh() as memory:
            tonight.ticket(memory, one)
        noted += 1
    assert night.wait(120) == 0
    assert noted > 3
    assert len(journal.read(tonight.store).notes) == noted
    # What the night had published last is what the page shows now, with every note in it.
    with tonight.fresh() as memory:
        assert memory.execute("SELECT count(*) FROM note").fetchall() == [(noted,)]
    with open_store(tonight.store) as store:
        overnight.take_journal(store, known)
        assert store.execute("SELECT count(*), count(DISTINCT key) FROM note").fetchall() == [(noted, noted)]
        assert store.execute("SELECT count(*) FROM answer WHERE said_by = 'buyer'").fetchall() == [(noted,)]


def test_who_is_forgotten_is_forgotten_beside_the_store_too(tonight: Tonight, tmp_path: Path) -> None:
    with tonight.fresh() as memory:
        one, seller = memory.execute(
            "SELECT listing_id, seller FROM listing WHERE seller IS NOT NULL LIMIT 1"
        ).fetchall()[0]
        theirs = "SELECT listing_id FROM listing WHERE lower(seller) = lower(?)"
        other = next(name for name in tonight.order if (name,) not in memory.execute(theirs, [seller]).fetchall())
    for listing in (one, other):
        tonight.note(FORM, "answer", listing, {"text": f"zimtsternchen, {listing == one}", "signs": {}})
    done = CliRunner().invoke(
        app, ["store", "forget", "--seller", seller, "--store", str(tonight.store), "--out", str(tmp_path / "r")]
    )
    assert done.exit_code == 0, done.output
    assert [note.listing_id for note in journal.read(tonight.store).notes] == [other]
    assert b"zimtsternchen, True" not in journal.path_of(tonight.store).read_bytes()
    assert not published.path_of(tonight.store).exists()


def test_a_published_file_holds_no_text_of_listings_beside(tonight: Tonight) -> None:
    with tonight.fresh() as memory:
        beside = "SELECT count(*), count(body), count(seller) FROM listing ANTI JOIN sighting USING (listing_id)"
        ((count, bodies, sellers),) = memory.execute(beside).fetchall()
    assert count > 0
    assert (bodies, sellers) == (0, 0)


def test_a_store_without_a_published_file_gets_one_of_today(tonight: Tonight, known: Catalogue) -> None:
    path = published.path_of(tonight.store)
    path.write_bytes(path.read_bytes()[:9000])
    with pytest.raises(TriageError, match="can't be read"), tonight.fresh():
        pass
    path.unlink()
    assert not published.is_of_today(path)
    with open_store(tonight.store) as store:
        assert published.publish(store, known.values) == path
    assert published.is_of_today(path)
    with tonight.fresh():
        assert tonight.order
