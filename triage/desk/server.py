"""Serve the page to this machine's browser until it is stopped."""

import secrets
import socket
import sys
import webbrowser
from collections.abc import Mapping
from pathlib import Path

import uvicorn

from triage.desk.guard import Guard
from triage.desk.site import site
from triage.desk.tonight import Tonight
from triage.errors import fail


def serve(
    tonight: Tonight, buyer_files: Mapping[str, Path], port: int, *, photos: bool = False, browser: bool = True
) -> None:
    """Serve until a signal asks to end; what was saved is on the disk whenever and however that is.

    Args:
        buyer_files: Where buyers are edited, by id.
        port: Port; 0 for any free one.
        photos: Let the page load photos.
        browser: Open the start address.

    Raises:
        TriageError: The published night can't be read, or the port is taken.
    """
    with tonight.fresh():
        pass
    try:
        listening = socket.create_server(("127.0.0.1", port))
    except OSError as error:
        fail(f"--port {port}", str(error.strerror or error), "a free port; 0 takes any")
    with listening:
        port, token = listening.getsockname()[1], secrets.token_urlsafe(32)
        app = Guard(site(tonight, buyer_files, photos), port, token, images=photos)
        address = f"http://127.0.0.1:{port}/start?token={token}"
        sys.stdout.write(f"{address}\n")
        sys.stdout.flush()
        sys.stderr.write("open that address in this machine's browser; Ctrl-C ends the page\n")
        if browser:
            webbrowser.open(address)
        # The token stands in the start address, so nothing of a request is logged.
        config = uvicorn.Config(app, log_level="warning", access_log=False, server_header=False, lifespan="off")
        uvicorn.Server(config).run(sockets=[listening])
