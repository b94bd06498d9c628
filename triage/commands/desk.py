"""The page at home. Heavy imports stay inside the command."""

from datetime import date
from typing import Annotated

import typer

from triage.commands.shared import STORE, AsOf, Buyers, Rules, Store, Tables, day_of, existing
from triage.errors import fail


def desk(
    store: Store = STORE,
    rules: Rules = None,
    constructions: Tables = None,
    buyer: Buyers = None,
    port: Annotated[int, typer.Option("--port", min=0, max=65535, help="Port to listen on; 0: any free one.")] = 0,
    photos: Annotated[
        bool, typer.Option("--photos", help="Let the page load the photos; else they are links.")
    ] = False,
    browser: Annotated[bool, typer.Option("--browser/--no-browser", help="Open the page in the browser.")] = True,
    as_of: AsOf = None,
) -> None:
    """Open tonight's pairs as a page on this machine: look, answer, decide, note what arrived."""
    try:
        from triage.desk.server import serve
    except ModuleNotFoundError as error:
        if (error.name or "").partition(".")[0] not in ("starlette", "uvicorn"):
            raise
        fail("triage desk", f"{error.name} is not installed", "pip install 'triage[desk]'")
    from triage import catalogue
    from triage.desk import published
    from triage.desk.tonight import Tonight
    from triage.store import open_store

    known = catalogue.load(rules, constructions or (), buyer or ())
    if not published.is_of_today(published.path_of(existing(store))):
        # The night was run by an earlier version, or the file was taken away.
        with open_store(store) as connection:
            published.publish(connection, known.values)

    def today() -> date:
        return day_of(as_of)

    files = {path.stem: path for path in buyer or ()}
    serve(Tonight(store, known, today), files, port, photos=photos, browser=browser)
