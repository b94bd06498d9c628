"""The commands that look after the store: ``triage store ...``. Heavy imports stay inside the commands."""

import time
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Annotated

import typer

from triage.commands.shared import REPORTS, STORE, Out, Store
from triage.errors import fail

app = typer.Typer(no_args_is_help=True, rich_markup_mode=None)


@app.callback()
def options() -> None:
    """Look after the store: verify, backup, restore, recover, forget."""


@app.command()
def verify(store: Store = STORE) -> None:
    """Read every block, recount every ledger line, and see that the accounts add up."""
    from triage.keeping.verify import verify as check
    from triage.store import open_store

    _there(store)
    with open_store(store) as connection:
        typer.echo(f"{store}: {check(connection, str(store))}")


@app.command()
def backup(
    store: Store = STORE,
    keep: Annotated[int, typer.Option("--keep", min=1, help="Copies that stay, the newest.")] = 14,
) -> None:
    """Make a checked copy now; the night makes one before and one after by itself."""
    from triage.keeping import copies
    from triage.keeping.held import held, private
    from triage.store import open_store

    _there(store)
    with open_store(store):
        pass
    with held(store), private():
        typer.echo(str(copies.backup(store, "asked", keep)))


@app.command()
def restore(
    copy: Annotated[
        str | None, typer.Option("--copy", help="Name of a copy; the newest sound one if left out.")
    ] = None,
    drill: Annotated[
        bool, typer.Option("--drill", help="Bring it back elsewhere, verify it, replace nothing.")
    ] = False,
    store: Store = STORE,
) -> None:
    """Bring a copy back; what it replaces is kept among the copies."""
    from triage.keeping import copies
    from triage.keeping.held import held, private
    from triage.keeping.verify import verify as check
    from triage.store import open_store

    start = time.monotonic()
    with held(store), private():
        copies.sweep(store)
        if drill:
            with TemporaryDirectory(prefix=copies.drill_prefix(store), dir=store.parent) as folder:
                place = Path(folder, store.name)
                chosen, _ = copies.restore(store, copy, place)
                with open_store(place) as connection:
                    found = check(connection, chosen.path.name)
            typer.echo(f"{chosen.path.name} comes back whole in {time.monotonic() - start:.1f} s: {found}")
            return
        chosen, aside = copies.restore(store, copy)
    with open_store(store) as connection:
        found = check(connection, str(store))
    typer.echo(f"{store} is {chosen.path.name} again: {found}")
    if aside is not None:
        typer.echo(f"what stood there is kept as {aside}")
    typer.echo("run the night again: exports recorded since are read again; answers since have to be given again")


@app.command()
def recover(store: Store = STORE) -> None:
    """Take over what can be read of a damaged log (the .wal file), and keep the whole of it aside."""
    from triage.keeping import copies
    from triage.keeping.held import held, private
    from triage.keeping.recover import recover as take_over

    _there(store)
    with held(store), private():
        copies.sweep(store)
        done = take_over(store)
    if done is None:
        typer.echo(f"{store}: nothing to recover; its log, if any, could be read")
        return
    typer.echo(
        f"{store}: {done.kept} of {done.of} bytes of its log could be read and are taken over; the rest is lost from "
        f"it, and kept as {done.aside}.wal. Run the night again: it reads the exports of the lost part again; answers "
        "given in the run that did not end have to be given again"
    )


@app.command()
def forget(
    seller: Annotated[str, typer.Option("--seller", help="Name as the exports have it, on whatever marketplace.")],
    store: Store = STORE,
    out: Out = REPORTS,
) -> None:
    """Remove a seller's name, texts and answers for good: from the store, its copies and the reports."""
    from triage import journal
    from triage.desk import published
    from triage.keeping.forget import forget as take_out
    from triage.keeping.held import held, private
    from triage.store import open_store
    from triage.writeup.forget import forgotten_text, take_away

    _there(store)
    with open_store(store):
        pass

    def from_beside(words: list[str]) -> int:
        # The last word is the name itself, those before it are the ids of the listings.
        journal.forget(store, words[:-1])
        published.path_of(store).unlink(missing_ok=True)
        return take_away(out, words)

    with held(store), private():
        done = take_out(store, seller, from_beside)
    typer.echo(forgotten_text(done, seller), nl=False)


def _there(store: Path) -> None:
    if not store.is_file():
        fail(f"--store {store}", "no such file", "a store that 'triage nightly' has made, or 'triage store restore'")
