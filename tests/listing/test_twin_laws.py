"""What holds of every couple, whatever the listings are."""

from datetime import date, timedelta
from typing import Any

import polars as pl
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from triage.catalogue.words import Words
from triage.listing.twins import find_twins

MAY = date(2026, 5, 3)
SCHEMA = {
    "seller": pl.String, "body": pl.String, "image_names": pl.String, "price_base_minor": pl.Int64,
    "foot_mm_lo": pl.Float64, "foot_mm_hi": pl.Float64,
}  # fmt: skip
SIZES = [(266.7, 276.7), (273.3, 283.3), (None, None)]
TITLES = ["Haldrassen Torquellan High 2013 schwarz Gr. 43", "Torquellan High schwarz Haldrassen", "Holmkrag braun 44"]
TEXTS = ["Dachbodenfund, selten getragen, Sohle federt zurück.", "Worn to work, heel tab cracked.", None]

listing = st.fixed_dictionaries(
    {
        "source": st.sampled_from(["attic board", "ridge club"]),
        "seller": st.sampled_from(["kellerfund", "dachboden", None]),
        "title": st.sampled_from(TITLES),
        "body": st.sampled_from(TEXTS),
        "image_names": st.sampled_from(["img_20260914_183211", "img_0001 img_20260914_183211", "image1", None]),
        "price_base_minor": st.sampled_from([24_000, 18_000, None]),
        "size": st.sampled_from(SIZES),
        "first": st.integers(0, 60),
        "nights": st.integers(0, 30),
    }
)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(drawn=st.lists(listing, min_size=2, max_size=8))
def test_every_couple_obeys_the_laws_of_twins(words: Words, drawn: list[dict[str, Any]]) -> None:
    rows = []
    for number, row in enumerate(drawn):
        (lo, hi), first, nights = row.pop("size"), row.pop("first"), row.pop("nights")
        start = MAY + timedelta(days=first)
        seen = {"first_seen": start, "last_seen": start + timedelta(days=nights)}
        rows.append({**row, "listing_id": f"L{number}", "foot_mm_lo": lo, "foot_mm_hi": hi, **seen})
    found = find_twins(pl.DataFrame(rows, schema_overrides=SCHEMA), words.twin)
    by_id = {row["listing_id"]: row for row in rows}
    couples = {(row["listing_id"], row["twin_id"]): row for row in found.to_dicts()}
    assert len(couples) == found.height
    for (one_id, other_id), couple in couples.items():
        one, other = by_id[one_id], by_id[other_id]
        back = couples[other_id, one_id]
        assert (back["kind"], back["probability"]) == (couple["kind"], couple["probability"])
        assert words.twin.keep_from <= couple["probability"] <= 1
        assert couple["why"]
        assert (one["foot_mm_lo"], one["foot_mm_hi"]) == (other["foot_mm_lo"], other["foot_mm_hi"])
        if couple["kind"] == "relist":
            assert one["source"] == other["source"]
            assert one["seller"] == other["seller"] is not None
            assert one["last_seen"] < other["first_seen"] or other["last_seen"] < one["first_seen"]
        else:
            assert one["source"] != other["source"]
