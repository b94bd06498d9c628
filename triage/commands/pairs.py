"""What there is to know of pairs, and what was answered of them. Heavy imports stay inside the commands."""

from pathlib import Path
from typing import Annotated

import typer

from triage.commands.shared import (
    STORE,
    AsOf,
    Buyers,
    Json,
    Page,
    Rules,
    Store,
    Tables,
    day_of,
    existing,
    print_json,
)
from triage.errors import fail


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
    with open_store(existing(store)) as connection:
        typer.echo(chain(connection, known, listing, marked), nl=False)


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
    from triage import batch, catalogue, due
    from triage.store import open_store
    from triage.verdict.comparison import compare as weigh
    from triage.verdict.comparison import indifference, pairs_of, recommended
    from triage.writeup.compare_text import comparison_text, recommendation

    known = catalogue.load(rules, constructions or (), buyer or ())
    one = next(iter(known.buyers.values()))
    with open_store(existing(store)) as connection:
        pairs = pairs_of(connection, model)
        if pairs.is_empty():
            fail(f"model {model}", "no open pair of it in the store", "a model or release of the construction tables")
        due.set_todo(connection, pairs["listing_id"].to_list())
        rows = weigh(connection, batch.ground(known), one, pairs, day_of(as_of))
        gaps, best = indifference(rows), recommended(rows, one)
        if page:
            from triage.writeup.compare import comparison_page
            from triage.writeup.folder import write_file

            write_file(page, comparison_page(connection, known, rows, gaps, (model, one.id)))
    if as_json:
        words = recommendation(best, one.currency)
        print_json(
            {"buyer": one.id, "pairs": rows.to_dicts(), "gaps": gaps.to_dicts(), "best": best, "recommendation": words}
        )
    else:
        typer.echo(comparison_text(rows, gaps, best, one.name, one.currency), nl=False)


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
    one, day = known.buyers[buyer_id], day_of(as_of)
    with open_store(existing(store)) as connection:
        found = choose(connection, one, known.repairs, known.costs, day)
        if page:
            from triage.writeup.folder import write_file
            from triage.writeup.shortlist import shortlist_page

            write_file(page, shortlist_page(connection, known, found.lines, one.id))
    if as_json:
        print_json(shortlist_json(found, one, day))
    else:
        typer.echo(shortlist_text(found, one, day), nl=False)


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

    known, day = catalogue.load(rules, constructions or (), buyer or ()), day_of(as_of)
    cells = {"listing": listing, "sign": sign, "answer": told, "by": by, "text": text}
    with open_store(existing(store)) as connection:
        given = answers.given(connection, file, cells, tuple(known.signs), day)
        typer.echo(answered(connection, known, lambda: answers.take(connection, known, given, day)), nl=False)
