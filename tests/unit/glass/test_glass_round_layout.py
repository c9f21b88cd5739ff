"""Discs out of round slices, each layout proved by a checker that knows nothing of how it was made."""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import combinations
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.glass.domain.blank.options import BlankOption, Misfit, option_for
from services.glass.domain.cutting.picture import utilisation
from services.glass.domain.layouts.equal import Layout, best_round_layout, round_capacity
from services.glass.domain.plan import plan_blanks
from services.glass.errors import SizeImpossible
from services.optics.body import body
from shared_schemas.blanks import BlankPlan
from shared_schemas.check import CheckReport
from shared_schemas.prescription import Element
from shared_schemas.rates import Rates
from shared_schemas.traveller import Job

HAIR_MM = 2e-9


def faults_of(layout: Layout) -> list[str]:
    middle = layout.length_mm / 2
    found = [
        f"{disc} over the margin"
        for disc in layout.discs
        if math.hypot(disc.x_mm - middle, disc.y_mm - middle) + disc.diameter_mm / 2 > middle - layout.edge_margin_mm + HAIR_MM
    ]
    found += [
        f"{one} and {other} too near"
        for one, other in combinations(layout.discs, 2)
        if math.hypot(one.x_mm - other.x_mm, one.y_mm - other.y_mm) < one.diameter_mm + one.gap_mm - HAIR_MM
    ]
    return found


@settings(max_examples=80, deadline=None)
@given(st.floats(40, 300), st.floats(8, 70), st.floats(0, 6), st.floats(0, 4))
def test_discs_lie_apart_and_within_the_margin_of_a_slice(slice_mm: float, diameter: float, gap: float, margin: float) -> None:
    layout = best_round_layout(slice_mm=slice_mm, diameter_mm=diameter, gap_mm=gap, edge_margin_mm=margin)
    assert len(layout.discs) == round_capacity(slice_mm=slice_mm, diameter_mm=diameter, gap_mm=gap, edge_margin_mm=margin)
    if len(layout.discs) > 1:
        assert faults_of(layout) == []
        assert utilisation(layout=layout) < math.pi / math.sqrt(12)


@pytest.mark.parametrize(
    ("ratio", "discs"), [(0.99, 0), (1.0, 1), (1.99, 1), (2.0, 2), (2.155, 3), (2.415, 4), (3.0, 7), (5.0, 19)]
)
def test_a_slice_gives_as_many_as_plain_geometry_allows(ratio: float, discs: int) -> None:
    # 2, 1 + 2/sqrt(3), 1 + sqrt(2), 3 and 1 + sqrt(2) + sqrt(6) = 4.86 are the closed forms for 2, 3, 4, 7 and 19 discs.
    assert round_capacity(slice_mm=20 * ratio + 1e-9, diameter_mm=20.0, gap_mm=0.0) == discs


def test_a_slice_without_room_for_a_cut_is_ground_down_to_one_blank() -> None:
    assert round_capacity(slice_mm=21.0, diameter_mm=20.0, gap_mm=3.0, edge_margin_mm=2.0) == 1
    assert round_capacity(slice_mm=19.9, diameter_mm=20.0, gap_mm=3.0, edge_margin_mm=2.0) == 0
    with pytest.raises(SizeImpossible, match="disc diameter"):
        round_capacity(slice_mm=21.0, diameter_mm=0.0, gap_mm=3.0)


def test_a_sawn_disc_gives_several_blanks_a_slice_with_a_picture(
    element: Callable[..., Element], check_of: Callable[..., CheckReport], job_of: Callable[..., Job], rates: Rates
) -> None:
    lens = [element("L1")]
    discs_only = tuple(row for row in rates.stock_forms if row.glass == "N-BK7" and row.form == "disc")
    assert discs_only
    only = rates.model_copy(update={"stock_forms": discs_only})
    plan = plan_blanks(job=job_of(lens), check=check_of(lens), rates=only, pictures=True)
    assert isinstance(plan, BlankPlan)
    (blank,) = plan.blanks
    assert (blank.form, blank.layout) == ("disc", "round")
    assert blank.discs_per_plate > 10
    assert sum(one.discs * plate.plates for plate in plan.plates for one in plate.discs) >= 25
    drawn = ElementTree.fromstring(plan.plates[0].svg)
    circles = [shape.get("class") for shape in drawn.iter("{http://www.w3.org/2000/svg}circle")]
    assert circles.count("plate") == 1
    assert circles.count("disc") == plan.plates[0].discs[0].discs
    assert "slice ⌀ 150.0" in plan.plates[0].svg


def test_a_blank_wider_than_a_sawn_disc_does_not_come_out_of_it(element: Callable[..., Element], rates: Rates) -> None:
    row = next(one for one in rates.stock_forms if one.form == "disc")
    wide = option_for(
        element=element("L1", diameter_mm=149.0, front_radius_mm=400.0, back_radius_mm=-400.0),
        finished=body(element=element("L1", diameter_mm=149.0, front_radius_mm=400.0, back_radius_mm=-400.0)),
        stock=row,
        density_g_cm3=2.5,
        rates=rates,
    )
    assert isinstance(wide, Misfit)
    narrow = option_for(
        element=element("L1", diameter_mm=20.0),
        finished=body(element=element("L1", diameter_mm=20.0)),
        stock=row,
        density_g_cm3=2.5,
        rates=rates,
    )
    assert isinstance(narrow, BlankOption)
