"""The command line: commands and options, no logic. Heavy imports stay inside the commands."""

import json
import os
import sys
from collections.abc import Callable, Container
from datetime import date, datetime
from pathlib import Path
from typing import Annotated, Any

import typer

from triage import __version__, cli_store
from triage.cli_store import STORE, Store
from triage.errors import OF_THE_DISK, ROOM, STORE_TROUBLE, TriageError, fail
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
app.add_typer(cli_store.app, name="store")

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


def _day(text: str | None) -> date:
    if text is None:
        return datetime.now().astimezone().date()
    try:
        return date.fromisoformat(text)
    except ValueError:
        fail("--as-of", f"is {text!r}", "a date YYYY-MM-DD")


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


@app.command()
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


@app.command()
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
    day, look = _day(as_of), writeup.Look(photos, mail_from, mail_to)
    known = catalogue.load(rules, constructions or (), buyer or ())
    with open_store(store, keep=backups) as connection, steps(batch.STEPS, quiet=quiet or as_json) as step:
        if as_of is None:
            see_clock(connection, day)
        night = batch.nightly(connection, known, feeds, day, out, look, step)
        told = None if quiet or as_json else summary(connection, day)
    if as_json:
        _print_json(
            {"as_of": str(day), "account": night.account.to_dicts(), "calls": night.calls.to_dicts(),
             "page": str(night.page), "rejected": night.rejected}
        )  # fmt: skip
    elif told is not None:
        typer.echo(batch.account_text(night), nl=False)
        told.show()
        typer.echo(f"report: {night.page}")
    if strict and night.rejected:
        raise typer.Exit(1)


@app.command()
def explain(
    listing: Annotated[str, typer.Argument(help="Id of the listing, as the reports show it.")],
    store: Store = STORE,
    rules: Rules = None,
    constructions: Tables = None,
    buyer: Buyers = None,
) -> None:
    """Show the whole chain for a listing, from the raw row to the last euro."""
    from triage import catalogue
    from triage.observation.show import marked
    from triage.store import open_store
    from triage.writeup.terminal import explain as chain

    known = catalogue.load(rules, constructions or (), buyer or ())
    with open_store(_existing(store)) as connection:
        typer.echo(chain(connection, known, listing, marked), nl=False)


@app.command()
def compare(
    model: Annotated[str, typer.Argument(help="Model, with or without maker, or the id of a release.")],
    store: Store = STORE,
    rules: Rules = None,
    constructions: Tables = None,
    buyer: Buyers = None,
    as_of: AsOf = None,
    page: Page = None,
    as_json: Json = False,
) -> None:
    """Compare deadstock and worn pairs of one model, purpose by purpose."""
    from triage import batch, catalogue
    from triage.store import open_store
    from triage.verdict.comparison import compare as weigh
    from triage.verdict.comparison import indifference, pairs_of, recommended
    from triage.writeup.compare_text import comparison_text, recommendation

    known = catalogue.load(rules, constructions or (), buyer or ())
    one = next(iter(known.buyers.values()))
    with open_store(_existing(store)) as connection:
        pairs = pairs_of(connection, model)
        if pairs.is_empty():
            fail(f"model {model}", "no open pair of it in the store", "a model or release of the construction tables")
        batch.set_todo(connection, pairs["listing_id"].to_list())
        rows = weigh(connection, batch.ground(known), one, pairs, _day(as_of))
        gaps, best = indifference(rows), recommended(rows, one)
        if page:
            from triage.writeup.compare import comparison_page
            from triage.writeup.folder import write_file

            write_file(page, comparison_page(connection, known, rows, gaps, (model, one.id)))
    if as_json:
        words = recommendation(best, one.currency)
        _print_json(
            {"buyer": one.id, "pairs": rows.to_dicts(), "gaps": gaps.to_dicts(), "best": best, "recommendation": words}
        )
    else:
        typer.echo(comparison_text(rows, gaps, best, one.name, one.currency), nl=False)


