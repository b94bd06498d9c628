"""A night made by hand: rows for every table of the contract, and builders for rows like them."""

import json
from datetime import date, datetime
from types import SimpleNamespace
from typing import Any

import polars as pl

from triage.store import Connection, append

AS_OF = date(2026, 11, 25)
BEFORE = date(2026, 11, 24)

MATERIALS = {
    "pu_ester_midsole": ("polyester polyurethane foam", "ester PU foam", "crumbles from inside"),
    "eva_cushion": ("EVA foam", "EVA foam", "goes flat and hard"),
    "rubber_nr_sbr": ("vulcanised rubber", "rubber", "hardens, slips, then cracks"),
    "cement_bond": ("cement", "cement", "lets go"),
    "leather_chrome": ("chrome leather", "leather", "dries and cracks"),
    "soft_touch_pu": ("soft-touch paint", "soft-touch paint", "goes sticky"),
    "tpu_trim": ("TPU", "TPU", "goes brittle"),
    "tpu_gas_leak": ("gas unit", "gas unit", "loses its gas"),
    "pu_foam_opencell": ("open-cell foam", "padding foam", "turns to dust"),
}
SIGNS = {
    "midsole_springy": ("midsole", "the foam springs back", "the foam does not spring back"),
    "midsole_crumbling": ("midsole", "the foam crumbles", "says the foam does not crumble"),
    "outsole_hard": ("outsole", "the rubber is hard", "the rubber is not hard"),
    "deadstock_unworn": ("whole", "says it was never worn", "says it was worn"),
    "sold_as_is": ("terms", "sold as is", ""),
    "stitched_sole": ("bond", "the sole is stitched", "no stitching"),
}
CAUTIONS = (
    "Dust mask and gloves: crumbling foam is an acidic dust.",
    "Strong ventilation and no flame while the cement dries.",
)


def material(words: tuple[str, str, str]) -> SimpleNamespace:
    return SimpleNamespace(name=words[0], short=words[1], fails=words[2], beta=(2, 3, 4), eta_years=(10, 15, 22))


def listing(**given: Any) -> dict[str, Any]:
    """Return a listing's row; what is not given is plain."""
    row = dict(
        source="attic board", url="https://attic-board.example/a/1", seller="mira_k", seller_kind="private",
        title="Brelloway Lindravo 1984", body="", language="en", price_kind="fixed", price_minor=7000,
        currency="EUR", price_base_minor=7000, rate_date=None, shipping_minor=600, shipping_base_minor=600,
        ships_from="FR", size_text="42", condition="worn_lightly", condition_conflict=False, kind="pair",
        photo_count=8, text_cut=False, first_seen=AS_OF, last_seen=AS_OF, status="open",
    ) | given  # fmt: skip
    row["external_id"] = row["listing_id"].split("/")[1]
    return row


def verdict(**given: Any) -> dict[str, Any]:
    """Return a verdict's row; what is not given is a plain buy for Wren."""
    return dict(
        buyer="wren", call="buy", plan="wear", rank=1, p_fits=1.0, p_wearable_lo=0.61, p_wearable=0.7,
        p_wearable_hi=0.783, p_after_plan=0.78, weak_part="outsole", value_minor=16000,
        value_basis="median of 7 comparables, EUR 120 to 190", landed_minor=7600, shipping_assumed=False,
        surplus_minor=4150, offer_minor=9690, ask_gain_minor=0, expected_minor=11750, currency="EUR",
        reason="stitched sole and rubber that bends; 24 under the highest sensible offer",
    ) | given  # fmt: skip


def posterior(listing_id: str, part: str, chances: tuple[float, float, float], **given: Any) -> dict[str, Any]:
    """Return a posterior's row from its range of chance."""
    lo, mid, hi = chances
    row = dict(listing_id=listing_id, horizon_years=2.0, climate="unknown", part=part)
    row |= dict(p_prior=mid, sign_db=0.0, rule_db=0.0)
    return row | dict(p_unfit_lo=lo, p_unfit=mid, p_unfit_hi=hi) | given


def prognosis(listing_id: str, part: str, key: str, p: float, **given: Any) -> dict[str, Any]:
    """Return a prognosis row with one storage node."""
    return dict(
        listing_id=listing_id, place=1, part=part, horizon_years=2.0, climate="unknown", material=key, mode="ages",
        load_bearing=part in ("midsole", "outsole", "bond", "cushion"), made_lo=1984.1, made_hi=1987.5,
        age_years=41.0, effective_years=44.0, p_unfit_lo=p, p_unfit=p, p_unfit_hi=p, p_unfit_lo_node=[p],
        p_unfit_node=[p], p_unfit_hi_node=[p], basis="our judgement",
    ) | given  # fmt: skip


