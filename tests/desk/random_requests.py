"""Random requests at the page: none may be answered by a 5xx or not at all, none may leave its place.

    python -m tests.desk.random_requests STORE [COUNT] [SEED]

STORE is one on which a night was run; what the requests note goes to a copy of it.
"""

import http.client
import random
import shutil
import socket
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from urllib.parse import quote

import uvicorn

from triage import catalogue
from triage.desk import published
from triage.desk.guard import Guard
from triage.desk.site import site
from triage.desk.tonight import Tonight

TOKEN = "a-token-of-the-tests"
PLACES = ("/", "/start", "/parcels", "/knowledge", "/file/desk.css", "/file/htmx.js", "/pair/", "/parcels/", "/file/")
ENDS = ("what-if", "look", "answer", "read", "asked", "no-reply", "sold", "open", "bought", "nothing", "")
ODD = (
    "../../etc/passwd", "%2e%2e%2f%2e%2e%2fetc/passwd", "..%5c..", "\x00", "é", "加水分解", "a" * 3000, "-1", "1e999",
    "nan", "0x10", "１２", "yes", "no", "not shown", "2026-02-30", "9999-12-31", "'; DROP TABLE note --", "{{ 7 * 7 }}",
    "<script>alert(1)</script>", "\ud800", "\r\nSet-Cookie: a=b", "%", "%zz", "wear", "stored_attic", "1990", "40",
    "a" * 32, "",
)  # fmt: skip
FIELDS = (
    "form", "text", "price", "purpose", "repair", "storage", "year", "on", "buyer", "arrived", "wears", "photos",
    "look-outsole_shiny", "told-midsole_springy", "found-midsole", "note-midsole", "token", "unheard-of",
)  # fmt: skip


@contextmanager
def serving(tonight: Tonight) -> Iterator[int]:
    """Serve the page as the command does, within this process; yield its port."""
    listening = socket.create_server(("127.0.0.1", 0))
    port = listening.getsockname()[1]
    config = uvicorn.Config(
        Guard(site(tonight, {}), port, TOKEN), log_level="error", access_log=False, lifespan="off", server_header=False
    )
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    try:
        yield port
    finally:
        server.should_exit = True
        thread.join(10)


def ask(port: int, draw: random.Random, names: list[str]) -> tuple[str, int, dict[str, str], bytes]:
    """Send one random request; return what was asked, the status, the headers and the body of the answer."""
    method = draw.choice(["GET"] * 6 + ["POST"] * 9 + ["HEAD", "PUT", "OPTIONS", "ODD"])
    place = draw.choice(PLACES)
    if method == "POST" and draw.random() < 0.8:
        place = draw.choice(["/pair/", "/pair/", "/pair/", "/parcels/"])
    if place.endswith("/") and place != "/":
        place += draw.choice(
            [draw.choice(names), quote(odd(draw), errors="surrogatepass"), odd(draw).replace(" ", "+")]
        )
        place += draw.choice(["", "/" + draw.choice(ENDS)])
    values = [draw.choice([quote(odd(draw), errors="surrogatepass"), odd(draw)]) for _ in range(draw.randrange(6))]
    fields = "&".join(f"{draw.choice(FIELDS)}={value}" for value in values)
    fields += draw.choice(["", f"&form={draw.getrandbits(128):032x}"])
    body = fields.encode("utf-8", "replace") if method in ("POST", "PUT") else b""
    if method == "GET" and draw.random() < 0.6:
        place += "?" + fields
    headers = {
        "Host": draw.choice([f"127.0.0.1:{port}"] * 12 + [f"localhost:{port}", "example.org", "127.0.0.1"]),
        "Cookie": draw.choice([f"desk-{port}={TOKEN}"] * 9 + ["", f"desk-{port}=wrong", ";;=;", '"'] ),
        "Origin": draw.choice([f"http://127.0.0.1:{port}"] * 9 + ["null", f"http://127.0.0.1:{port + 1}"]),
        "Sec-Fetch-Site": draw.choice(["same-origin"] * 9 + ["cross-site", "same-site", "none"]),
        "Content-Length": draw.choice([str(len(body))] * 12 + ["999999999", "-1", "x"]) if body else "0",
        "HX-Request": draw.choice(["true", "false", "x"]),
    }  # fmt: skip
    if headers["Content-Length"] not in (str(len(body)), "0"):
        body = b""  # what is announced and never sent would only be waited for
        headers["Connection"] = "close"
    clean = "".join(one if " " < one < "\x7f" else quote(one, errors="surrogatepass") for one in place)
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    try:
        connection.putrequest(method, clean, skip_host=True, skip_accept_encoding=True)
        for name, value in headers.items():
            connection.putheader(name, value)
        connection.endheaders(body or None)
        answer = connection.getresponse()
        held = answer.read()
        return f"{method} {clean[:200]} {headers}", answer.status, dict(answer.getheaders()), held
    finally:
        connection.close()


def odd(draw: random.Random) -> str:
    """Return an odd text: a known one, or a few characters of anything."""
    if draw.random() < 0.7:
        return draw.choice(ODD)
    return "".join(
        chr(draw.choice([draw.randrange(32, 127), draw.randrange(0x20, 0xD7FF)])) for _ in range(draw.randrange(9))
    )


def run(tonight: Tonight, count: int, seed: int) -> Counter[int]:
    """Send random requests and return how often each status came; raise at the first that is a fault of ours."""
    draw, told = random.Random(seed), Counter[int]()
    with tonight.fresh():
        names = list(tonight.names)[:30]
    with serving(tonight) as port:
        for _ in range(count):
            asked, status, headers, held = ask(port, draw, names)
            told[status] += 1
            assert status < 500, f"{status} for {asked}"
            # What the server itself turns away as no HTTP never reaches the guard.
            marked = "content-security-policy" in headers
            assert marked or (status == 400 and b"Invalid HTTP request" in held), f"{asked}: {headers}"
            assert b"root:" not in held, f"left its place: {asked}"
            assert "a" not in headers.get("set-cookie", "")[:2], f"header taken over: {asked}"
    return told


def main() -> None:
    """Run by hand."""
    store, count, seed = Path(sys.argv[1]), int((sys.argv[2:] or [10_000])[0]), int((sys.argv[3:] or [14])[0])
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder, store.name)
        for path in (store, published.path_of(store)):
            shutil.copy(path, Path(folder, path.name))
        told = run(Tonight(copy, catalogue.load(), lambda: date(2026, 11, 25)), count, seed)
    print(
        f"{count} requests, seed {seed}: "
        + ", ".join(f"{number} x {status}" for status, number in sorted(told.items()))
    )


if __name__ == "__main__":
    main()
