"""The generated blocks of README.md and DEVELOPERS.md.

``python tests/docs/blocks.py`` writes them anew; a test compares them.
"""

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import typer

from triage import catalogue, cli, store
from triage.catalogue.buyers import Buyer, Want

ROOT = Path(__file__).parent.parent.parent
DOCUMENTS = ("README.md", "DEVELOPERS.md")
EXAMPLE_RULE = "deadstock-storage-age"


def commands() -> str:
    """Return every command with its arguments and options, as the program itself declares them."""
    lines = []
    for name, command in _commands(typer.main.get_command(cli.app)):
        arguments = [one for one in command.params if one.param_type_name == "argument"]
        options = [one for one in command.params if one.param_type_name == "option" and one.name != "help"]
        shown = " ".join([name, *(_shown(one) for one in arguments)])
        lines.append(f"- **`triage {shown}`** {command.help.splitlines()[0]}")
        lines.append("  " + " · ".join(f"`{option.opts[0]}` {option.help.rstrip('.')}" for option in options))
    return "\n".join(lines)


def _commands(group: Any, before: str = "") -> Iterator[tuple[str, Any]]:
    """Yield every command with its name, those of a group of commands one by one."""
    for name, command in group.commands.items():
        if hasattr(command, "commands"):
            yield from _commands(command, f"{before}{name} ")
        else:
            yield f"{before}{name}", command


def _shown(argument: Any) -> str:
    name = argument.metavar or argument.name.upper()
    return (
        ("" if argument.required else "[")
        + name
        + ("..." if argument.nargs == -1 else "")
        + ("" if argument.required else "]")
    )


def rule() -> str:
    """Return one rule file as it is."""
    path = ROOT / "rules" / "penalties" / f"{EXAMPLE_RULE}.toml"
    return f"```toml\n{path.read_text('utf-8').strip()}\n```"


def demo() -> str:
    """Return the figures of the demo night, from its published verdicts."""
    told = json.loads((ROOT / "reports" / "2026-11-25" / "verdicts.json").read_text("utf-8"))
    rows = told["verdicts"]
    buyers = sorted({row["buyer"] for row in rows})
    table = ["| buyer | buy | ask | skip |", "|---|---|---|---|"]
    for buyer in buyers:
        counts = [sum(row["buyer"] == buyer and row["call"] == call for row in rows) for call in ("buy", "ask", "skip")]
        table.append(f"| {buyer} | {counts[0]} | {counts[1]} | {counts[2]} |")
    listings = len({row["listing_id"] for row in rows})
    return f"{listings} open listings on 25 November 2026, weighed for {len(buyers)} buyers:\n\n" + "\n".join(table)


def rules() -> str:
    """Return the list of rules: id, part, weight, source."""
    known = catalogue.load(ROOT / "rules")
    lines = ["| rule | part | decibans | because | source |", "|---|---|---|---|---|"]
    for one in known.rules:
        cells = [one.id, one.part, str(one.weight), one.because, one.source]
        lines.append("| " + " | ".join(cell.replace("|", "\\|").replace("\n", " ") for cell in cells) + " |")
    return "\n".join(lines)


def facts() -> str:
    """Return the list of facts a rule may look at, and how the seller is asked for them."""
    known = catalogue.load(ROOT / "rules")
    lines = ["| fact | type | what | NULL | stage | asked |", "|---|---|---|---|---|---|"]
    for name, fact in known.facts.items():
        what = f"{fact.about} ({fact.unit})" if fact.unit else fact.about
        cells = [name, fact.type, what, fact.null_means, fact.made_by, fact.ask.get("en", "")]
        lines.append("| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |")
    return "\n".join(lines)


def buyer() -> str:
    """Return what a buyer's file may say: every field with its default, as the program itself declares them."""
    lines = ["| field | left out | what |", "|---|---|---|"]
    for table, prefix in ((Buyer, ""), (Want, "want: ")):
        for name, field in table.model_fields.items():
            lines.append(f"| {prefix}{name} | {_default(field)} | {field.description} |")
    return "\n".join(lines)


def _default(field: Any) -> str:
    if field.is_required():
        return "must be there"
    if isinstance(field.default, bool):
        return str(field.default).lower()
    return str(field.default) if isinstance(field.default, (int, float)) or field.default else "-"


def schema() -> str:
    """Return every table and column with its comment."""
    connection = store.connect(comments=True)
    lines = []
    for table, comment in connection.execute(
        "SELECT name, comment FROM ("
        "SELECT table_name AS name, comment, table_oid AS place FROM duckdb_tables() WHERE NOT internal UNION ALL "
        "SELECT view_name, comment, view_oid FROM duckdb_views() WHERE NOT internal) ORDER BY place"
    ).fetchall():
        lines += [f"**{table}**: {comment}", "", "| column | type | |", "|---|---|---|"]
        columns = connection.execute(
            "SELECT column_name, data_type, comment FROM duckdb_columns() WHERE table_name = ? ORDER BY column_index",
            [table],
        ).fetchall()
        lines += [f"| {name} | {kind} | {text} |" for name, kind, text in columns]
        lines.append("")
    connection.close()
    return "\n".join(lines).rstrip()


BLOCKS = {
    "commands": commands, "rule": rule, "buyer": buyer, "demo": demo, "rules": rules, "facts": facts, "schema": schema,
}  # fmt: skip


def filled(text: str) -> str:
    """Return a document with every generated block made anew."""

    def block(found: re.Match[str]) -> str:
        return f"<!-- generated: {found[1]} -->\n{BLOCKS[found[1]]()}\n<!-- end -->"

    return re.sub(r"<!-- generated: (\w+) -->\n.*?<!-- end -->", block, text, flags=re.DOTALL)


if __name__ == "__main__":
    for name in DOCUMENTS:
        path = ROOT / name
        path.write_text(filled(path.read_text("utf-8")), "utf-8")
