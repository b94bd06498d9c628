"""Rules, tables and what they say: try, confirm, fit, age, check. Heavy imports stay inside the commands."""

from collections.abc import Container
from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from triage.commands.shared import (
    STORE,
    AsOf,
    Buyers,
    Json,
    Rules,
    Store,
    Tables,
    day_of,
    existing,
    print_json,
)
from triage.errors import TriageError, fail


def trial(
    other: Annotated[Path, typer.Argument(metavar="RULES", help="Folder of the rules to try.")],
    store: Store = STORE,
    constructions: Tables = None,
    buyer: Buyers = None,
    as_of: AsOf = None,
    as_json: Json = False,
) -> None:
    """Show what last night's calls would be under other rules; the store is only read."""
    from triage import catalogue
    from triage.store import open_store
    from triage.trial import last_night, moves, trial_text
    from triage.trial import trial as try_rules

    known = catalogue.load(other, constructions or (), buyer or ())
    with open_store(existing(store)) as connection:
        day = day_of(as_of) if as_of else last_night(connection)
        changed = try_rules(connection, known, day)
    if as_json:
        print_json({"as_of": str(day), "moves": moves(changed).to_dicts(), "changes": changed.to_dicts()})
    else:
        typer.echo(trial_text(changed, str(other)), nl=False)


def confirm(
    listing: Annotated[str, typer.Argument(help="Id of the listing.")],
    release: Annotated[str, typer.Argument(help="Its release in the construction tables, or none.")],
    store: Store = STORE,
    rules: Rules = None,
    constructions: Tables = None,
    as_of: AsOf = None,
) -> None:
    """Record which release a listing is, as you know it for certain."""
    from triage import batch, catalogue
    from triage.store import open_store

    known = catalogue.load(rules, constructions or ())
    with open_store(existing(store)) as connection:
        batch.confirm(connection, known, listing, release, day_of(as_of))


def refit(
    out: Annotated[Path, typer.Argument(help="Folder for the rules with the new numbers; must not exist.")],
    store: Store = STORE,
    rules: Rules = None,
    constructions: Tables = None,
    buyer: Buyers = None,
    apply: Annotated[
        bool, typer.Option("--apply", help="Put them where --rules is; the old ones are kept under a dated name.")
    ] = False,
    as_of: AsOf = None,
    as_json: Json = False,
) -> None:
    """Fit ageing, signs and the matcher to what was found and confirmed; a new rules folder, nothing overwritten."""
    from triage import catalogue
    from triage.learning.refit import REPORT, report_text
    from triage.learning.refit import refit as fit_again
    from triage.store import open_store

    known = catalogue.load(rules, constructions or (), buyer or ())
    beside = (constructions or (), buyer or ())
    with open_store(existing(store)) as connection:
        report = fit_again(connection, known, out, day_of(as_of), apply, beside)
    if as_json:
        print_json(report.content)
        return
    typer.echo(report_text(report), nl=False)
    if report.kept is None:
        typer.echo(f"{out} has them, with this report as {REPORT}; {known.folder} is as it was")
    else:
        typer.echo(f"{known.folder} has the new numbers; the old rules are in {report.kept}")


