"""The night itself, and a folder to run it in. Heavy imports stay inside the commands."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from triage.commands.shared import (
    REPORTS,
    SETTINGS,
    STORE,
    AsOf,
    Buyers,
    Json,
    Out,
    Rules,
    Store,
    Tables,
    day_of,
    print_json,
)
from triage.errors import fail

if TYPE_CHECKING:
    from triage.spread import Spread


def begin(
    folder: Annotated[Path, typer.Argument(help="The folder to lay out, new or empty.")],
    rules: Rules = None,
    asking: Annotated[
        bool | None, typer.Option("--ask/--defaults", help="Put the questions, or take the usual answers.")
    ] = None,
) -> None:
    """Lay out a working folder: inbox, settings, a buyer, a construction table, schedules."""
    from triage import catalogue
    from triage.begin import begin as lay_out

    typer.echo(lay_out(folder, catalogue.load(rules), sys.stdin.isatty() if asking is None else asking))


def nightly(
    feeds: Annotated[
        list[Path] | None, typer.Argument(help="Saved exports: files or folders; else those of triage.toml.")
    ] = None,
    store: Store = STORE,
    rules: Rules = None,
    constructions: Tables = None,
    buyer: Buyers = None,
    as_of: AsOf = None,
    out: Out = REPORTS,
    backups: Annotated[
        int, typer.Option("--backups", min=0, help="Copies of the store to keep; 0: none is made.")
    ] = 14,
    strict: Annotated[bool, typer.Option("--strict", help="Exit with 1 when rows were rejected.")] = False,
    photos: Annotated[
        bool, typer.Option("--photos", help="Let the page load the photos; else they are links.")
    ] = False,
    mail_from: Annotated[
        str, typer.Option("--mail-from", help="Sender of the letter, digest.eml.")
    ] = "triage@localhost",
    mail_to: Annotated[str, typer.Option("--mail-to", help="Whom the letter is for.")] = "",
    sellers: Annotated[
        bool,
        typer.Option("--sellers", help="Name the sellers in verdicts.csv, .xlsx and .json; else they are left out."),
    ] = False,
    scheduler: Annotated[
        str,
        typer.Option("--scheduler", help="Dask scheduler to spread the work over; else it is done here."),
    ] = "",
    partitions: Annotated[
        int, typer.Option("--partitions", min=0, help="Partitions of the spread work; 0: by workers and listings.")
    ] = 0,
    quiet: Annotated[bool, typer.Option("--quiet", "-q", help="Print nothing but errors.")] = False,
    as_json: Json = False,
) -> None:
    """Read exports, weigh every open listing and write the report of the night."""
    from triage import batch, catalogue, writeup
    from triage.keeping.clock import see_clock
    from triage.progress import steps
    from triage.store import open_store
    from triage.writeup.terminal import summary

    if not feeds:
        fail("FEEDS", "no exports named", f"files or folders, or a {SETTINGS} here: 'triage begin FOLDER' lays one out")
    day, look = day_of(as_of), writeup.Look(photos, mail_from, mail_to, sellers)
    known = catalogue.load(rules, constructions or (), buyer or ())
    with (
        _spread(scheduler, partitions) as spread,
        open_store(store, keep=backups) as connection,
        steps(batch.STEPS, quiet=quiet or as_json) as step,
    ):
        if as_of is None:
            see_clock(connection, day)
        night = batch.nightly(connection, known, feeds, day, out, look, step, spread)
        told = None if quiet or as_json else summary(connection, day)
    if as_json:
        print_json(
            {"as_of": str(day), "account": night.account.to_dicts(), "calls": night.calls.to_dicts(),
             "page": str(night.page), "rejected": night.rejected}
        )  # fmt: skip
    elif told is not None:
        typer.echo(batch.account_text(night), nl=False)
        told.show()
        typer.echo(f"report: {night.page}")
    if strict and night.rejected:
        raise typer.Exit(1)


@contextmanager
def _spread(scheduler: str, partitions: int) -> Iterator["Spread | None"]:
    """Yield where the work of a night goes: to the workers of a scheduler; None: nowhere else."""
    if not scheduler:
        yield None
        return
    try:
        from triage.spread.cluster import reach
    except ModuleNotFoundError as error:
        if (error.name or "").partition(".")[0] not in ("distributed", "dask"):
            raise
        fail(f"--scheduler {scheduler}", f"{error.name} is not installed", "pip install 'triage[cluster]'")
    from triage.spread import Spread

    with reach(scheduler) as workers:
        yield Spread(workers, partitions or None)
