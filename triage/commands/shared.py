"""Options that several commands share, and what they do with them."""

import json
from datetime import date, datetime
from pathlib import Path
from typing import Annotated, Any

import typer

from triage.errors import fail

Store = Annotated[Path, typer.Option("--store", help="The file that keeps everything.")]
STORE = Path("triage.duckdb")
Rules = Annotated[Path | None, typer.Option("--rules", help="Folder of rules; the program's own when left out.")]
Tables = Annotated[list[Path] | None, typer.Option("--constructions", help="Further construction table; repeatable.")]
Buyers = Annotated[
    list[Path] | None, typer.Option("--buyer", help="Buyer file; repeatable. Replaces the example buyers.")
]
AsOf = Annotated[str | None, typer.Option("--as-of", help="Date all figures refer to, YYYY-MM-DD; else today.")]
Out = Annotated[Path, typer.Option("--out", help="Folder of the reports.")]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON object.")]
Page = Annotated[Path | None, typer.Option("--page", help="Also write it as a page, to this file.")]
REPORTS = Path("reports")
SETTINGS = Path("triage.toml")


def day_of(text: str | None) -> date:
    """Return the date a command is for; today without one."""
    if text is None:
        return datetime.now().astimezone().date()
    try:
        return date.fromisoformat(text)
    except ValueError:
        fail("--as-of", f"is {text!r}", "a date YYYY-MM-DD")


def existing(store: Path) -> Path:
    """Return the store's path; fail where there is none."""
    if not store.is_file():
        fail(f"--store {store}", "no such file", "a store that 'triage nightly' has made")
    return store


def print_json(content: dict[str, Any]) -> None:
    """Print one JSON object with the version of its schema."""
    typer.echo(json.dumps({"schema_version": 1, **content}, ensure_ascii=False, indent=1, sort_keys=True, default=str))
