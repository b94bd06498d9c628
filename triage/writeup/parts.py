"""The eight parts of a pair as the drawing and its table show them: prognosis, posterior -> part views."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from triage.writeup import phrase
from triage.writeup.knowledge import Catalogue

# From the ground up; the drawing and every list keep to this order.
PARTS = ("outsole", "midsole", "cushion", "bond", "upper", "trim", "coating", "lining")


@dataclass(frozen=True)
class Ladder:
    """From the chance by age alone to what is believed now, in decibans, as text."""

    prior_chance: str
    prior: str
    signs: str
    rules: str
    mixing: str
    posterior: str


@dataclass(frozen=True)
class PartView:
    """One part: how likely it is to fail, of what it is made, and how that fails.

    ``step`` is 1 (very unlikely) to 5 (very likely) and 0 where nothing is known.
    """

    part: str
    present: bool
    weak: bool
    step: int
    word: str
    chance: str
    material: str
    fails: str
    age: str
    load_bearing: bool
    basis: str
    ladder: Ladder | None


def part_views(
    posterior: Iterable[Mapping[str, Any]],
    prognosis: Iterable[Mapping[str, Any]],
    horizon_years: float,
    weak_part: str | None,
    catalogue: Catalogue,
) -> tuple[PartView, ...]:
    """Return all eight parts, those the shoe lacks too, so that the drawing can leave them out.

    Args:
        posterior: Rows of one listing, all horizons.
        prognosis: Rows of one listing, all places and horizons.
        horizon_years: Years of wear the chances are for.
        weak_part: The part the verdict names.
        catalogue: Words for the materials.
    """
    believed = {row["part"]: row for row in posterior if row["horizon_years"] == horizon_years}
    made_of: dict[str, Mapping[str, Any]] = {}
    for row in prognosis:
        if row["horizon_years"] == horizon_years:
            made_of.setdefault(row["part"], row)
    # A part that only a less likely release has is shown once its failing is more than very unlikely.
    for part in [part for part, row in made_of.items() if row["place"] > 1 and part != weak_part]:
        if part not in believed or phrase.step(believed[part]["p_unfit"]) == 1:
            del made_of[part]
            believed.pop(part, None)
    return tuple(
        _part_view(part, believed.get(part), made_of.get(part), part == weak_part, catalogue) for part in PARTS
    )


def _part_view(
    part: str,
    believed: Mapping[str, Any] | None,
    aged: Mapping[str, Any] | None,
    weak: bool,
    catalogue: Catalogue,
) -> PartView:
    material, fails = material_words(aged["material"], catalogue) if aged else ("", "")
    return PartView(
        part=part,
        present=believed is not None or aged is not None,
        weak=weak,
        step=phrase.step(believed["p_unfit"]) if believed else 0,
        word=phrase.likelihood(believed["p_unfit"]) if believed else "not known",
        chance=phrase.percent_range(believed["p_unfit_lo"], believed["p_unfit_hi"]) if believed else "",
        material=material,
        fails=fails or (aged["mode"] if aged else ""),
        age=f"{aged['age_years']:.0f}" if aged else "",
        load_bearing=bool(aged and aged["load_bearing"]),
        basis=aged["basis"] if aged else "",
        ladder=ladder(believed) if believed else None,
    )


def material_words(keys: str, catalogue: Catalogue) -> tuple[str, str]:
    """Return the short names of a part's materials and how they fail, in words."""
    names, fails = [], []
    for key in keys.split(";"):
        material = catalogue.materials.get(key.strip())
        names.append(material.short if material else "material not known" if key.strip() == "?" else key.strip())
        if material:
            fails.append(material.fails)
    return ", ".join(dict.fromkeys(names)), "; ".join(dict.fromkeys(fails))


def ladder(row: Mapping[str, Any]) -> Ladder:
    """Return the sum from prior to posterior in decibans.

    Mixing over storage and candidate releases is not linear in decibans; what it moves is shown
    as a term of its own, so that the column adds up.
    """
    prior, posterior = phrase.decibans(row["p_prior"]), phrase.decibans(row["p_unfit"])
    return Ladder(
        prior_chance=phrase.percent(row["p_prior"]),
        prior=phrase.signed(prior),
        signs=phrase.signed(row["sign_db"]),
        rules=phrase.signed(row["rule_db"]),
        mixing=phrase.signed(posterior - prior - row["sign_db"] - row["rule_db"]),
        posterior=phrase.signed(posterior),
    )
