"""What is known of a pair's years: when it was made, where it lay, when it was worn or resoled."""

from dataclasses import dataclass
from datetime import date
from itertools import count

import polars as pl

from triage.catalogue.climates import Climates
from triage.handed import read_said
from triage.once import once
from triage.order import ordered
from triage.prognosis.humidity import shifted_humidity
from triage.prognosis.places import rooms
from triage.store import Connection, frame

# Parts that a new sole brings along; its cement is new too.
NEW_SOLE = ("midsole", "outsole", "bond", "cushion")
# A resole whose year nobody states lies somewhere in these last years.
RESOLE_WITHIN_YEARS = 10.0
# Trust in "worn without trouble": as stated, and when it was hedged.
TRUST_STATED, TRUST_HEDGED = 0.6, 0.3
# Spread of ln(storage factor) with no more than the seller's region; a stated place has its own in storage.toml.
SD_REGION = 0.45
# Signs of a closed box or bag.
BOXED = ("stored_box_indoors", "stored_sealed_bag")
# Signs that tell of a pair's years, with what their columns are called.
EVENTS = {
    "date_proof_shown": "label", "purchase_year_stated": "bought", "sole_swapped": "resoled",
    "worn_recently_ok": "worn",
}  # fmt: skip
# Without any year a pair of this trade is taken to be this old.
AGE_UNKNOWN_YEARS = (10.0, 40.0)

CANDIDATES = """
SELECT
  m.listing_id,
  m.place,
  m.construction_id,
  m.level,
  c.made_from,
  c.made_to,
  c.life_factor
FROM candidate m
LEFT JOIN construction c ON c.model_id = m.construction_id
WHERE m.listing_id IN (SELECT listing_id FROM todo)
"""

RELEASES = """
SELECT model_id AS construction_id, midsole, outsole, cushion, bond, trim, coating, upper, lining
FROM construction
ORDER BY model_id
"""

PAIRS = """
SELECT
  listing_id,
  ships_from,
  region,
  stated_year_lo,
  stated_year_hi,
  stated_year_kind,
  status = 'open' AS on_offer,
  last_seen
FROM listing
WHERE listing_id IN (SELECT listing_id FROM todo)
"""


def signs_of_age(climates: Climates) -> frozenset[str]:
    """Return the signs that how a pair has aged hangs on: those of its years and of its storage."""
    return frozenset((*EVENTS, *BOXED, *climates.storage))


def decimal_year(day: date) -> float:
    """Return a date as a decimal year."""
    start = date(day.year, 1, 1)
    return day.year + (day - start).days / (date(day.year + 1, 1, 1) - start).days


def decimal_years(day: pl.Expr) -> pl.Expr:
    """Return dates as ``decimal_year`` does."""
    length = pl.when(day.dt.is_leap_year()).then(366).otherwise(365)
    return day.dt.year() + (day.dt.ordinal_day() - 1) / length


# What decides how a candidate's parts have aged. Pairs that agree in all of it age alike.
LIFE = (
    "construction_id", "life_factor", "made_lo", "made_hi", "new_sole_lo", "new_sole_hi", "proof_year", "trust",
    "temp_c", "rh_pct", "rate_factor", "boxed", "storage_sd", "now",
)  # fmt: skip


@dataclass(frozen=True)
class Unsaid:
    """What of the clocks hangs on nothing that is said of the listings.

    Attributes:
        candidates: As ``CANDIDATES`` returns them.
        pairs: As ``PAIRS`` returns them, with the climates of their homes.
    """

    candidates: pl.DataFrame
    pairs: pl.DataFrame

    @classmethod
    def of(cls, store: Connection, climates: Climates) -> "Unsaid":
        """Return that of the listings in ``todo``."""
        candidates, pairs = frame(store, CANDIDATES), frame(store, PAIRS)
        return cls(ordered(candidates, "listing_id", "place"), _at_home(ordered(pairs, "listing_id"), climates))


def read_clocks(
    store: Connection,
    climates: Climates,
    as_of: date,
    unsaid: Unsaid | None = None,
    said: pl.DataFrame | None = None,
) -> pl.DataFrame:
    """Return one row per listing and candidate with its years and its storage.

    Args:
        unsaid, said: What ``Unsaid.of`` and ``read_said`` returned of the listings, where that was read before.

    Columns: listing_id, place and those of ``LIFE``: ``made_lo``, ``made_hi`` in decimal years,
    ``new_sole_lo`` and ``new_sole_hi`` NULL where never resoled, ``proof_year`` NULL where never
    stated, ``construction_id`` NULL for a release that is in no table, ``now`` the decimal year its age refers to.
    """
    # What is no longer on offer is as old as when it was last seen. Ages go by the month: a day more is nothing in
    # decades, and by the day every pair would have to be weighed every night.
    day = pl.when("on_offer").then(pl.lit(as_of)).otherwise(pl.min_horizontal("last_seen", pl.lit(as_of)))
    unsaid = Unsaid.of(store, climates) if unsaid is None else unsaid
    pairs = unsaid.pairs.with_columns(now=decimal_years(day.dt.month_start()))
    said = read_said(store, signs=signs_of_age(climates)) if said is None else said
    return _clocks(unsaid.candidates, pairs, stated(said, climates), climates)