def whole_night() -> dict[str, list[dict[str, Any]]]:
    """Return rows for every table: two nights, three exports, one listing of each kind."""
    court, runner, boxed, box, near = (
        "attic board/a1", "lantern flea/j7", "harbour auction/h3", "harbour auction/h9", "attic board/a5"
    )  # fmt: skip
    feeds = [
        ("f1", "2026-11-24/attic_board.csv", "attic board", BEFORE, 3, 1),
        ("f2", "2026-11-25/attic_board.csv", "attic board", AS_OF, 3, 1),
        ("f3", "2026-11-25/lantern_flea.jsonl", "lantern flea", AS_OF, 1, 0),
        ("f4", "2026-11-25/harbour_auction.csv", "harbour auction", AS_OF, 2, 0),
    ]
    return {
        "run": [
            dict(run_id=run, as_of=day, started_at=datetime(2026, 11, 25, 3), rules_sha256="0" * 64, counts="{}")
            for run, day in (("r1", BEFORE), ("r2", AS_OF))
        ],
        "feed": [
            dict(feed_id=i, path=p, sha256=i * 8, reader="csv", source=s, seen_on=d, rows_read=n, rows_rejected=r)
            for i, p, s, d, n, r in feeds
        ],
        "raw_row": [
            dict(feed_id="f2", row_no=1, cells=json.dumps({"Titel": "Baskets Lindravo", "Preis": "70,00"})),
            dict(feed_id="f3", row_no=1, cells=json.dumps({"商品名": "モリヴェル180", "価格": "9800"})),
        ],
        "reject": [
            dict(feed_id="f1", row_no=3, field="", scope="row", stage="ingest", value="x", code="ragged",
                 hint="9 cells"),
            dict(
                feed_id="f2", row_no=3, field="price", scope="row", stage="listing", value="=1+1",
                code="no-price", hint="an amount such as 95,00",
            ),
            dict(
                feed_id="f3", row_no=1, field="size_text", scope="value", stage="listing", value="<b>M</b>",
                code="no-size", hint="a number with a size system",
            ),
        ],
        "listing": [
            listing(
                listing_id=court, title="Baskets Brelloway Lindravo 1984 cuir blanc T42 semelle cousue",
                language="fr", first_seen=BEFORE, body="semelle cousue, caoutchouc souple",
            ),
            listing(
                listing_id=runner, source="lantern flea", language="ja", seller="ひなた靴", ships_from="JP",
                title="Pellavane モリヴェル180 復刻 2001 27cm", currency="JPY", price_minor=9800, rate_date=BEFORE,
                price_base_minor=6000, shipping_minor=None, shipping_base_minor=None, condition="deadstock",
                size_text="27cm", url="https://lantern-flea.example/i/7", photo_count=10,
            ),
            listing(
                listing_id=boxed, source="harbour auction", title="TORQUELLAN HIGH OG 1991 <script>alert(1)</script>",
                price_kind="bid", currency="USD", price_minor=24000, price_base_minor=22000, rate_date=AS_OF,
                url="javascript:alert(1)", condition="deadstock", condition_conflict=True,
            ),
            listing(listing_id=box, source="harbour auction", title="=HYPERLINK(box only)", kind="accessory"),
            listing(listing_id=near, title="Ostrevik Holmkrag Light Gr. 8,5", language="de", first_seen=BEFORE),
            listing(listing_id="attic board/a6", title="Tavrelin Mid 43", status="gone", first_seen=BEFORE,
                    last_seen=BEFORE),
        ],
        "sighting": [
            dict(listing_id=court, feed_id="f1", row_no=1, seen_on=BEFORE, price_minor=9000, first=True),
            dict(listing_id="attic board/a6", feed_id="f1", row_no=2, seen_on=BEFORE, price_minor=7000, first=True),
            dict(listing_id=court, feed_id="f2", row_no=1, seen_on=AS_OF, price_minor=7000, first=False),
            dict(listing_id=near, feed_id="f2", row_no=2, seen_on=AS_OF, price_minor=7000, first=True),
            dict(listing_id=runner, feed_id="f3", row_no=1, seen_on=AS_OF, price_minor=9800, currency="JPY",
                 first=True),
            dict(listing_id=boxed, feed_id="f4", row_no=1, seen_on=AS_OF, price_minor=24000, currency="USD",
                 first=True),
            dict(listing_id=box, feed_id="f4", row_no=2, seen_on=AS_OF, price_minor=7000, first=True),
        ],
        "twin": [
            dict(listing_id=court, twin_id=runner, kind="copy", probability=0.71, why="the same photos and words"),
            dict(listing_id=runner, twin_id=court, kind="copy", probability=0.71, why="the same photos and words"),
        ],
        "construction": [
            dict(
                model_id="BL-01", maker="Brelloway", model="Lindravo", edition="original", made_from=1984.08,
                made_to=1987.5, colourway="chalk / ivy", category="court", life_factor=1.0, generic=False,
                note="stiff rubber with age, no rot",
            ),
            dict(
                model_id="PV-07", maker="Pellavane", model="Morrivelle 180", edition="reissue", made_from=2000.5,
                made_to=2002.0, category="running", life_factor=0.5, generic=False, note="",
            ),
            dict(model_id="generic-court-1980", model="leather court shoe, 1980s", category="court",
                 made_from=1980.0, made_to=1990.0, life_factor=1.0, generic=True),
        ],
        "match": [
            dict(listing_id=court, place=1, construction_id="BL-01", level="release", probability=0.93, accepted=True),
            dict(listing_id=court, place=2, construction_id="generic-court-1980", level="generic", probability=0.07,
                 accepted=False),
            dict(listing_id=runner, place=1, construction_id="PV-07", level="model", probability=0.64, accepted=False),
            dict(listing_id=runner, place=2, construction_id=None, level="none", probability=0.36, accepted=False),
        ],
        "match_evidence": [
            dict(listing_id=court, construction_id="BL-01", field="model", listing_value="Lindravo",
                 table_value="Lindravo", weight=9.2),
            dict(listing_id=court, construction_id="BL-01", field="year", listing_value="1984",
                 table_value="1984 to 1987", weight=2.1),
        ],
        "observation": [
            dict(listing_id=court, sign="stitched_sole", said_by="listing", state="affirmed", hedged=False,
                 quote="semelle cousue", start=0, language="fr"),
            dict(listing_id=court, sign="stitched_sole", said_by="listing", state="affirmed", hedged=False,
                 quote="bien cousue", start=90, language="fr", counts=False),
            dict(listing_id=court, sign="outsole_hard", said_by="answer", state="denied", hedged=True,
                 quote="plutôt souple, je crois", start=0, field="answer", language="fr"),
            dict(listing_id=runner, sign="deadstock_unworn", said_by="listing", state="affirmed", hedged=False,
                 quote="未使用", start=0, language="ja"),
            dict(listing_id=runner, sign="midsole_crumbling", said_by="listing", state="denied", hedged=True,
                 quote="今のところ崩れは見られません", start=10, language="ja"),
        ],
        "prognosis": [
            prognosis(court, "outsole", "rubber_nr_sbr", 0.42),
            prognosis(court, "bond", "cement_bond", 0.2),
            prognosis(court, "upper", "leather_chrome", 0.15),
            prognosis(court, "lining", "pu_foam_opencell", 0.9),
            prognosis(runner, "outsole", "rubber_nr_sbr", 0.1, age_years=25.0),
            prognosis(runner, "midsole", "pu_ester_midsole", 0.8, age_years=25.0),
            prognosis(runner, "cushion", "tpu_gas_leak", 0.5, age_years=25.0),
            prognosis(runner, "bond", "cement_bond", 0.5, age_years=25.0),
            prognosis(runner, "upper", "leather_chrome;?", 0.2, age_years=25.0),
            prognosis(runner, "trim", "tpu_trim", 0.5, age_years=25.0),
            prognosis(runner, "coating", "soft_touch_pu", 0.7, age_years=25.0),
            prognosis(runner, "lining", "pu_foam_opencell", 0.7, age_years=25.0),
        ],
        "finding_fired": [
            dict(listing_id=court, place=1, rule_id="old-rubber", part="outsole", decibans=1.5,
                 because="rubber of 41 years"),
            dict(listing_id=runner, place=1, rule_id="deadstock-storage-age", part="midsole", decibans=4.0,
                 because="never flexed, 25 years in the box"),
        ],
        "finding_open": [dict(listing_id=court, place=1, open_set=1)],
        "open_rule": [dict(open_set=1, rule_id="soles-unseen", part="outsole", missing=["outsole_shiny"])],
        "posterior": [
            posterior(court, "outsole", (0.2, 0.28, 0.36), p_prior=0.42, sign_db=-3.5, rule_db=1.5),
            posterior(court, "bond", (0.02, 0.04, 0.07), p_prior=0.2, sign_db=-7.0),
            posterior(court, "upper", (0.1, 0.15, 0.2)),
            posterior(court, "lining", (0.86, 0.92, 0.95)),
            posterior(runner, "outsole", (0.06, 0.1, 0.14)),
            posterior(runner, "midsole", (0.72, 0.85, 0.93), p_prior=0.8, sign_db=-2.0, rule_db=4.0),
            posterior(runner, "cushion", (0.35, 0.5, 0.62)),
            posterior(runner, "bond", (0.38, 0.48, 0.6)),
            posterior(runner, "upper", (0.1, 0.2, 0.3)),
            posterior(runner, "trim", (0.4, 0.5, 0.63)),
            posterior(runner, "coating", (0.65, 0.75, 0.85)),
            posterior(runner, "lining", (0.6, 0.7, 0.82)),
        ],
        "verdict": [
            verdict(listing_id=court),
            verdict(listing_id=court, buyer="otto", plan="display", surplus_minor=1200, offer_minor=7400,
                    reason="good for the shelf at this price"),
            verdict(
                listing_id=runner, call="ask", plan="restore", p_wearable_lo=0.04, p_wearable=0.09,
                p_wearable_hi=0.19, p_after_plan=0.81, weak_part="midsole", landed_minor=8350, shipping_assumed=True,
                surplus_minor=-900, offer_minor=4500, ask_gain_minor=1850,
                reason="the foam decides, and nobody has pressed it",
            ),
            verdict(listing_id=runner, buyer="otto", call="skip", plan="parts", offer_minor=0, surplus_minor=-5000,
                    reason="nothing left for the shelf once the foam goes"),
            verdict(listing_id=boxed, call="skip", plan="display", offer_minor=2000, surplus_minor=-15000,
                    reason="foam of 35 years under a boxed price"),
            verdict(listing_id=boxed, buyer="otto", call="skip", plan="display", offer_minor=6000,
                    surplus_minor=-12000, reason="asks EUR 220 for a shelf pair worth EUR 90"),
            verdict(listing_id=box, call="skip", plan="none", p_wearable_lo=None, p_wearable=None, p_wearable_hi=None,
                    p_after_plan=None, weak_part=None, offer_minor=0, surplus_minor=None, value_minor=None,
                    reason="a box without shoes"),
            verdict(listing_id=near, call="skip", offer_minor=5200, surplus_minor=-1700,
                    reason="the foam wedge of 24 years eats the margin"),
        ],
        "plan": [
            dict(listing_id=court, buyer="wren", plan="wear", probability=0.7, value_minor=16000, repairs=[]),
            dict(listing_id=court, buyer="wren", plan="restore", probability=0.22, value_minor=9000,
                 repairs=["reglue"], cost_lo_minor=500, cost_hi_minor=2000),
            dict(listing_id=court, buyer="otto", plan="display", probability=1.0, value_minor=9000, repairs=[]),
            dict(listing_id=runner, buyer="wren", plan="restore", probability=0.72, value_minor=11000,
                 repairs=["sole-transplant"], cost_lo_minor=8000, cost_hi_minor=22000),
            dict(listing_id=runner, buyer="wren", plan="wear", probability=0.09, value_minor=18000, repairs=[]),
        ],
        "question": [
            dict(
                listing_id=runner, buyer="wren", place=1, sign="midsole_springy", language="ja", gain_minor=1500,
                text="かかとのミッドソールを親指で押すと、すぐ戻りますか。", if_yes="buy, up to EUR 96", if_no="skip",
            ),
            dict(
                listing_id=runner, buyer="wren", place=2, fact="made_year", language="ja", gain_minor=400,
                text="タグの製造日を教えてください。", if_yes="up to EUR 60", if_no="as now",
            ),
        ],
        "answer": [
            dict(listing_id=court, sign="outsole_hard", answered_on=AS_OF, state="denied",
                 text="plutôt souple, je crois"),
        ],
        "inspection": [
            dict(listing_id="attic board/a6", part="midsole", inspected_on=BEFORE, state="fit", wears=0, note=""),
        ],
    }  # fmt: skip


def fill(store: Connection, tables: dict[str, list[dict[str, Any]]]) -> None:
    """Insert rows table by table; a column some rows lack is NULL there."""
    usual = {"sighting": {"currency": "EUR", "status": "open"}, "observation": {"field": "body", "counts": True}}
    # prognosis is a view: here every pair has led a life of its own.
    aged = tables.get("prognosis", [])
    pairs = list(dict.fromkeys((row["listing_id"], row["place"]) for row in aged))
    led = [dict(listing_id=pair[0], place=pair[1], life=life) for life, pair in enumerate(pairs, start=1)]
    parts = [
        {name: cell for name, cell in row.items() if name not in ("listing_id", "place")}
        | {"life": pairs.index((row["listing_id"], row["place"])) + 1}
        for row in aged
    ]
    kept = {name: rows for name, rows in tables.items() if name != "prognosis"}
    for table, given in (kept | {"life_led": led, "life_part": parts}).items():
        rows = [usual.get(table, {}) | row for row in given]
        append(store, table, pl.DataFrame(rows, infer_schema_length=None))
