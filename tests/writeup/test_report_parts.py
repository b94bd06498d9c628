"""What a ticket says of the parts and of the plans, and what it leaves out."""

from types import SimpleNamespace

import pytest
from made_night import posterior, prognosis, verdict

from triage.writeup.figures import figures, repairs_of
from triage.writeup.parts import PARTS, part_views


def test_all_eight_parts_come_from_the_ground_up(catalogue: SimpleNamespace) -> None:
    views = part_views([], [], 2.0, None, catalogue)
    assert tuple(view.part for view in views) == PARTS
    assert not any(view.present for view in views)


def test_chances_are_those_of_the_buyers_own_horizon(catalogue: SimpleNamespace) -> None:
    rows = [posterior("a/1", "bond", (0.1, 0.2, 0.3)), posterior("a/1", "bond", (0.4, 0.5, 0.6), horizon_years=5.0)]
    aged = [
        prognosis("a/1", "bond", "cement_bond", 0.2),
        prognosis("a/1", "bond", "cement_bond", 0.5, horizon_years=5.0),
    ]
    bond = next(view for view in part_views(rows, aged, 5.0, None, catalogue) if view.part == "bond")
    assert (bond.word, bond.chance.replace("\u00a0", " ")) == ("about even", "40 to 60 %")


@pytest.mark.parametrize(("chance", "shown"), [(0.05, False), (0.4, True)])
def test_a_part_only_a_less_likely_release_has_is_shown_once_it_could_fail(
    chance: float, shown: bool, catalogue: SimpleNamespace
) -> None:
    aged = [prognosis("a/1", "trim", "tpu_trim", 0.9, place=2)]
    rows = [posterior("a/1", "trim", (chance, chance, chance))]
    trim = next(view for view in part_views(rows, aged, 2.0, None, catalogue) if view.part == "trim")
    assert trim.present is shown


def test_a_material_nobody_knows_says_so(catalogue: SimpleNamespace) -> None:
    aged = [prognosis("a/1", "upper", "leather_chrome;?", 0.2)]
    upper = next(view for view in part_views([], aged, 2.0, None, catalogue) if view.part == "upper")
    assert upper.material == "leather, material not known"
    assert upper.word == "not known"


def plan(name: str, probability: float, *repairs: str) -> dict[str, object]:
    return dict(
        buyer="wren", plan=name, probability=probability, value_minor=5000, repairs=list(repairs),
        cost_lo_minor=None, cost_hi_minor=None,
    )  # fmt: skip


def row_of(chosen: str) -> dict[str, object]:
    return verdict(listing_id="a/1", plan=chosen) | dict(price_currency="EUR", price_minor=1, price_base_minor=1)


def test_a_plan_that_hardly_ever_comes_to_pass_is_left_out_with_its_repair(catalogue: SimpleNamespace) -> None:
    plans = [plan("wear", 0.995), plan("restore", 0.005, "reglue")]
    assert [view.name for view in figures(row_of("wear"), plans, catalogue).plans] == ["wear as it is"]
    assert repairs_of(plans, {"wren": "wear"}, catalogue) == ()


def test_the_plan_of_the_verdict_is_shown_however_rare_and_never_without_its_cautions(
    catalogue: SimpleNamespace,
) -> None:
    plans = [plan("wear", 0.995), plan("restore", 0.005, "reglue")]
    (shown,) = [view for view in figures(row_of("restore"), plans, catalogue).plans if view.repairs]
    assert shown.repairs == ("clean and reglue the edge",)
    (repair,) = repairs_of(plans, {"wren": "restore"}, catalogue)
    assert repair.cautions == ("Never onto crumbling foam.",)


def test_a_plan_without_costs_of_its_own_costs_what_a_repairer_takes_for_its_repairs(
    catalogue: SimpleNamespace,
) -> None:
    (shown,) = figures(row_of("restore"), [plan("restore", 0.5, "reglue", "sole-transplant")], catalogue).plans
    assert shown.cost.replace("\u00a0", " ") == "EUR 85 to 240 when done by a repairer"
