"""Stage 4 in a store: answers, standing sentences, any subset, the same rows again."""

from collections.abc import Sequence
from datetime import date

import polars as pl
import pytest

from triage import store
from triage.catalogue.signs import Signs
from triage.observation import run

NIGHT = date(2026, 11, 24)
HABIT = "Some cracks are normal at this age."


def listing(name: str, body: str | None, title: str = "Shoes", seller: str | None = None, language: str | None = "en"):
    return {
        "listing_id": name, "source": "test", "external_id": name, "seller": seller, "title": title, "body": body,
        "language": language, "price_kind": "fixed", "condition": "unknown", "kind": "pair", "first_seen": NIGHT,
        "last_seen": NIGHT, "status": "open",
    }  # fmt: skip


def read(
    signs: Signs, listings: Sequence[dict], answers: Sequence[dict] = (), todo: Sequence[str] = ()
) -> pl.DataFrame:
    connection = store.connect()
    for table, rows in (("listing", listings), ("answer", answers)):
        for row in rows:
            stated = {name: value for name, value in row.items() if value is not None}
            store.append(connection, table, pl.DataFrame([stated]))
    names = list(todo) or [row["listing_id"] for row in listings]
    with store.registered(connection, "names", pl.DataFrame({"listing_id": names})):
        connection.execute("CREATE TEMP TABLE todo AS SELECT listing_id FROM names")
    run(connection, signs, NIGHT)
    return store.frame(connection, "SELECT * FROM observation")


def answer(sign: str, state: str, text: str | None = None, day: int = 25, said_by: str = "answer") -> dict:
    return {
        "listing_id": "a", "sign": sign, "answered_on": date(2026, 11, day), "said_by": said_by, "state": state,
        "text": text,
    }  # fmt: skip


def told(rows: pl.DataFrame, said_by: str) -> dict[str, str]:
    counted = rows.filter((pl.col("said_by") == said_by) & pl.col("counts"))
    return dict(counted.select("sign", "state").iter_rows())


def test_an_answer_is_an_observation_and_its_words_are_read_too(signs: Signs) -> None:
    rows = read(
        signs,
        [listing("a", "Soles hard.")],
        [answer("midsole_springy", "affirmed", "Yes, it springs back. The leather is dry.")],
    )
    assert told(rows, "listing") == {"outsole_hard": "affirmed"}
    assert told(rows, "answer") == {"midsole_springy": "affirmed", "upper_leather_dry": "affirmed"}


def test_the_recorded_answer_holds_against_the_words_it_came_in(signs: Signs) -> None:
    rows = read(signs, [listing("a", None)], [answer("foam_crumbs_in_box", "denied", "There were crumbs in the box.")])
    assert told(rows, "answer") == {"foam_crumbs_in_box": "denied"}


def test_of_several_answers_the_last_counts_and_all_stay(signs: Signs) -> None:
    rows = read(
        signs, [listing("a", None)], [answer("unit_ok", "affirmed", day=20), answer("unit_ok", "denied", day=22)]
    )
    assert told(rows, "answer") == {"unit_ok": "denied"}
    assert rows.height == 2


def test_no_reply_says_nothing_and_a_look_at_the_photos_is_the_buyers(signs: Signs) -> None:
    rows = read(
        signs,
        [listing("a", None)],
        [answer("unit_ok", "no_reply"), answer("outsole_cracked", "denied", said_by="buyer")],
    )
    assert told(rows, "buyer") == {"outsole_cracked": "denied"}
    assert rows.height == 1


@pytest.mark.parametrize(
    ("language", "text", "wanted"),
    [
        ("de", "Nein, der Schaum bröselt nicht.", {"midsole_crumbling": "denied"}),
        ("fr", "Oui, la semelle se décolle.", {"sole_separation": "affirmed"}),
        ("it", "No, nessuna crepa.", {"midsole_cracked": "denied"}),
        ("es", "Sí, la goma está dura.", {"outsole_hard": "affirmed"}),
        ("ja", "いいえ、ベタつきはありません。", {"outsole_sticky": "denied"}),
    ],
)
def test_an_answer_is_read_in_the_language_of_its_listing(
    signs: Signs, language: str, text: str, wanted: dict[str, str]
) -> None:
    rows = read(signs, [listing("a", None, language=language)], [answer("date_proof_shown", "denied", text)])
    assert told(rows, "answer") == {"date_proof_shown": "denied", **wanted}


def test_what_stands_in_most_listings_of_a_seller_counts_for_nothing(signs: Signs) -> None:
    listings = [listing(f"l{n}", f"Runner number {n}. {HABIT} Soles hard.", seller="shop") for n in range(3)]
    listings[2]["body"] = f"Boots. {HABIT}"
    listings.append(listing("other", f"Trail shoe. {HABIT}", seller="neighbour"))
    rows = read(signs, listings)
    cracked = rows.filter(pl.col("sign") == "midsole_cracked")
    assert dict(cracked.select("listing_id", "counts").iter_rows()) == {
        "l0": False, "l1": False, "l2": False, "other": True,
    }  # fmt: skip
    assert set(rows.filter(pl.col("sign") == "outsole_hard")["counts"]) == {False}


def test_one_pair_listed_again_and_again_is_no_habit(signs: Signs) -> None:
    rows = read(signs, [listing(f"l{n}", f"Runner. {HABIT}", seller="shop") for n in range(4)])
    assert rows.filter(pl.col("sign") == "midsole_cracked")["counts"].to_list() == [True] * 4


def test_any_subset_gives_the_same_rows(signs: Signs) -> None:
    listings = [listing(f"l{n}", f"Pair {n}. {HABIT}", seller="shop") for n in range(3)]
    listings.append(listing("a", "No crumbling. Sohle hart.", language=None))
    whole = read(signs, listings)
    for name in ("l1", "a"):
        part = read(signs, listings, todo=[name])
        assert part.equals(whole.filter(pl.col("listing_id") == name))


def test_a_listing_without_a_language_is_read_in_the_one_its_words_are_of(signs: Signs) -> None:
    bodies = {"de": "Die Sohle ist hart.", "fr": "La semelle est dure.", "ja": "ソールが硬いです。"}
    rows = read(signs, [listing(name, body, language=None) for name, body in bodies.items()])
    assert dict(rows.filter(pl.col("sign") == "outsole_hard").select("listing_id", "language").iter_rows()) == {
        name: name for name in bodies
    }


def test_a_sentence_in_another_language_is_read_in_its_own(signs: Signs) -> None:
    rows = read(
        signs, [listing("a", "Die Sohle ist hart, aber das Leder ist weich. The rubber has not hardened at all.")]
    )
    assert set(rows["language"]) == {"de", "en"}


def test_years_are_carried_where_the_words_name_one(signs: Signs) -> None:
    body = "Bought new in 1994. Resoled 2019 by a cobbler, walked in them last month. Tag shows 06/94."
    rows = read(signs, [listing("a", body)]).filter("counts")
    assert dict(rows.select("sign", "value").iter_rows()) == {
        "purchase_year_stated": "1994",
        "sole_swapped": "2019",
        "worn_recently_ok": None,
        "date_proof_shown": "1994",
    }


def test_a_title_is_read_and_the_text_has_the_later_word(signs: Signs) -> None:
    rows = read(signs, [listing("a", "No longer squeaks.", title="Squeaky runner")])
    assert told(rows, "listing") == {"unit_noise_leak": "denied"}
    assert set(rows["field"]) == {"title", "body"}


def test_nothing_to_read_gives_no_rows(signs: Signs) -> None:
    assert read(signs, [listing("a", None, title="")]).is_empty()
