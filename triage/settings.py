"""``triage.toml`` of a working folder: what the command line need not say every night."""

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field

from triage.catalogue.documents import Document, read_toml, validated
from triage.errors import USAGE, Problem, TriageError

# Keys that every command with an option of that name takes; the others are the night's own.
SHARED = ("store", "rules", "constructions", "buyer")
# Commands beside the night that write, or remove, among the reports.
AMONG_REPORTS = ("inspect", "calibration", "forget")


class Settings(Document):
    """Keys are the options of ``triage nightly``, meanings too; what is left out has the option's default."""

    feeds: tuple[str, ...] = ("inbox",)
    store: str | None = None
    out: str | None = None
    rules: str | None = None
    buyer: tuple[str, ...] = ()
    constructions: tuple[str, ...] = ()
    strict: bool = False
    photos: bool = False
    sellers: bool = False
    scheduler: str | None = None
    partitions: Annotated[int, Field(ge=0)] = 0
    quiet: bool = False
    backups: Annotated[int, Field(ge=0)] = 14
    mail_from: str | None = None
    mail_to: str | None = None


def defaults(commands: Mapping[str, Any], file: Path) -> dict[str, dict[str, Any]]:
    """Return what a settings file says, as defaults by command and option; empty where there is no file.

    Args:
        commands: The commands by name; one that has commands of its own names them in ``commands``.
        file: The settings file.

    Raises:
        TriageError: The file can't be read, or holds a key or a value that no option has; every fault is listed.
    """
    if not file.is_file():
        return {}
    problems: list[Problem] = []
    values = read_toml(file, problems)
    told = validated(Settings, values, file, problems) if values is not None else None
    if told is None:
        raise TriageError(problems, USAGE)
    given = {name: value for name, value in told.model_dump().items() if value not in (None, ())}
    given = {name: list(value) if isinstance(value, tuple) else value for name, value in given.items()}
    found: dict[str, dict[str, Any]] = {}
    for name, command in commands.items():
        below = getattr(command, "commands", None)
        found[name] = {one: _of(one, given) for one in below} if below else _of(name, given)
    return found


def _of(command: str, given: dict[str, Any]) -> dict[str, Any]:
    """Return the settings that a command takes."""
    keys = (*SHARED, "out") if command in AMONG_REPORTS else SHARED
    return given if command == "nightly" else {name: value for name, value in given.items() if name in keys}
