"""Sagitta, edge, volume and the ranges past which they say no."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.optics.body import Body, centres_apart_mm, edge_thickness_mm, least_edge_mm, under_sphere_mm3, volume_mm3
from services.optics.dispersion import glass_index, index_from_abbe
from services.optics.drawing.defaults import defaults_for
from services.optics.errors import HeightBeyondFace, SizeOutsideDefaults, WavelengthOutsideRange
from services.optics.surface import profile, sag_mm, slope
from shared_schemas.prescription import Surface
from shared_schemas.rates import Rates


def two_faced(front: Surface, back: Surface, thickness_mm: float, rim_mm: float) -> Body:
    return Body(profile(surface=front, rim_mm=rim_mm), profile(surface=back, rim_mm=rim_mm), thickness_mm, rim_mm)


def test_a_face_has_no_sagitta_past_its_end() -> None:
    with pytest.raises(HeightBeyondFace, match="ends 10 mm"):
        sag_mm(surface=Surface(radius_mm=10.0, clear_diameter_mm=15.0), height_mm=10.1)


@given(radius=st.floats(20, 500), height=st.floats(0.1, 15), conic=st.floats(-3, 0.5), term=st.floats(-1e-6, 1e-6))
def test_the_slope_is_the_derivative_of_the_sagitta(radius: float, height: float, conic: float, term: float) -> None:
    face = Surface(radius_mm=radius, clear_diameter_mm=1.0, conic=conic, asphere={"4": term})
    step = 1e-4
    rise = sag_mm(surface=face, height_mm=height + step) - sag_mm(surface=face, height_mm=height - step)
    assert slope(surface=face, height_mm=height) == pytest.approx(rise / (2 * step), abs=1e-6)


def test_a_seat_begins_at_the_clear_diameter_where_the_curve_does_not_reach_the_rim() -> None:
    face = profile(surface=Surface(radius_mm=25.05, clear_diameter_mm=44.0), rim_mm=33.0)
    assert face.needs_seat
    assert face.sag_mm(33.0) == face.sag_mm(22.0)


@given(radius=st.floats(13, 500), thickness=st.floats(9, 30))
def test_the_exact_volume_of_spheres_is_that_of_quadrature(radius: float, thickness: float) -> None:
    sphere, plane = Surface(radius_mm=radius, clear_diameter_mm=1.0), Surface(radius_mm=None, clear_diameter_mm=1.0)
    nearly = Surface(radius_mm=radius, clear_diameter_mm=1.0, asphere={"4": 1e-30})
    exact, summed = (volume_mm3(body=two_faced(front, plane, thickness, 10.0), height_mm=10.0) for front in (sphere, nearly))
    assert exact == pytest.approx(summed, rel=1e-9)


def test_a_half_ball_leaves_a_third_of_its_cylinder_under_it() -> None:
    assert under_sphere_mm3(radius_mm=10.0, sag_mm=10.0) == pytest.approx(math.pi * 1000 / 3)


def test_a_knife_edge_bounds_the_glass_where_the_faces_meet() -> None:
    ball = Surface(radius_mm=50.0, clear_diameter_mm=1.0)
    shape = two_faced(ball, Surface(radius_mm=-50.0, clear_diameter_mm=1.0), 2.0, 12.5)
    assert edge_thickness_mm(body=shape, height_mm=12.5) < 0
    lens_of_two_caps = 2 * math.pi * 1.0**2 * (50 - 1 / 3)
    assert volume_mm3(body=shape, height_mm=12.5) == pytest.approx(lens_of_two_caps, rel=1e-3)


@pytest.mark.parametrize(("diameter_mm", "least_mm"), [(5, 0.3), (25, 1.0), (25.1, 1.5), (80, 2.0)])
def test_the_least_edge_grows_with_the_diameter(diameter_mm: float, least_mm: float) -> None:
    assert least_edge_mm(diameter_mm=diameter_mm) == least_mm


@pytest.mark.parametrize(("front_mm", "back_mm", "apart_mm"), [(50.0, 60.0, 14.0), (-50.0, -60.0, 6.0)])
def test_centres_of_curvature_with_signed_radii(front_mm: float, back_mm: float, apart_mm: float) -> None:
    assert centres_apart_mm(front_radius_mm=front_mm, back_radius_mm=back_mm, centre_thickness_mm=4.0) == apart_mm


def test_defaults_end_at_their_last_column() -> None:
    assert defaults_for(diameter_mm=30.0).diameter_plus_minus_mm == 0.5
    with pytest.raises(SizeOutsideDefaults, match="300 mm"):
        defaults_for(diameter_mm=300.1)


def test_an_index_is_not_known_outside_its_range(rates: Rates) -> None:
    with pytest.raises(WavelengthOutsideRange, match="365 to 2325"):
        glass_index(row=rates.glass("N-BK7"), wavelength_nm=300.0)
    with pytest.raises(WavelengthOutsideRange):
        index_from_abbe(name="this", nd=1.5, vd=60.0, wavelength_nm=700.0)


def test_an_index_from_abbe_gives_the_abbe_number_back() -> None:
    f, c = (index_from_abbe(name="this", nd=1.5, vd=60.0, wavelength_nm=line) for line in (486.1327, 656.2725))
    assert 0.5 / (f - c) == pytest.approx(60.0)