def ageing(
    material: Annotated[str, typer.Argument(help="Key of a material in rules/ageing/materials.toml.")],
    made: Annotated[str, typer.Option("--made", help="Year of manufacture, or first and last: 1999 or 1999-2002.")],
    climate: Annotated[
        list[str] | None,
        typer.Option(
            "--climate",
            help="Key of rules/climates.csv; repeatable for one place after another, KEY:YEAR for the year it left.",
        ),
    ] = None,
    stated: Annotated[bool, typer.Option("--stated", help="The place itself is stated.")] = False,
    worn_until: Annotated[int | None, typer.Option("--worn-until", help="Year last worn without failing.")] = None,
    boxed: Annotated[bool, typer.Option("--boxed", help="Kept in a closed box.")] = False,
    rules: Rules = None,
    as_of: AsOf = None,
    as_json: Json = False,
) -> None:
    """Show how a material ages in storage, by the same arithmetic as the night."""
    from triage import catalogue
    from triage.prognosis.single import Life, Stay, age_of
    from triage.writeup.lists import ageing_text

    known, day = catalogue.load(rules), day_of(as_of)
    if material not in known.materials:
        fail(f"material {material}", "no such key", f"one of {', '.join(sorted(known.materials))}")
    lain = _stays(climate or ["unknown"], known.climates.climates, day)
    life = Life(
        _years(made, day), tuple(Stay(known.climates.climates[k], y) for k, y in lain), stated, worn_until, boxed
    )
    rows, one = age_of(known.materials[material], life, day), known.materials[material]
    if as_json:
        print_json({"material": material, "basis": one.basis, "as_of": str(day), "rows": rows.to_dicts()})
    else:
        typer.echo(ageing_text(rows, one.name, one.fails, one.basis, day), nl=False)


def check(
    feeds: Annotated[list[Path] | None, typer.Argument(help="Exports: show what each column would become.")] = None,
    rules: Rules = None,
    constructions: Tables = None,
    buyer: Buyers = None,
    text: Annotated[str | None, typer.Option("--text", help="A listing's text: show what is read from it.")] = None,
    gaps: Annotated[bool, typer.Option("--gaps", help="Show what is offered often and in no table.")] = False,
    store: Store = STORE,
) -> None:
    """Check rules, tables and maps; with exports or a text, show how they would be read. Stores nothing."""
    from triage import batch, catalogue
    from triage.catalogue.sources import uncited
    from triage.rules import check_rules, columns_of

    known = catalogue.load(rules, constructions or (), buyer or ())
    problems = [
        *uncited(known.folder, known.sources),
        *check_rules(known.rules, columns_of(known.facts, tuple(known.signs))),
    ]
    if problems:
        raise TriageError(problems)
    if feeds:
        from triage.ingest.preview import preview
        from triage.writeup.lists import preview_text

        for feed in feeds:
            if not feed.is_file():
                fail(str(feed), "no such file", "a saved export")
            typer.echo(preview_text(preview(feed, known.feeds)), nl=False)
    if text is not None:
        from triage.observation import read_text
        from triage.observation.show import marked
        from triage.writeup.lists import reading_text

        read = read_text(text, known.reading)
        typer.echo(reading_text(marked(text, read), read), nl=False)
    if store.is_file():
        from triage.store import open_store

        with open_store(store) as connection:
            remarks = batch.remarks(connection, known)
        typer.echo("".join(f"{remark}\n" for remark in remarks), nl=False)
    if gaps:
        from triage.store import open_store

        with open_store(existing(store)) as connection:
            typer.echo(batch.gaps_text(connection, known))
    if not feeds and text is None and not gaps:
        typer.echo(batch.catalogue_text(known))


def _stays(texts: list[str], known: Container[str], day: date) -> list[tuple[str, int | None]]:
    """Return key and last year of each place; only the last may do without a year, and years rise."""
    found: list[tuple[str, int | None]] = []
    for place, text in enumerate(texts, 1):
        key, _, year = text.partition(":")
        if key not in known:
            fail(f"--climate {text}", f"no climate {key!r}", "a key of rules/climates.csv")
        last = place == len(texts)
        least = found[-1][1] or 1900 if found else 1900
        if year and not (year.isdigit() and least <= int(year) <= day.year):
            fail(f"--climate {text}", f"year {year!r}", f"a year from {least} to {day.year}")
        if bool(year) == last:
            fail(f"--climate {text}", "a year" if last else "no year", "KEY:YEAR for every place but the last")
        found.append((key, int(year) if year else None))
    return found


def _years(text: str, day: date) -> tuple[int, int]:
    first, _, last = text.partition("-")
    if not (first.isdigit() and (last or first).isdigit() and 1900 <= int(first) <= int(last or first) <= day.year):
        fail("--made", f"is {text!r}", f"a year, or two joined by -, from 1900 to {day.year}")
    return int(first), int(last or first)
