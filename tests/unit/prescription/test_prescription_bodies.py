"""Centre of gravity, aspheric departure, wedge and bevels of one element."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.optics.body import Body, solid
from services.optics.centring import edge_difference_mm, wedge, wedge_arcmin
from services.optics.departure import aspheric_departure
from services.optics.surface import profile
from services.prescription.domain.bevels import bevel
from shared_schemas.check import CheckReport
from shared_schemas.prescription import Surface

Report = Callable[..., CheckReport]


def face(radius_mm: float | None, clear_mm: float = 1.0, **more: Any) -> Surface:
    return Surface(radius_mm=radius_mm, clear_diameter_mm=clear_mm, **more)


def two_faced(front: Surface, back: Surface, thickness_mm: float, rim_mm: float) -> Body:
    return Body(profile(surface=front, rim_mm=rim_mm), profile(surface=back, rim_mm=rim_mm), thickness_mm, rim_mm)


def test_the_centre_of_gravity_of_a_half_ball_lies_three_eighths_of_its_radius_from_the_plane() -> None:
    shape = Body(profile(surface=face(None), rim_mm=9.79), profile(surface=face(-10.0), rim_mm=9.79), 10.0, 9.79)
    # curved to 0.98 of the radius, so nearly the half ball; the exact one in the limit of its cap and cylinder
    cap = 10.0 - math.sqrt(100 - 9.79**2)
    volume_cap, from_centre = math.pi * cap**2 * (30 - cap) / 3, 3 * (20 - cap) ** 2 / (4 * (30 - cap))
    edge = 10.0 - cap
    disc = math.pi * 9.79**2 * edge
    expected = (volume_cap * from_centre + disc * edge / 2) / (volume_cap + disc)
    assert solid(body=shape, height_mm=9.79).centre_of_gravity_mm == pytest.approx(expected)


@given(front=st.floats(13, 500), back=st.floats(13, 500), thickness=st.floats(16, 30))
def test_turned_round_a_lens_keeps_volume_and_centre_of_gravity(front: float, back: float, thickness: float) -> None:
    ahead = solid(body=two_faced(face(front), face(-back), thickness, 10.0), height_mm=10.0)
    turned = solid(body=two_faced(face(back), face(-front), thickness, 10.0), height_mm=10.0)
    assert ahead.volume_mm3 == pytest.approx(turned.volume_mm3)
    assert ahead.centre_of_gravity_mm == pytest.approx(thickness - turned.centre_of_gravity_mm)
    assert 0 < ahead.centre_of_gravity_mm < thickness


@given(radius=st.floats(13, 500) | st.floats(-500, -13), thickness=st.floats(9, 30))
def test_the_exact_centre_of_gravity_is_that_of_quadrature(radius: float, thickness: float) -> None:
    exact, summed = (
        solid(body=two_faced(front, face(None), thickness, 10.0), height_mm=10.0)
        for front in (face(radius), face(radius, asphere={"4": 1e-30}))
    )
    assert exact.centre_of_gravity_mm == pytest.approx(summed.centre_of_gravity_mm, rel=1e-9)


def test_a_lens_with_a_knife_edge_has_its_centre_of_gravity_in_its_middle() -> None:
    shape = two_faced(face(50.0), face(-50.0), 2.0, 12.5)
    assert solid(body=shape, height_mm=12.5).centre_of_gravity_mm == pytest.approx(1.0)


def test_a_sphere_written_as_an_asphere_departs_by_nothing() -> None:
    departs = aspheric_departure(surface=face(50.0, 20.0), semi_diameter_mm=10.0)
    assert departs is not None
    assert departs.best_fit_radius_mm == pytest.approx(50.0)
    assert departs.peak_to_valley_um == pytest.approx(0.0, abs=1e-9)
    assert departs.slope_mrad == pytest.approx(0.0, abs=1e-9)


@given(radius=st.floats(40, 400) | st.floats(-400, -40), term=st.floats(-1e-5, 1e-5), high=st.floats(-1e-7, 1e-7))
def test_the_sphere_of_the_vertex_radius_fits_no_better(radius: float, term: float, high: float) -> None:
    surface = face(radius, 20.0, asphere={"4": term, "6": high})
    departs = aspheric_departure(surface=surface, semi_diameter_mm=10.0)
    assert departs is not None
    # the sphere of the vertex radius departs by the terms themselves
    terms = [1000 * (term * y**4 + high * y**6) for y in (i / 4 for i in range(41))]
    assert departs.peak_to_valley_um <= (max(terms) - min(terms)) * (1 + 1e-9) + 1e-9


def test_a_plane_with_a_term_of_the_fourth_order_departs_by_a_quarter_of_it() -> None:
    # y^4 against the parabola through vertex and rim: at most Y^4/4, at Y/sqrt(2)
    departs = aspheric_departure(surface=face(None, 20.0, asphere={"4": 1e-7}), semi_diameter_mm=10.0)
    assert departs is not None
    assert departs.peak_to_valley_um == pytest.approx(1e-7 * 10**4 / 4 * 1000, rel=5e-3)
    assert departs.slope_mrad == pytest.approx(2 * 1e-7 * 10**3 * 1000, rel=2e-2)


def test_a_face_past_all_bounds_has_no_departure() -> None:
    assert aspheric_departure(surface=face(50.0, 20.0, asphere={"20": 1e308}), semi_diameter_mm=10.0) is None


@given(tilt=st.floats(0, 60), diameter=st.floats(1, 300))
def test_wedge_and_edge_difference_are_inverse(tilt: float, diameter: float) -> None:
    edge = edge_difference_mm(wedge_arcmin=tilt, diameter_mm=diameter)
    assert wedge_arcmin(edge_difference_mm=edge, diameter_mm=diameter) == pytest.approx(tilt)


def test_a_plate_has_a_wedge_but_no_decentre() -> None:
    off_axis = wedge(wedge_arcmin=1.0, diameter_mm=25.0, refractive_index=1.5, focal_length_mm=None)
    assert off_axis.decentre_mm is None
    assert off_axis.deviation_arcmin == 0.5


def test_the_report_tells_the_centring_tolerance_in_every_unit(report: Report) -> None:
    one = report().elements[0]
    assert one.focal_length_mm is not None
    assert one.wedge_edge_difference_mm == pytest.approx(25 * math.radians(2 / 60))
    assert one.wedge_deviation_arcmin == pytest.approx(2 * (one.refractive_index - 1))
    assert one.wedge_decentre_mm == pytest.approx(one.focal_length_mm * math.radians((one.wedge_deviation_arcmin or 0) / 60))
    assert one.front.centre_offset_mm == pytest.approx(60 * math.radians(2 / 60))
    assert one.centres_apart_mm == pytest.approx(114.0)
    assert one.centre_of_gravity_mm == pytest.approx(3.0)
    assert one.front.aspheric_departure_um is None


def test_bevels_grow_with_the_diameter_and_end_with_the_table() -> None:
    widths = [
        (found.least_mm, found.most_mm) if found else None
        for found in (
            bevel(face=profile(surface=face(None), rim_mm=rim), front=True) for rim in (5.0, 15.0, 50.0, 100.0, 150.0, 151.0)
        )
    ]
    assert widths == [(0.1, 0.3), (0.2, 0.3), (0.3, 0.5), (0.4, 0.8), (0.6, 1.0), None]


def test_a_steep_convex_face_needs_no_bevel_and_a_hollow_one_does() -> None:
    steep = profile(surface=face(25.0), rim_mm=12.0)
    assert bevel(face=steep, front=True) is None
    assert bevel(face=steep, front=False) is not None


def test_unequal_clear_diameters_are_a_seat_and_no_error(report: Report) -> None:
    found = report(lambda lens: lens["elements"][0].update(back={"radius_mm": 12.0, "clear_diameter_mm": 15.0}))
    assert found.elements[0].back.seat_width_mm == 5.0
    assert found.elements[0].front.seat_width_mm == 0.0
    assert "face-needs-seat" in {one.code for one in found.findings}