def stated(said: pl.DataFrame, climates: Climates) -> pl.DataFrame:
    """Return what was affirmed of the years and the storage of listings.

    One mention of a sign carries its weight; the year may stand in another ("resoled in 2019, new soles").

    Args:
        said: As ``read_said`` returns it.

    Returns:
        One row per listing and sign: listing_id, sign, ``certainty`` (1 hedged, 2 not) and ``year``.
    """
    certainty = pl.when("counts").then(pl.when("hedged").then(1).otherwise(2))
    affirmed = said.filter(pl.col("sign").is_in(signs_of_age(climates)), state="affirmed")
    # In order: sums of what several places add come out the same to the last bit, whichever pairs are read together.
    told = affirmed.group_by("listing_id", "sign", maintain_order=True).agg(
        certainty.max().alias("certainty"), pl.col("year").max()
    )
    return told.drop_nulls("certainty")


def clocks_of(candidates: pl.DataFrame, pairs: pl.DataFrame, said: pl.DataFrame, climates: Climates) -> pl.DataFrame:
    """Return what ``read_clocks`` returns, from frames as its queries give them.

    Args:
        pairs: With ``now``, the decimal year the pair's age refers to.
        said: As ``stated`` returns it.
    """
    return _clocks(candidates, _at_home(pairs, climates), said, climates)


def _clocks(candidates: pl.DataFrame, pairs: pl.DataFrame, said: pl.DataFrame, climates: Climates) -> pl.DataFrame:
    told = _with_storage(_with_events(pairs, said), said, climates)
    clocks = candidates.join(told, on="listing_id", how="left").with_columns(
        _made(pl.col("made_from"), "lo").alias("made_lo"), _made(pl.col("made_to"), "hi").alias("made_hi")
    )
    # A range turned over by contradicting years falls back to its upper end.
    return clocks.with_columns(made_lo=pl.min_horizontal("made_lo", "made_hi")).select("listing_id", "place", *LIFE)


