"""What arrived: bought, inspected, and held against what was believed. Heavy imports stay inside the commands."""

from pathlib import Path
from typing import Annotated

import typer

from triage.commands.shared import (
    REPORTS,
    STORE,
    AsOf,
    Buyers,
    Json,
    Out,
    Rules,
    Store,
    Tables,
    day_of,
    existing,
    print_json,
)
from triage.errors import fail


def bought(
    listing: Annotated[str, typer.Argument(help="Id of the listing, as the reports show it.")],
    store: Store = STORE,
    rules: Rules = None,
    on: Annotated[str | None, typer.Option("--on", help="Day it was bought, YYYY-MM-DD.")] = None,
    price: Annotated[
        str | None, typer.Option("--price", help="What it cost in all at the door, like 84.50, in the base currency.")
    ] = None,
    buyer: Annotated[
        str | None, typer.Option("--for", help="Id of the buyer it is for; left out: the one it suited best that day.")
    ] = None,
    arrived: Annotated[str | None, typer.Option("--arrived", help="Day it arrived; claims count from it.")] = None,
    repair: Annotated[str | None, typer.Option("--repair", help="What was spent on repairs.")] = None,
    worth: Annotated[
        str | None, typer.Option("--worth", help="What it was sold for or refunded, or is worth to its buyer.")
    ] = None,
    sold_on: Annotated[str | None, typer.Option("--sold-on", help="Day it was sold or sent back.")] = None,
    note: Annotated[str | None, typer.Option("--note", help="Free text.")] = None,
    as_of: AsOf = None,
) -> None:
    """Record that a pair was bought, and later when it arrived and what it came to; what was told before stays."""
    from triage import catalogue
    from triage.learning import purchases
    from triage.store import open_store
    from triage.writeup.arrivals import purchase_line

    known, day = catalogue.load(rules), day_of(as_of)
    told = {"--on": on, "--price": price, "--for": buyer, "--arrived": arrived, "--repair": repair,
            "--worth": worth, "--sold-on": sold_on, "--note": note}  # fmt: skip
    with open_store(existing(store)) as connection:
        given = purchases.given(connection, known, listing, told, day)
        new = purchases.take(connection, given)
        typer.echo(purchase_line(connection, listing) if new else "nothing new: the store has this already")


def inspect(
    listing: Annotated[str | None, typer.Argument(help="Id of the listing.")] = None,
    part: Annotated[str | None, typer.Argument(help="Part that was looked at.")] = None,
    found: Annotated[str | None, typer.Argument(metavar="[fit|unfit]", help="What was found.")] = None,
    store: Store = STORE,
    rules: Rules = None,
    constructions: Tables = None,
    sheet: Annotated[
        bool, typer.Option("--sheet", help="Write the inspection sheet of LISTING, to print; record nothing.")
    ] = False,
    out: Out = REPORTS,
    file: Annotated[
        Path | None, typer.Option("--file", help="CSV file of inspections, taken whole or not at all.")
    ] = None,
    on: Annotated[str | None, typer.Option("--on", help="Day of the inspection; else the as-of date.")] = None,
    wears: Annotated[int | None, typer.Option("--wears", min=0, help="Times worn before.")] = None,
    note: Annotated[str | None, typer.Option("--note", help="Free text.")] = None,
    as_of: AsOf = None,
) -> None:
    """Record what was found on a pair that arrived; a correction is a new inspection, the latest of a part counts."""
    from triage.learning import recording
    from triage.store import open_store
    from triage.writeup.arrivals import inspection_lines

    if sheet and (listing is None or part is not None or file is not None):
        fail("--sheet", "given with a part or a file, or without a listing", "--sheet LISTING alone")
    if sheet and listing is not None:
        from triage import catalogue
        from triage.learning.release import parts_of
        from triage.writeup.receipt import sheet_page, write_sheet

        known = catalogue.load(rules, constructions or ())
        with open_store(existing(store)) as connection:
            parts = parts_of(connection, [listing])["parts"][0].to_list()
            typer.echo(str(write_sheet(out, listing, sheet_page(connection, known, listing, parts))))
        return
    if listing is None and file is None:
        fail("LISTING", "not given", "a listing with a part and fit or unfit, or --file with a file of them")
    day = day_of(as_of)
    cells = {"listing": listing, "part": part, "found": found, "date": on, "note": note,
             "wears": None if wears is None else str(wears)}  # fmt: skip
    with open_store(existing(store)) as connection:
        new = recording.take(connection, recording.given(connection, file, cells, day))
        typer.echo(inspection_lines(new), nl=False)


def calibration(
    store: Store = STORE,
    rules: Rules = None,
    constructions: Tables = None,
    buyer: Buyers = None,
    out: Out = REPORTS,
    as_of: AsOf = None,
    as_json: Json = False,
) -> None:
    """Hold the chances of the day a pair was bought against what was found, in text and on a page."""
    from triage import catalogue
    from triage.learning.calibration import calibration as work_out
    from triage.store import open_store
    from triage.writeup.calibration import calibration_text, view_of, write_calibration

    known, day = catalogue.load(rules, constructions or (), buyer or ()), day_of(as_of)
    with open_store(existing(store)) as connection:
        found = work_out(connection, known, day)
        view = view_of(found, known)
        place = write_calibration(out, view)
    if as_json:
        print_json(found.to_dict() | {"page": str(place)})
    else:
        typer.echo(calibration_text(view), nl=False)
        typer.echo(f"page: {place}")
