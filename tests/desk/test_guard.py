"""Who may speak to the page, and that nothing sent to it does harm."""

import hashlib
import http.client
from pathlib import Path

import pytest

from tests.desk.conftest import Served
from tests.desk.random_requests import TOKEN, run
from triage import journal
from triage.desk.pages import assets
from triage.desk.tonight import Tonight
from triage.writeup.ticket import anchor

ETC = "/file/..%2f..%2f..%2fetc%2fpasswd"


def ask(served: Served, method: str, place: str, body: str = "", **other: str | None) -> http.client.HTTPResponse:
    """Send a request as the page's own form would; a keyword changes a header, None leaves it out."""
    own = {
        "Host": f"127.0.0.1:{served.port}", "Cookie": f"desk-{served.port}={TOKEN}", "Origin": served.address,
        "Sec-Fetch-Site": "same-origin", "Content-Length": str(len(body)),
    }  # fmt: skip
    headers = own | {name.replace("_", "-"): value for name, value in other.items()}
    connection = http.client.HTTPConnection("127.0.0.1", served.port, timeout=30)
    connection.putrequest(method, place, skip_host=True, skip_accept_encoding=True)
    for name, value in headers.items():
        if value is not None:
            connection.putheader(name, value)
    connection.endheaders(body.encode())
    return connection.getresponse()


def first(served: Served) -> str:
    with served.tonight.fresh():
        return anchor(served.tonight.order[0])


@pytest.mark.parametrize(
    ("other", "status"),
    [
        ({}, 200),
        ({"Host": "example.org"}, 400),
        ({"Host": "127.0.0.1"}, 400),
        ({"Cookie": None}, 403),
        ({"Cookie": "desk-1=" + TOKEN}, 403),
        ({"Cookie": 'desk="; ;=;'}, 403),
    ],
)
def test_reading_needs_the_host_and_the_cookie(lasting: Served, other: dict[str, str | None], status: int) -> None:
    assert ask(lasting, "GET", "/", **other).status == status


@pytest.mark.parametrize(
    ("other", "status"),
    [
        ({"Origin": None}, 403),
        ({"Origin": "null"}, 403),
        ({"Origin": "http://127.0.0.1:1"}, 403),
        ({"Sec_Fetch_Site": None}, 403),
        ({"Sec_Fetch_Site": "same-site"}, 403),
        ({"Sec_Fetch_Site": "none"}, 403),
        ({"Cookie": None}, 403),
        ({"Content_Length": "9999999"}, 413),
    ],
)
def test_writing_needs_the_browsers_word_that_it_is_the_pages_own_form(
    lasting: Served, other: dict[str, str | None], status: int
) -> None:
    assert ask(lasting, "POST", f"/pair/{first(lasting)}/asked", f"form={'a' * 32}", **other).status == status
    assert journal.read(lasting.tonight.store).notes == ()


def test_the_pages_own_form_writes(served: Served) -> None:
    assert ask(served, "POST", f"/pair/{first(served)}/asked", f"form={'a' * 32}").status == 303
    assert [note.kind for note in journal.read(served.tonight.store).notes] == ["asked"]


def test_the_start_address_sets_the_cookie_for_its_token_alone(lasting: Served) -> None:
    answer = ask(lasting, "GET", f"/start?token={TOKEN}", Cookie=None)
    assert (answer.status, answer.getheader("location")) == (303, "/")
    told = answer.getheader("set-cookie")
    assert all(word in told for word in (f"desk-{lasting.port}=", "HttpOnly", "SameSite=strict"))
    wrong = ask(lasting, "GET", "/start?token=guess", Cookie=None)
    assert (wrong.status, wrong.getheader("set-cookie")) == (403, None)


def test_every_answer_forbids_script_and_requests_but_its_own(lasting: Served) -> None:
    for place, other in (("/", {}), ("/nothing", {}), ("/", {"Cookie": None}), ("/file/htmx.js", {})):
        answer = ask(lasting, "GET", place, **other)
        policy = answer.getheader("content-security-policy")
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy
        assert answer.getheader("x-content-type-options") == "nosniff"


@pytest.mark.parametrize(
    "place",
    [ETC, "/file/../guard.py", "/file/%2e%2e/guard.py", "//etc/passwd", "/file/htmx-LICENSE", "/pair/..%2f..%2f"],
)
def test_no_path_leads_out(lasting: Served, place: str) -> None:
    answer = ask(lasting, "GET", place)
    assert answer.status == 404
    assert b"root:" not in answer.read()


def test_what_sellers_write_is_text(served: Served) -> None:
    evil = "<script>alert(1)</script><img src=x onerror=alert(2)>"
    listing = served.tonight
    with listing.fresh() as memory:
        one = listing.order[0]
        memory.execute("UPDATE listing SET title = ?, seller = ? WHERE listing_id = ?", [evil, evil, one])
        listing._called = listing._listings = None
    for place in ("/", f"/pair/{anchor(one)}", f"/parcels/{anchor(one)}"):
        text = ask(served, "GET", place).read().decode()
        assert "<script>alert" not in text
        assert "<img src=x" not in text
        assert "&lt;script&gt;" in text
    # A reply is text as well, marked or not.
    body = "text=" + "No+cracks+%3Cscript%3Ealert(3)%3C%2Fscript%3E"
    text = ask(served, "POST", f"/pair/{anchor(one)}/read", body).read().decode()
    assert "<script>alert(3)" not in text
    assert "&lt;script&gt;alert(3)" in text


@pytest.mark.parametrize(
    ("place", "body", "told"),
    [
        ("asked", "", "a form of this page"),
        ("look", f"form={'a' * 32}&look-outsole_shiny=perhaps", "yes, no, not shown"),
        ("bought", f"form={'a' * 32}&on=2026-13-01&price=1", "--on"),
        ("answer", f"form={'a' * 32}&text={'x' * 20_001}", "at most 20000"),
    ],
)
def test_what_a_form_can_not_hold_is_told_and_not_noted(lasting: Served, place: str, body: str, told: str) -> None:
    answer = ask(lasting, "POST", f"/pair/{first(lasting)}/{place}", body)
    assert answer.status == 422
    assert told in answer.read().decode()
    assert journal.read(lasting.tonight.store).notes == ()


def test_random_requests_are_all_answered(tonight: Tonight) -> None:
    # 10,000 of them: python -m tests.desk.random_requests.
    told = run(tonight, 300, 14)
    assert set(told) >= {200, 303, 400, 403, 404, 405}


def test_htmx_is_the_file_it_was() -> None:

    # npm htmx.org 4.0.1, dist/htmx.min.js, licence 0BSD beside it.
    assert (
        hashlib.sha256(assets()["htmx.js"][1]).hexdigest()
        == "a0abb04f2f45a1f89d1d4844023245537e5e6014c87b144553e0607b4cc32130"
    )
    assert (
        "Permission to use, copy, modify" in (Path(__file__).parents[2] / "triage/desk/static/htmx-LICENSE").read_text()
    )