def distinct_lives(clocks: pl.DataFrame, first: int = 1) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Return the distinct lives, numbered from ``first``, and which one every listing and candidate has led.

    Returns:
        One row a life: ``life`` and the columns of ``LIFE``; and one row per row of ``clocks``:
        listing_id, place, life.
    """
    lives = clocks.select(LIFE).unique(maintain_order=True)
    # One number stands for all columns of a life, if no two lives share it: joined three times as fast.
    seed = next(seed for seed in count() if lives.hash_rows(seed).n_unique() == lives.height)
    number = pl.DataFrame({"hash": lives.hash_rows(seed)}).with_row_index("life", first)
    hashed = clocks.select("listing_id", "place", hash=clocks.select(LIFE).hash_rows(seed))
    led = hashed.join(number, on="hash", how="left", maintain_order="left")
    return lives.with_row_index("life", first), led.select("listing_id", "place", "life")


def _made(table: pl.Expr, end: str) -> pl.Expr:
    """Return one end of the manufacture range: label, release, stated years or nothing known."""
    lo, hi, kind = pl.col("stated_year_lo"), pl.col("stated_year_hi"), pl.col("stated_year_kind")
    unknown = pl.col("now") - (AGE_UNKNOWN_YEARS[1] if end == "lo" else AGE_UNKNOWN_YEARS[0])
    named = pl.col("level").is_in(["style_number", "release", "model"]) & table.is_not_null()
    # Shop stock may be some years old when bought; a style year is the earliest year of manufacture.
    guess = (
        pl.when(kind == "purchase")
        .then(lo - 4.0 if end == "lo" else hi + 1.0)
        .when(kind == "made")
        .then(lo.cast(pl.Float64) if end == "lo" else hi + 1.0)
        .otherwise(lo.cast(pl.Float64) if end == "lo" else hi + 3.0)
    )
    value = pl.when(named).then(table).otherwise(pl.coalesce(guess, table, unknown))
    label, bought = pl.col("label_year"), pl.col("bought_year")
    if end == "lo":
        value = pl.when(label.is_not_null()).then(pl.max_horizontal(value, label.cast(pl.Float64))).otherwise(value)
    else:
        value = pl.min_horizontal(value, label + 1.0, bought + 1.0)
    return pl.min_horizontal(value, "now")


def _with_events(pairs: pl.DataFrame, said: pl.DataFrame) -> pl.DataFrame:
    """Add label year, purchase year, resole range and proof by wear."""
    told = said.filter(pl.col("sign").is_in(list(EVENTS))).pivot(
        on="sign", on_columns=list(EVENTS), index="listing_id", values=["certainty", "year"]
    )
    names = {f"{value}_{sign}": f"{name}_{value}" for sign, name in EVENTS.items() for value in ("certainty", "year")}
    pairs = pairs.join(told.rename(names), on="listing_id", how="left")
    now, resoled = pl.col("now"), pl.col("resoled_certainty").is_not_null()
    stated = pl.col("resoled_year").cast(pl.Float64)
    trust = pl.when(pl.col("worn_certainty") == 2).then(TRUST_STATED).otherwise(TRUST_HEDGED)
    return pairs.with_columns(
        new_sole_lo=pl.when(resoled).then(stated.fill_null(now - RESOLE_WITHIN_YEARS).clip(upper_bound=now)),
        new_sole_hi=pl.when(resoled).then((stated + 1).fill_null(now).clip(upper_bound=now)),
        proof_year=pl.when(pl.col("worn_certainty").is_not_null()).then(
            (pl.col("worn_year") + 0.5).fill_null(now).clip(upper_bound=now)
        ),
        trust=pl.when(pl.col("worn_certainty").is_not_null()).then(trust).otherwise(0.0),
    )


def _at_home(pairs: pl.DataFrame, climates: Climates) -> pl.DataFrame:
    """Add mean temperature and humidity of the homes of pairs, and of what is not heated, with their spreads."""
    table = rooms(climates)
    # A country or region that no table has is one not stated.
    known = pairs.with_columns(
        pl.when(pl.col(name).is_in(table[name].drop_nulls().implode())).then(name) for name in ("ships_from", "region")
    )
    return known.join(table, on=["ships_from", "region"], how="left", nulls_equal=True)


def _with_storage(pairs: pl.DataFrame, said: pl.DataFrame, climates: Climates) -> pl.DataFrame:
    """Turn the climates of homes into those of the places of storage; add rate factor and spread."""
    boxed = said.filter(pl.col("sign").is_in(BOXED)).select(pl.col("listing_id").unique(), boxed=pl.lit(True))
    joined = pairs.join(_stated_storage(said, climates), on="listing_id", how="left").join(
        boxed, on="listing_id", how="left"
    )
    weather = pl.col("unheated").fill_null(False)
    home = pl.max_horizontal(pl.lit(SD_REGION), "home_sd")
    joined = joined.with_columns(
        # Cold alone would make a shed kinder than a room; mould, frost and hot days under the roof are not in the sum.
        temp_c=pl.when(weather).then(pl.max_horizontal("shed_temp_c", "temp_c")).otherwise("temp_c"),
        rh_pct=pl.when(weather).then(pl.max_horizontal("shed_rh_pct", "rh_pct")).otherwise("rh_pct"),
        # Homes differ, and so do the climates among which the place is not told apart.
        storage_sd=(pl.coalesce("stated_sd", home) ** 2 + pl.col("between_sd") ** 2).sqrt(),
        rate_factor=pl.col("factor").fill_null(1.0),
        boxed=pl.col("boxed").fill_null(False),
    )
    temp, damp = joined["temp_c"].to_numpy(), joined["rh_pct"].to_numpy()
    shift_c, shift_pct = joined["shift_c"].fill_null(0).to_numpy(), joined["shift_pct"].fill_null(0).to_numpy()
    return joined.with_columns(
        temp_c=pl.Series(temp + shift_c), rh_pct=pl.Series(shifted_humidity(temp, damp, shift_c, shift_pct))
    )


def _stated_storage(said: pl.DataFrame, climates: Climates) -> pl.DataFrame:
    """Return what each pair's words on storage change together; of their spreads the widest holds."""
    return said.join(_storage(climates), on="sign", maintain_order="left").group_by("listing_id").agg(
        pl.col("shift_c").sum(), pl.col("shift_pct").sum(), pl.col("factor").product(), pl.col("unheated").any(),
        pl.col("stated_sd").max(),
    )  # fmt: skip


@once
def _storage(climates: Climates) -> pl.DataFrame:
    rows = [
        (sign, s.temp_shift_c, s.rh_shift_pct, s.rate_factor, s.unheated, s.log_sd)
        for sign, s in sorted(climates.storage.items())
    ]
    kinds = {
        "sign": pl.String, "shift_c": pl.Float64, "shift_pct": pl.Float64, "factor": pl.Float64,
        "unheated": pl.Boolean, "stated_sd": pl.Float64,
    }  # fmt: skip
    return pl.DataFrame(rows, schema=kinds, orient="row")
