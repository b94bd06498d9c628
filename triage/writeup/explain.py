"""The chain behind one listing as text, section by section in the order the stages work."""

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

import polars as pl

from triage.writeup import phrase
from triage.writeup.figures import cost_range
from triage.writeup.foam import foam_line
from triage.writeup.frames import Detail
from triage.writeup.history import calls_so_far
from triage.writeup.knowledge import Catalogue, Repair
from triage.writeup.parts import ladder, material_words
from triage.writeup.sensitivity import explained
from triage.writeup.ticket import candidate

Row = Mapping[str, Any]
Mark = Callable[[str, pl.DataFrame], str]


def chain(
    listing: Row,
    verdicts: Sequence[Row],
    arrived: Iterable[str],
    detail: Detail,
    catalogue: Catalogue,
    mark: Mark | None = None,
) -> str:
    """Return the chain from the row as exported to the call.

    Args:
        listing: The listing's row.
        verdicts: Its verdicts, one per buyer.
        arrived: What was paid and found, in lines.
        detail: The frames behind this listing.
        catalogue: Words for signs, materials, repairs and buyers.
        mark: From a text and its observations to the text with them marked in place; left out = not shown.
    """
    rows = {name: frame.to_dicts() for name, frame in vars(detail).items()}
    foam = filter(None, [foam_line(rows["observation"], rows["prognosis"], catalogue)])
    sections: list[tuple[str, Iterable[str]]] = [
        ("Rows as exported", exported(rows["raw_row"])),
        ("Listing", stated(listing, verdicts[0]["currency"] if verdicts else None)),
        ("Same pair elsewhere", twins(rows["twin"])),
        ("Which release (weights in bits)", releases(rows["match"], rows["evidence"])),
        ("What was said", [*marked(listing, detail.observation, mark), *said(rows["observation"], catalogue)]),
        ("Ageing alone, before signs and rules", [*ageing(rows["prognosis"], catalogue), *foam]),
        ("Rules (decibans towards unfit)", rules(rows["finding"])),
        ("From prior to posterior (decibans)", ladders(rows["posterior"])),
        ("Plans", plans(rows["plan"], listing, verdicts, catalogue)),
        ("Money", money(verdicts, catalogue)),
        ("What would move it most", explained(rows["sensitivity"])),
        ("Questions", questions(rows["question"], verdicts, catalogue)),
        ("Found on arrival", arrived),
        ("Calls so far", calls_so_far(rows["history"], catalogue)),
        ("Call", calls(verdicts, catalogue)),
    ]
    head = f"{phrase.plain(listing['listing_id'])}\n{phrase.title_of(listing['title'])}\n"
    blocks = ("\n".join([title, *(f"  {line}" for line in list(lines) or ["nothing"])]) for title, lines in sections)
    return head + "\n" + "\n\n".join(blocks) + "\n"


def columns(rows: Sequence[Sequence[str]]) -> list[str]:
    """Return rows of cells as lines with aligned columns; the last one runs free."""
    if not rows:
        return []
    widths = [max(len(row[at]) for row in rows) for at in range(len(rows[0]) - 1)]
    return ["  ".join([*(c.ljust(w) for c, w in zip(row, widths, strict=False)), row[-1]]).rstrip() for row in rows]


def exported(rows: Iterable[Row]) -> Iterable[str]:
    """Return the cells of every row that shows the listing."""
    for row in rows:
        first = ", made the listing" if row["first"] else ""
        yield f"{row['path']}, row {row['row_no']}, {phrase.day(row['seen_on'])}{first}"
        for heading, text in json.loads(row["cells"] or "{}").items():
            yield f"  {phrase.plain(heading)}: {phrase.plain(str(text))}"


def stated(listing: Row, base_currency: str | None) -> list[str]:
    """Return what stage 2 made of the row; what was not stated says so."""
    conflict = ", but two claims conflict" if listing["condition_conflict"] else ""
    foot, years = "not known", "not stated"
    if listing["foot_mm_lo"] is not None:
        foot = f"{listing['foot_mm_lo']:.0f} to {listing['foot_mm_hi']:.0f} mm"
    if listing["stated_year_lo"] is not None:
        years = f"{listing['stated_year_lo']} to {listing['stated_year_hi']}, of {listing['stated_year_kind'] or '?'}"
    rate = f", by the rate of {phrase.day(listing['rate_date'])}" if listing["rate_date"] else ""
    base = ""
    if rate or listing["price_base_minor"] is None:
        base = f"; {phrase.money(listing['price_base_minor'], base_currency)} in the base currency{rate}"
    price = phrase.money(listing["price_minor"], listing["currency"])
    size = phrase.plain(listing["size_text"]) or "not stated"
    return columns(
        [
            ("price", f"{price}, {listing['price_kind']}{base}"),
            ("shipping", phrase.money(listing["shipping_minor"], listing["currency"])),
            ("from", listing["ships_from"] or "not stated"),
            ("size", f"{size} ({listing['size_system'] or 'no system'}), foot {foot}"),
            ("wear", phrase.CONDITION[listing["condition"]] + conflict),
            ("years", years),
            ("kind", f"{listing['kind']} of the lot {listing['lot_id']}" if listing["lot_id"] else listing["kind"]),
            ("language", listing["language"] or "not known"),
            ("seen", f"{phrase.day(listing['first_seen'])} to {phrase.day(listing['last_seen'])}, {listing['status']}"),
            ("text", phrase.plain(listing["body"]) or "none"),
        ]
    )


