"""``triage desk`` as it is started: by its address, without the extra, and ended the hard way."""

import builtins
import http.client
import random
import signal
import socket
import subprocess
import sys
import threading
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from typer.testing import CliRunner

from tests.desk.conftest import AS_OF, ROOT
from triage import journal
from triage.cli import _guarded, app
from triage.desk.tonight import Tonight
from triage.writeup.ticket import anchor

DESK = [sys.executable, "-m", "triage.cli", "desk", "--no-browser", "--as-of", str(AS_OF)]


def test_kill_9_of_the_page_loses_no_answer_it_acknowledged(tonight: Tonight) -> None:
    with tonight.fresh():
        order = tonight.order
    buyer = ["--buyer", str(ROOT / "rules" / "buyers" / "daily.toml")]
    page = subprocess.Popen([*DESK, "--store", str(tonight.store), *buyer], stdout=subprocess.PIPE, text=True)
    start = urlsplit(page.stdout.readline().strip())
    own = f"{start.hostname}:{start.port}"
    connection = http.client.HTTPConnection(own, timeout=30)
    connection.request("GET", f"{start.path}?{start.query}")
    answer = connection.getresponse()
    answer.read()
    cookie = answer.getheader("set-cookie").split(";")[0]
    headers = {"Cookie": cookie, "Origin": f"http://{own}", "Sec-Fetch-Site": "same-origin"}
    told, number = [], 0
    try:
        while number < 500:
            if number == 3:
                threading.Timer(random.Random(14).uniform(0.1, 0.6), page.send_signal, [signal.SIGKILL]).start()
            text = f"the foam springs back {number}"
            body = f"form={number:032x}&text={text.replace(' ', '+')}"
            place = f"/pair/{anchor(order[number % len(order)])}/answer"
            connection.request("POST", place, body, headers)
            answer = connection.getresponse()
            answer.read()
            assert answer.status == 303
            told.append(text)
            number += 1
    except (OSError, http.client.HTTPException):
        pass
    finally:
        page.kill()
    assert page.wait(30) == -signal.SIGKILL
    held = journal.read(tonight.store)
    kept = [note.content["text"] for note in held.notes]
    assert len(told) >= 3
    assert kept[: len(told)] == told
    assert len(kept) <= len(told) + 1
    # Opened again, the page has them.
    with tonight.fresh() as memory:
        assert memory.execute("SELECT count(*) FROM note").fetchall() == [(len(kept),)]


def test_without_the_extra_the_command_says_in_one_line_what_to_install(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], store: Path
) -> None:
    real = builtins.__import__

    def without(name: str, *rest: object) -> object:
        if name.partition(".")[0] in ("starlette", "uvicorn"):
            raise ModuleNotFoundError(f"No module named {name!r}", name=name)
        return real(name, *rest)

    for name in [
        one for one in sys.modules if one.startswith(("triage.desk.server", "triage.desk.site", "triage.desk.guard"))
    ]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setattr(builtins, "__import__", without)
    code = _guarded(lambda: app(["desk", "--store", str(store)], standalone_mode=False))
    assert code == 2
    told = capsys.readouterr().err
    assert told == "triage desk: uvicorn is not installed; expected pip install 'triage[desk]'\n"


def test_a_store_that_is_not_there_and_a_port_that_is_taken_are_told(store: Path, tmp_path: Path) -> None:
    told = CliRunner().invoke(app, ["desk", "--store", str(tmp_path / "none.duckdb"), "--no-browser"])
    assert "no such file" in str(told.exception)
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = str(taken.getsockname()[1])
        told = CliRunner().invoke(app, ["desk", "--store", str(store), "--no-browser", "--port", port])
    assert f"--port {port}" in str(told.exception)