@app.command()
def shortlist(
    buyer_id: Annotated[str, typer.Argument(metavar="BUYER", help="Id of a buyer.")],
    store: Store = STORE,
    rules: Rules = None,
    constructions: Tables = None,
    buyer: Buyers = None,
    page: Page = None,
    as_of: AsOf = None,
    as_json: Json = False,
) -> None:
    """Make a short list for a buyer: three to five pairs that don't fail for the same reason, and what a purse buys."""
    from triage import catalogue
    from triage.store import open_store
    from triage.verdict.shortlist import shortlist as choose
    from triage.writeup.shortlist_text import shortlist_json, shortlist_text

    known = catalogue.load(rules, constructions or (), buyer or ())
    if buyer_id not in known.buyers:
        fail(f"buyer {buyer_id}", "no such buyer", f"one of {', '.join(sorted(known.buyers))}")
    one, day = known.buyers[buyer_id], _day(as_of)
    with open_store(_existing(store)) as connection:
        found = choose(connection, one, known.repairs, known.costs, day)
        if page:
            from triage.writeup.folder import write_file
            from triage.writeup.shortlist import shortlist_page

            write_file(page, shortlist_page(connection, known, found.lines, one.id))
    if as_json:
        _print_json(shortlist_json(found, one, day))
    else:
        typer.echo(shortlist_text(found, one, day), nl=False)


@app.command()
def answer(
    listing: Annotated[str | None, typer.Argument(help="Id of the listing.")] = None,
    sign: Annotated[str | None, typer.Argument(help="Sign that was asked for.")] = None,
    told: Annotated[
        str | None, typer.Argument(metavar="[yes|no|none]", help="What was answered; none = no reply.")
    ] = None,
    store: Store = STORE,
    rules: Rules = None,
    constructions: Tables = None,
    buyer: Buyers = None,
    file: Annotated[Path | None, typer.Option("--file", help="CSV file of answers, taken whole or not at all.")] = None,
    by: Annotated[str, typer.Option("--by", help="seller, or buyer for what you see in the photos.")] = "seller",
    text: Annotated[
        str | None, typer.Option("--text", help="The words themselves; without a sign they are read for every sign.")
    ] = None,
    as_of: AsOf = None,
) -> None:
    """Record what was answered, or a file of answers, weigh these listings anew and show which calls change."""
    from triage import answers, catalogue
    from triage.store import open_store
    from triage.writeup.history import answered

    known, day = catalogue.load(rules, constructions or (), buyer or ()), _day(as_of)
    cells = {"listing": listing, "sign": sign, "answer": told, "by": by, "text": text}
    with open_store(_existing(store)) as connection:
        given = answers.given(connection, file, cells, tuple(known.signs), day)
        typer.echo(answered(connection, known, lambda: answers.take(connection, known, given, day)), nl=False)


@app.command()
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
    with open_store(_existing(store)) as connection:
        day = _day(as_of) if as_of else last_night(connection)
        changed = try_rules(connection, known, day)
    if as_json:
        _print_json({"as_of": str(day), "moves": moves(changed).to_dicts(), "changes": changed.to_dicts()})
    else:
        typer.echo(trial_text(changed, str(other)), nl=False)


@app.command()
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
    with open_store(_existing(store)) as connection:
        batch.confirm(connection, known, listing, release, _day(as_of))


@app.command()
def refit(
    out: Annotated[Path, typer.Argument(help="Folder for the rules with the new weights; must not exist.")],
    store: Store = STORE,
    rules: Rules = None,
    constructions: Tables = None,
) -> None:
    """Fit the matcher's weights to your confirmed releases; writes a new rules folder, overwrites nothing."""
    from triage import batch, catalogue
    from triage.store import open_store

    known = catalogue.load(rules, constructions or ())
    with open_store(_existing(store)) as connection:
        typer.echo(batch.refit(connection, known, out))


@app.command()
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

    known, day = catalogue.load(rules), _day(as_of)
    if material not in known.materials:
        fail(f"material {material}", "no such key", f"one of {', '.join(sorted(known.materials))}")
    lain = _stays(climate or ["unknown"], known.climates.climates, day)
    life = Life(
        _years(made, day), tuple(Stay(known.climates.climates[k], y) for k, y in lain), stated, worn_until, boxed
    )
    rows, one = age_of(known.materials[material], life, day), known.materials[material]
    if as_json:
        _print_json({"material": material, "basis": one.basis, "as_of": str(day), "rows": rows.to_dicts()})
    else:
        typer.echo(ageing_text(rows, one.name, one.fails, one.basis, day), nl=False)


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


@app.command()
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

        with open_store(_existing(store)) as connection:
            typer.echo(batch.gaps_text(connection, known))
    if not feeds and text is None and not gaps:
        typer.echo(batch.catalogue_text(known))


def _existing(store: Path) -> Path:
    if not store.is_file():
        fail(f"--store {store}", "no such file", "a store that 'triage nightly' has made")
    return store


def _print_json(content: dict[str, Any]) -> None:
    typer.echo(json.dumps({"schema_version": 1, **content}, ensure_ascii=False, indent=1, sort_keys=True, default=str))


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