def twins(rows: Iterable[Row]) -> list[str]:
    """Return the other listings of the pair."""
    cells = [
        (row["twin_id"], phrase.KIND[row["kind"]], phrase.percent(row["probability"]), phrase.plain(row["why"]))
        for row in rows
    ]
    return columns(cells)


def releases(matches: Iterable[Row], evidence: Sequence[Row]) -> Iterable[str]:
    """Return the candidate releases, each with what speaks for and against it."""
    for row in matches:
        view = candidate(row)
        made = f", made {view.made}" if view.made else ""
        accepted = "" if view.accepted else ", not sure enough to name"
        yield f"{row['place']}. {view.name}{made}: {view.chance}, {view.how}{accepted}"
        found = [e for e in evidence if e["construction_id"] == row["construction_id"]]
        cells = [
            (phrase.signed(e["weight"]), e["field"], f"{_shown(e['listing_value'])} / {_shown(e['table_value'])}")
            for e in found
        ]
        yield from (f"   {line}" for line in columns(cells))


def _shown(value: str | None) -> str:
    return "nothing" if value is None else f"“{phrase.plain(value)}”"


def marked(listing: Row, observations: pl.DataFrame, mark: Mark | None) -> Iterable[str]:
    """Return title and description with every reading marked where it stands."""
    if mark is None:
        return
    for field in ("title", "body"):
        if listing[field]:
            own = observations.filter((pl.col("field") == field) & (pl.col("said_by") == "listing"))
            yield f"{field}: {phrase.plain(mark(listing[field], own))}"


def said(rows: Iterable[Row], catalogue: Catalogue) -> list[str]:
    """Return every observation with its words, those that carry no weight marked."""
    cells = []
    for row in rows:
        sign = catalogue.signs.get(row["sign"])
        doubt = ", with a doubt" if row["hedged"] else ""
        other = "" if row["counts"] else ", said again: no weight"
        value = f" ({row['value']})" if row["value"] else ""
        quote = f"{phrase.SPEAKER[row['said_by']]} {_shown(row['quote'])}{doubt}{other}"
        cells.append((sign.part if sign else "?", row["sign"], row["state"] + value, quote))
    return columns(cells)


def ageing(rows: Iterable[Row], catalogue: Catalogue) -> list[str]:
    """Return how each part aged, per candidate release; one chance per horizon and climate."""
    parts: dict[tuple[int, str], list[Row]] = {}
    for row in rows:
        parts.setdefault((row["place"], row["part"]), []).append(row)
    return columns([_aged(group, catalogue) for group in parts.values()])


def _outlook(row: Row) -> str:
    return f"{row['horizon_years']:g} years, {row['climate']}"


def _aged(rows: Sequence[Row], catalogue: Catalogue) -> tuple[str, ...]:
    row = rows[0]
    chances = ", ".join(
        f"{phrase.percent_range(each['p_unfit_lo'], each['p_unfit_hi'])} in {_outlook(each)}" for each in rows
    )
    age = f"{row['age_years']:.0f} years, as {row['effective_years']:.0f} at 20 °C and 50 %"
    material = material_words(row["material"], catalogue)[0]
    return f"release {row['place']}", row["part"], material, age, row["mode"], f"fails {chances} ({row['basis']})"


