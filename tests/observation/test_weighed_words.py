"""What becomes of the words later in the night: claims, silence, answers, and the marked text people are shown."""

import subprocess
import sys
from datetime import date
from pathlib import Path

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from tests.observation.test_stage import listing
from triage import batch, catalogue, rules, store
from triage.observation.show import marked
from triage.store import Connection
from triage.writeup.terminal import explain

ROOT = Path(__file__).parents[2]
NIGHT = date(2026, 11, 25)
BOOT = "Haldrassen Torquellan High HDN-91-0214"  # a release with a midsole of polyurethane
PRAISE = (
    "Bought by my father and hardly ever on his feet, they come from a house without pets. The leather is soft, "
    "the lining is clean, kept boxed in a wardrobe in the spare room, in the original paper. All eyelets intact."
)
BODIES = {
    "plain": "Boots from the cupboard of my father, good leather, no idea what else to say about them.",
    "eva": "Boots from the cupboard of my father, good leather. The midsole is EVA. What else is there to say.",
    "short": "The leather is soft, the lining is clean.",
    "silent": PRAISE,
    "spoken": PRAISE + " Soles hard.",
    "told": PRAISE,
    "beaten": "The midsole is not crumbling at all.",
}
ANSWERS = {"told": ("outsole_hard", "denied"), "beaten": ("midsole_crumbling", "affirmed")}


@pytest.fixture(scope="module")
def known() -> catalogue.Catalogue:
    return catalogue.load()


@pytest.fixture(scope="module")
def night(known: catalogue.Catalogue) -> Connection:
    connection = store.connect()
    for name, body in BODIES.items():
        row = listing(name, body, title=BOOT) | {"photo_count": 2, "price_minor": 5000, "currency": "EUR"}
        stated = {column: value for column, value in row.items() if value is not None}
        store.append(connection, "listing", pl.DataFrame([stated]))
    for name, (sign, state) in ANSWERS.items():
        told = {"listing_id": name, "sign": sign, "answered_on": NIGHT, "said_by": "answer", "state": state}
        store.append(connection, "answer", pl.DataFrame([told]))
    batch.weigh(connection, known, NIGHT)
    return connection


@pytest.fixture(scope="module")
def facts(night: Connection, known: catalogue.Catalogue) -> pl.DataFrame:
    return rules.read_facts(night, known.signs).filter(pl.col("place") == 1)


def of(table: str, name: str, night: Connection) -> pl.DataFrame:
    rows = store.frame(night, f"SELECT * FROM {table} ORDER BY ALL").filter(pl.col("listing_id") == name)
    return rows.drop("listing_id")


def test_eva_said_of_a_release_with_polyurethane_is_kept_as_a_claim_and_changes_nothing(night: Connection) -> None:
    claim = of("observation", "eva", night).filter(pl.col("sign") == "eva_claimed")
    assert claim.select("state", "quote", "counts").rows() == [("affirmed", "midsole is EVA", True)]
    assert "pu_ester_midsole" in str(
        of("prognosis", "eva", night).filter(pl.col("part") == "midsole")["material"].to_list()
    )
    for table in ("match", "prognosis"):
        claimed, silent = (of(table, name, night).filter(pl.col("place") == 1) for name in ("eva", "plain"))
        assert claimed.height
        assert_frame_equal(claimed, silent, abs_tol=1e-6)
    assert_frame_equal(of("posterior", "eva", night), of("posterior", "plain", night), abs_tol=1e-4)


@pytest.mark.parametrize(
    ("language", "text"),
    [
        ("en", "EVA midsole, so no worries."), ("de", "Die Zwischensohle ist aus EVA."), ("fr", "Semelle en EVA."),
        ("it", "Intersuola in EVA."), ("es", "Entresuela de EVA."), ("ja", "ミッドソールはEVAです。"),
    ],
)  # fmt: skip
def test_the_claim_is_read_in_six_languages(read, language: str, text: str) -> None:
    assert read(text, language) == {"eva_claimed": "affirmed"}


def test_an_eva_insole_is_no_claim_about_the_foam(read) -> None:
    assert read("With an EVA insole.") == {}


def test_silence_on_the_soles_is_a_fact_only_where_the_text_is_otherwise_detailed(facts: pl.DataFrame) -> None:
    told = dict(facts.select("listing_id", "soles_told").iter_rows())
    assert {name: told[name] for name in ("short", "plain", "silent", "spoken", "told")} == {
        "short": None, "plain": None, "silent": False, "spoken": True, "told": True,
    }  # fmt: skip


def test_only_the_detailed_text_that_leaves_the_soles_out_is_held_against_it(night: Connection) -> None:
    fired = store.frame(night, "SELECT * FROM finding WHERE rule_id = 'soles-left-out' AND state = 'fired'")
    assert set(fired["listing_id"]) == {"silent"}
    assert fired["decibans"].max() == 2.1


def test_an_answer_beats_the_listing(facts: pl.DataFrame, night: Connection) -> None:
    rows = of("observation", "beaten", night).filter(pl.col("sign") == "midsole_crumbling")
    assert set(rows.select("said_by", "state").iter_rows()) == {("listing", "denied"), ("answer", "affirmed")}
    assert facts.filter(pl.col("listing_id") == "beaten")["midsole_crumbling"].to_list() == [True]


def test_explain_shows_the_text_with_every_reading_marked(night: Connection, known: catalogue.Catalogue) -> None:
    text = " ".join(explain(night, known, "spoken", marked).split())
    assert "[Soles hard | outsole_hard affirmed]." in text
    assert "The [leather is soft | upper_good affirmed], the [lining is clean | lining_good affirmed]," in text


def test_check_reads_a_pasted_text_from_the_shell() -> None:
    command = [sys.executable, "-m", "triage.cli", "check", "--text", "I think the soles are hard. No cracks."]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stderr
    assert "hard | outsole_hard affirmed hedged]. [No cracks | midsole_cracked denied]." in done.stdout
    assert 'midsole_cracked denied: "No cracks" at 28, en' in done.stdout
