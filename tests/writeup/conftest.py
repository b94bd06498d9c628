"""A store that holds a night made by hand, and words for what its rows name."""

from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import polars as pl
import pytest
from hostile import hostile_tables
from made_night import AS_OF, CAUTIONS, MATERIALS, SIGNS, fill, material, whole_night

from triage.catalogue.inspection import load_inspection
from triage.learning.calibration import Asks, Calibration, Score, Surplus
from triage.learning.scores import BrierParts
from triage.store import Connection, connect
from triage.writeup import Look, run
from triage.writeup.calibration import calibration_page, view_of
from triage.writeup.compare import comparison_page
from triage.writeup.receipt import sheet_page
from triage.writeup.shortlist import shortlist_page

RULES = Path(__file__).parent.parent.parent / "rules"
PARTS = ("midsole", "outsole", "bond", "upper", "lining")


def words() -> SimpleNamespace:
    """Return words for what the rows of a made night name."""
    return SimpleNamespace(
        signs={
            k: SimpleNamespace(part=p, affirmed=a, denied=d, question=SimpleNamespace(en=f"Is it so that {a}?"))
            for k, (p, a, d) in SIGNS.items()
        },
        facts={
            "made_year": SimpleNamespace(
                short="", about="year of manufacture", ask={"en": "Which date is on the label?"}
            )
        },
        buyers={
            "wren": SimpleNamespace(name="Wren", currency="EUR", horizon_years=2.0, climate="unknown"),
            "otto": SimpleNamespace(name="Otto", currency="EUR", horizon_years=2.0, climate="unknown"),
        },
        repairs={
            "sole-transplant": SimpleNamespace(
                name="sole transplant from a donor unit", cautions=CAUTIONS, cost_minor=(8000, 14000, 22000)
            ),
            "reglue": SimpleNamespace(
                name="clean and reglue the edge", cautions=("Never onto crumbling foam.",), cost_minor=(500, 900, 2000)
            ),
        },
        materials={key: material(words) for key, words in MATERIALS.items()},
        inspection=load_inspection(RULES / "inspection.toml", SIGNS, []),
    )


@pytest.fixture
def catalogue() -> SimpleNamespace:
    return words()


@pytest.fixture
def store() -> Connection:
    """An in-memory store that holds ``whole_night``."""
    con = connect()
    fill(con, whole_night())
    return con


@pytest.fixture(scope="session")
def store_of() -> Callable[[dict[str, list[dict[str, Any]]]], Connection]:
    """Return a function that makes a store of the tables given."""

    def made(tables: dict[str, list[dict[str, Any]]]) -> Connection:
        con = connect()
        fill(con, tables)
        return con

    return made


def compared() -> tuple[pl.DataFrame, pl.DataFrame]:
    """Return a comparison of the made night's boxed and worn pair, as the verdict's stage would."""
    figures = dict(expected_minor=9000, repair_minor=0, landed_minor=7600, surplus_minor=1400, offer_minor=8120,
                   p_wearable=0.7, p_after=0.78, at_risk_minor=6500, model_id="BL-01")  # fmt: skip
    pairs = {
        "attic board/a1": ("worn_lightly", "Baskets Brelloway Lindravo 1984", {}),
        "lantern flea/j7": ("deadstock", "<script>boxed</script>", dict(expected_minor=4000, surplus_minor=-4350)),
    }
    rows = [
        figures | dict(listing_id=key, condition=condition, title=title, purpose=purpose) | other
        for purpose in ("wear", "restore", "display", "resell")
        for key, (condition, title, other) in pairs.items()
    ]
    gaps = [
        dict(purpose=purpose, deadstock="lantern flea/j7", worn="attic board/a1", gap_minor=-5000, asked_minor=750,
             better="worn")
        for purpose in ("display", "resell", "restore", "wear")
    ]  # fmt: skip
    return pl.DataFrame(rows), pl.DataFrame(gaps)


def held() -> Calibration:
    """Return a calibration of made-up figures, one slice of each kind."""
    counted = dict(parts=40, pairs=30, unfit=22, said=0.5, found=0.55, found_lo=0.4, found_hi=0.69, brier=0.2,
                   log_loss=0.6)  # fmt: skip
    names = {"part": "midsole", "material": "pu_ester_midsole", "sign": "stitched_sole affirmed", "call": "buy",
             "horizon": "years still run"}  # fmt: skip
    bins = [dict(bin=n, parts=8, said=n / 10 + 0.05, found=n / 9, found_lo=0.0, found_hi=1.0, lo=n / 10,
                 hi=n / 10 + 0.1) for n in range(10)]  # fmt: skip
    money = dict(listing_id="<b>attic board/a1</b>", held_on=AS_OF, buyer="wren", call="buy", currency="EUR",
                 paid_minor=5000, expected_minor=3000, realised_minor=-250)  # fmt: skip
    return Calibration(
        as_of=AS_OF, weighed=400, bought=9, inspected=8,
        unscored={"no chance was given for the part": 1},
        score=Score(12, 8, 5, 0.21, BrierParts(0.03, 0.06, 0.24, 0.0), 0.61, None),
        bins=pl.DataFrame(bins),
        slices=pl.DataFrame([{"by": by, "name": name} | counted for by, name in names.items()]),
        surplus=Surplus(1, "EUR", 3000.0, -250.0, 0, 0.0, 0.79), money=pl.DataFrame([money]),
        asks=Asks(9, 4, 1, 2, 0.15, 0.85), censored=pl.DataFrame({"fate": ["gone", "sold"], "pairs": [1, 12]}),
    )  # fmt: skip


@pytest.fixture(scope="session")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Every kind of page, of nights made by hand: a plain one, an empty one, one of sixty hostile texts."""
    place, known = tmp_path_factory.mktemp("pages"), words()
    made: dict[str, Path] = {}
    nights = {"night": whole_night(), "empty": {table: [] for table in whole_night()},
              "hostile": hostile_tables(whole_night())}  # fmt: skip
    for name, tables in nights.items():
        store = connect()
        fill(store, tables)
        made[name] = run(store, known, AS_OF, place / name)
        if name == "empty":
            continue
        made[f"{name} photos"] = run(store, known, AS_OF, place / f"{name}-photos", Look(photos=True, sellers=True))
        made[f"{name} shortlist"] = place / f"{name}-shortlist.html"
        listed = [row["listing_id"] for row in tables["verdict"] if row["call"] != "skip" and row["buyer"] == "wren"]
        lines = pl.DataFrame({"listing_id": listed, "role": ["value", "surest", *[""] * (len(listed) - 2)]})
        made[f"{name} shortlist"].write_text(shortlist_page(store, known, lines, "wren"), "utf-8")
    made["compare"] = place / "compare.html"
    store = connect()
    fill(store, whole_night())
    made["compare"].write_text(comparison_page(store, known, *compared(), ("Brelloway <b>", "wren")), "utf-8")
    made["sheet"] = place / "sheet.html"
    made["sheet"].write_text(sheet_page(store, known, "attic board/a1", PARTS), "utf-8")
    made["calibration"] = place / "calibration.html"
    made["calibration"].write_text(calibration_page(view_of(held(), known)), "utf-8")
    return made