def rules(rows: Iterable[Row]) -> list[str]:
    """Return the rules that hold, then those a missing fact leaves open; of a group one alone counts."""
    cells = []
    rows = list(rows)
    strongest: dict[tuple[int, str, str], float] = {}
    for row in rows:
        if row["grouping"] and row["decibans"] is not None:
            key = (row["place"], row["part"], row["grouping"])
            strongest[key] = max(strongest.get(key, 0.0), abs(row["decibans"]))
    for row in sorted(rows, key=lambda row: row["state"] != "fired"):
        fired = row["state"] == "fired"
        weight = phrase.signed(row["decibans"]) if fired else "open"
        key = (row["place"], row["part"], row["grouping"] or "")
        if fired and abs(row["decibans"]) < strongest.get(key, 0.0):
            weight += " not counted"
        why = row["because"] if fired else f"not stated: {', '.join(row['missing'] or ())}"
        cells.append((f"release {row['place']}", row["part"], weight, row["rule_id"], why or ""))
    return columns(cells)


def ladders(rows: Iterable[Row]) -> list[str]:
    """Return the sum from prior to posterior for every part; mixing is a term of its own, so it adds up."""
    cells = []
    for row in rows:
        steps = ladder(row)
        cells.append(
            (
                _outlook(row),
                row["part"],
                f"prior {steps.prior}",
                f"signs {steps.signs}",
                f"rules {steps.rules}",
                f"mixing {steps.mixing}",
                f"= {steps.posterior}, fails {phrase.percent_range(row['p_unfit_lo'], row['p_unfit_hi'])}",
            )
        )
    return columns(cells)


def _buyer(key: str, catalogue: Catalogue) -> str:
    buyer = catalogue.buyers.get(key)
    return buyer.name if buyer else key


def plans(rows: Iterable[Row], listing: Row, verdicts: Iterable[Row], catalogue: Catalogue) -> list[str]:
    """Return the plans of every buyer with repairs, costs and, below, each repair's cautions."""
    currency = {row["buyer"]: row["currency"] for row in verdicts}
    cells: list[tuple[str, ...]] = []
    repairs: dict[str, Repair] = {}
    for row in rows:
        own = str(currency.get(row["buyer"], listing["currency"]))
        ids = row["repairs"] or ()
        repairs |= {key: catalogue.repairs[key] for key in ids if key in catalogue.repairs}
        cost = f"{', '.join(ids)}: {cost_range(row, own, catalogue)}" if ids else ""
        worth = f"worth {phrase.estimate(row['value_minor'], own)}"
        name, chance = phrase.PLAN[row["plan"]], phrase.percent(row["probability"])
        cells.append((_buyer(row["buyer"], catalogue), name, chance, worth, cost))
    beware = [f"beware, {repair.name}: {caution}" for repair in repairs.values() for caution in repair.cautions]
    return columns(cells) + beware


def money(verdicts: Iterable[Row], catalogue: Catalogue) -> Iterable[str]:
    """Return how each buyer's figures come to the highest sensible offer."""
    for row in verdicts:
        value, expected, landed, surplus, offer = (
            "not known" if row[f"{key}_minor"] is None else phrase.money(row[f"{key}_minor"], row["currency"])
            for key in ("value", "expected", "landed", "surplus", "offer")
        )
        assumed = " (shipping assumed)" if row["shipping_assumed"] else ""
        basis = f" ({row['value_basis']})" if row["value_basis"] else ""
        yield f"{_buyer(row['buyer'], catalogue)}: worth when sound {value}{basis}"
        yield f"  expected {expected} − landed {landed}{assumed} = {surplus}; highest sensible offer {offer}"


def questions(rows: Iterable[Row], verdicts: Iterable[Row], catalogue: Catalogue) -> Iterable[str]:
    """Return what to ask and what each answer would do."""
    currency = {row["buyer"]: row["currency"] for row in verdicts}
    for row in rows:
        gain = phrase.estimate(row["gain_minor"], currency.get(row["buyer"]))
        yield f"{_buyer(row['buyer'], catalogue)} {row['place']}. {phrase.plain(row['text'])}"
        yield f"  {row['sign'] or row['fact']}, worth {gain}; yes: {row['if_yes']}; no: {row['if_no']}"


def calls(verdicts: Iterable[Row], catalogue: Catalogue) -> Iterable[str]:
    """Return the call for each buyer, its place among that buyer's calls, and the reason."""
    for row in verdicts:
        chance = ""
        if row["p_wearable_lo"] is not None:
            chance = f", wearable {phrase.percent_range(row['p_wearable_lo'], row['p_wearable_hi'])}"
        weak = f", weak part {row['weak_part']}" if row["weak_part"] else ""
        place = f"{row['rank']} of {row['of_call']}"
        yield f"{_buyer(row['buyer'], catalogue)}: {row['call']} ({place}), {phrase.PLAN[row['plan']]}{chance}{weak}"
        yield f"  {phrase.plain(row['reason'])}"
    yield "Estimate from age, material and what the seller wrote, not an inspection. A pair can fail sooner."
    yield "Ask a qualified shoe repairer."
