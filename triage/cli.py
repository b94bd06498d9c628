"""The command line: its commands, settings and exit codes."""

import os
import sys
from collections.abc import Callable
from typing import Annotated, Any

import typer

from triage import __version__
from triage.commands import arrivals, desk, night, pairs, rules, store
from triage.commands.shared import SETTINGS
from triage.errors import OF_THE_DISK, ROOM, STORE_TROUBLE, TriageError
from triage.stopping import stoppable

app = typer.Typer(
    name="triage",
    help="Nightly triage of saved listings of older athletic and outdoor shoes: buy, ask or skip.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)
app.add_typer(store.app, name="store")
for command in (
    night.begin, night.nightly, pairs.explain, pairs.compare, pairs.shortlist, pairs.answer, desk.desk,
    arrivals.bought, arrivals.inspect, arrivals.calibration, rules.trial, rules.confirm, rules.refit, rules.ageing,
    rules.check,
):  # fmt: skip
    app.command()(command)


def _version(shown: bool) -> None:
    if shown:
        typer.echo(f"triage {__version__}")
        raise typer.Exit


@app.callback()
def options(
    context: typer.Context,
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version and leave.")
    ] = False,
) -> None:
    """Nightly triage of saved listings of older athletic and outdoor shoes: buy, ask or skip."""
    if SETTINGS.is_file():
        from triage.settings import defaults

        context.default_map = defaults(typer.main.get_group(app).commands, SETTINGS)


def _guarded(run: Callable[[], Any]) -> int:
    """Return the exit code of a run; a fault the user can mend, and a signal, is told, not traced."""
    with stoppable() as asked:
        try:
            run()
        except BaseException as error:
            # What a signal broke off is no fault of what was being done, whatever it is called by then.
            if asked.number is not None:
                typer.echo(asked.said, err=True)
                return 128 + asked.number
            if isinstance(error, TriageError):
                typer.echo(str(error), err=True)
                return error.exit_code
            if isinstance(error, OSError) and error.errno in OF_THE_DISK:
                typer.echo(f"{error.filename or 'the disk'}: {error.strerror}; expected {ROOM}", err=True)
                return STORE_TROUBLE
            raise
    return 0


def main() -> None:
    """Run the command line."""
    # Blocks are worked on two at a time already; threads inside each would only wait for one another.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    sys.exit(_guarded(app) or 0)


if __name__ == "__main__":
    main()
