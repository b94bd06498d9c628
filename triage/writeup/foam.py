"""EVA is not polyurethane: one line where the seller's word for the foam and the release's material differ."""

from collections.abc import Iterable, Mapping
from typing import Any

from triage.writeup.knowledge import Catalogue
from triage.writeup.parts import material_words

Row = Mapping[str, Any]

CLAIM, NAME = "eva_claimed", "EVA"


def foam_line(observations: Iterable[Row], prognosis: Iterable[Row], catalogue: Catalogue) -> str:
    """Return the line, or nothing where nobody says EVA or the likeliest release has it.

    Args:
        observations: Rows of one listing.
        prognosis: Rows of the same listing, likeliest release first.
        catalogue: Words for the materials.
    """
    claimed = any(row["sign"] == CLAIM and row["state"] == "affirmed" for row in observations)
    midsole = next((row for row in prognosis if row["part"] == "midsole" and row["place"] == 1), None)
    if not claimed or midsole is None:
        return ""
    if midsole["material"].strip() == "?":
        return (
            "The seller says EVA; no table says what this foam is, so a share of polyurethane is reckoned with: "
            "EVA does not crumble from damp, polyurethane does."
        )
    names, fails = material_words(midsole["material"], catalogue)
    if NAME in names:
        return ""
    apart = " EVA is not polyurethane and does not crumble from damp." if midsole["mode"] == "hydrolysis" else ""
    how = f", which fails so: {fails}" if fails else ""
    return f"The seller says EVA, the likeliest release has {names}{how}.{apart} The release counts here."
