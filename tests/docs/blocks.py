"""The generated blocks of README.md and DEVELOPERS.md.

``python tests/docs/blocks.py`` writes them anew; a test compares them.
"""

import json
import re
import subprocess
import sys
from pathlib import Path

from triage import catalogue, store

ROOT = Path(__file__).parent.parent.parent
DOCUMENTS = ("README.md", "DEVELOPERS.md")
EXAMPLE_RULE = "deadstock-storage-age"


def commands() -> str:
    """Return the help of every command."""
    told = []
    for name in ("nightly", "explain", "compare", "shortlist", "answer", "check"):
        done = subprocess.run(
            [sys.executable, "-m", "triage.cli", name, "--help"], capture_output=True, text=True, check=True,
            env={"PATH": "", "COLUMNS": "100", "TERM": "dumb", "NO_COLOR": "1"}, cwd=ROOT,
        )  # fmt: skip
        lines = [line.rstrip() for line in done.stdout.splitlines() if line.strip()]
        told.append("\n".join(lines).replace("python -m triage.cli", "triage"))
    return "```\n" + "\n\n".join(told) + "\n```"


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


def schema() -> str:
    """Return every table and column with its comment."""
    connection = store.connect()
    lines = []
    for table, comment in connection.execute(
        "SELECT table_name, comment FROM duckdb_tables() WHERE NOT internal ORDER BY table_oid"
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


BLOCKS = {"commands": commands, "rule": rule, "demo": demo, "rules": rules, "schema": schema}


def filled(text: str) -> str:
    """Return a document with every generated block made anew."""

    def block(found: re.Match[str]) -> str:
        return f"<!-- generated: {found[1]} -->\n{BLOCKS[found[1]]()}\n<!-- end -->"

    return re.sub(r"<!-- generated: (\w+) -->\n.*?<!-- end -->", block, text, flags=re.DOTALL)


if __name__ == "__main__":
    for name in DOCUMENTS:
        path = ROOT / name
        path.write_text(filled(path.read_text("utf-8")), "utf-8")
