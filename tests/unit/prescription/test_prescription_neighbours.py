"""Between neighbours: gaps, spacers, cement."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.optics.body import Body
from services.optics.seats import gap_mm, least_gap
from services.optics.surface import profile
from services.prescription.domain.cement import film_strain
from services.prescription.domain.neighbours import spacer
from shared_schemas.check import CheckReport
from shared_schemas.prescription import Surface

Report = Callable[..., CheckReport]


def plate(front_mm: float | None, back_mm: float | None, clear_mm: float = 18.0, rim_mm: float = 10.0) -> Body:
    front, back = (Surface(radius_mm=radius, clear_diameter_mm=clear_mm) for radius in (front_mm, back_mm))
    return Body(profile(surface=front, rim_mm=rim_mm), profile(surface=back, rim_mm=rim_mm), 5.0, rim_mm)


def sphere(radius_mm: float | None) -> Surface:
    return Surface(radius_mm=radius_mm, clear_diameter_mm=18.0)


@given(one=st.floats(11, 500) | st.floats(-500, -11), other=st.floats(11, 500) | st.floats(-500, -11), axial=st.floats(0, 20))
def test_nowhere_is_there_less_air_than_the_least(one: float, other: float, axial: float) -> None:
    before, behind = plate(None, one), plate(other, None)
    least, _ = least_gap(before=before, behind=behind, axial_mm=axial)
    heights = [10.0 * i / 50 for i in range(51)]
    found = min(gap_mm(before=before, behind=behind, axial_mm=axial, height_mm=height) for height in heights)
    assert min(least, axial) <= found + 1e-9


def test_a_spacer_between_planes_is_as_long_as_the_gap_and_touches_midway() -> None:
    ring = spacer(before=plate(None, None), behind=plate(None, None), axial_mm=3.0)
    assert ring is not None
    assert (ring.length_mm, ring.front_contact_mm, ring.back_contact_mm) == (3.0, 19.0, 19.0)


def test_a_spacer_between_convex_faces_is_longer_than_the_gap_and_between_hollow_ones_shorter() -> None:
    convex = spacer(before=plate(None, -50.0), behind=plate(50.0, None), axial_mm=1.0)
    hollow = spacer(before=plate(None, 50.0), behind=plate(-50.0, None), axial_mm=3.0)
    sag = 50 - (50**2 - 9.5**2) ** 0.5
    assert convex is not None
    assert hollow is not None
    assert convex.length_mm == pytest.approx(1 + 2 * sag)
    assert hollow.length_mm == pytest.approx(3 - 2 * sag)
    assert spacer(before=plate(None, 50.0), behind=plate(-50.0, None), axial_mm=1.0) is None


def test_the_report_has_a_figure_for_every_space(report: Report) -> None:
    space = report().spaces[0]
    assert not space.cemented
    assert space.gap_at_axis_mm < space.gap_at_clear_mm < space.gap_at_rim_mm
    assert space.gap_at_clear_mm == pytest.approx(5 + 2 * (60 - (60**2 - 11.5**2) ** 0.5))
    assert space.spacer_length_mm == pytest.approx(5 + 2 * (60 - (60**2 - 12.0**2) ** 0.5))
    assert space.mismatch_fringes is None


@pytest.mark.parametrize(
    ("radius_mm", "code"),
    [(-60.0, None), (-60.05, None), (-60.2, "cement-radii-differ"), (-59.8, "cement-radii-differ"), (-62.0, "cement-radii-far")],
)
def test_cemented_radii_are_equal_within_five_fringes(report: Report, radius_mm: float, code: str | None) -> None:
    def cemented(lens: dict[str, Any]) -> None:
        lens.update(spaces=[{"cemented": True}])
        lens["elements"][1]["front"].update(radius_mm=radius_mm)

    found = report(cemented)
    said = [one for one in found.findings if one.code.startswith("cement-radii")]
    assert [one.code for one in said] == ([code] if code else [])
    # a bulge of 60 mm in a hollow of 60.2 mm touches in its middle
    assert all(("touch at the centre" in one.message) == (abs(radius_mm) > 60.0) for one in said)
    mismatch = found.spaces[0].mismatch_fringes
    assert mismatch is not None
    assert (mismatch > 5) == bool(code)


def test_glasses_of_one_kind_strain_no_film(report: Report) -> None:
    space = report(
        lambda lens: lens.update(spaces=[{"cemented": True}]) or lens["elements"][1]["front"].update(radius_mm=-60.0)
    ).spaces[0]
    assert (space.expansion_difference_1e6_per_k, space.film_shift_um, space.film_shear_strain) == (0.0, 0.0, 0.0)


@given(difference=st.floats(-15, 15), diameter=st.floats(1, 300))
def test_a_film_twice_as_thick_is_sheared_by_half_whichever_glass_expands(difference: float, diameter: float) -> None:
    thin, thick = (
        film_strain(expansion_difference_1e6_per_k=sign * difference, diameter_mm=diameter, film_mm=film)
        for sign, film in ((1, 0.01), (-1, 0.02))
    )
    assert thin.shift_um == thick.shift_um
    assert thin.shear_strain == pytest.approx(2 * thick.shear_strain)


# Two lenses of 25 mm, 23 mm clear; a hollow back of R 40 before a front of R 60. Sags, derived: 2.00329 and 1.31653 at 12.5 mm,
# 1.68878 and 1.11240 at 11.5 mm: they touch at the rim below a gap of 0.68676 mm, inside the clear diameter below 0.57638 mm.
def hollow(gap_mm: float, front_mm: float = 60.0) -> Callable[[dict[str, Any]], None]:
    def change(lens: dict[str, Any]) -> None:
        lens["elements"][0]["back"]["radius_mm"] = 40.0
        lens["elements"][1]["front"]["radius_mm"] = front_mm
        lens["spaces"] = [{"gap_mm": gap_mm}]

    return change


@pytest.mark.parametrize(
    ("gap_mm", "code"), [(0.69, None), (0.68, "neighbours-seat"), (0.58, "neighbours-seat"), (0.57, "neighbours-collide")]
)
def test_rims_that_touch_outside_both_clear_diameters_get_a_seat_and_inside_one_are_a_stop(
    report: Report, gap_mm: float, code: str | None
) -> None:
    told = [one for one in report(hollow(gap_mm)).findings if one.code in ("neighbours-seat", "neighbours-collide")]
    assert [one.code for one in told] == ([] if code is None else [code])
    assert [one.severity for one in told] == [{"neighbours-seat": "care", "neighbours-collide": "stop"}[one.code] for one in told]


def test_the_seat_stands_on_the_hollow_face_leaves_air_and_thins_the_edge(report: Report) -> None:
    checked, free = report(hollow(0.63)), report(hollow(5.0))
    back, was = checked.elements[0].back, free.elements[0].back
    assert 0 < back.seat_width_mm < 1.0
    assert was.seat_width_mm == checked.elements[1].front.seat_width_mm == checked.elements[0].front.seat_width_mm == 0.0
    # half of the air at 11.5 mm is left where the seat begins: 0.63 - z40(y) + z60(y) = (0.63 - 0.57638) / 2
    begins = 12.5 - back.seat_width_mm
    air = 0.63 - (40 - math.sqrt(1600 - begins**2)) + (60 - math.sqrt(3600 - begins**2))
    assert air == pytest.approx((0.63 - 0.57638) / 2, abs=1e-4)
    lost_mm = 2.00329 - (40 - math.sqrt(1600 - begins**2))
    assert free.elements[0].edge_thickness_mm - checked.elements[0].edge_thickness_mm == pytest.approx(lost_mm, abs=1e-4)
    assert checked.elements[0].volume_mm3 < free.elements[0].volume_mm3
    assert checked.makeable == "with_care"


def test_of_two_hollow_faces_one_gets_the_seat_where_that_is_enough_and_both_where_it_is_not(
    report: Report,
) -> None:
    # against R -40 each rim stands 2.00329 mm forward, 1.68878 mm at the clear diameter
    one_seat, two_seats = report(hollow(3.9, -40.0)), report(hollow(3.4, -40.0))
    widths = [
        (checked.elements[0].back.seat_width_mm > 0, checked.elements[1].front.seat_width_mm > 0)
        for checked in (one_seat, two_seats)
    ]
    assert sorted(widths[0]) == [False, True]
    assert widths[1] == (True, True)
