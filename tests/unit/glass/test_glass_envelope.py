from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.glass.domain.envelope import disc_volume_mm3, envelope_mm, reach_mm, sag_mm, sag_range_mm
from services.glass.errors import SizeImpossible
from shared_schemas.prescription import Surface


def sphere(radius_mm: float | None, clear_mm: float = 10.0) -> Surface:
    return Surface(radius_mm=radius_mm, clear_diameter_mm=clear_mm)


def test_convex_faces_add_nothing_to_the_envelope() -> None:
    assert envelope_mm(front=sphere(50), back=sphere(-50), centre_thickness_mm=6, diameter_mm=27) == 6


def test_a_concave_face_adds_the_height_of_its_rim() -> None:
    found = envelope_mm(front=sphere(-50), back=sphere(None), centre_thickness_mm=3, diameter_mm=27)
    assert found == pytest.approx(3 + 50 - math.sqrt(50**2 - 13.5**2), abs=1e-12)


def test_a_sphere_that_ends_before_the_blank_does_goes_on_as_a_flat_seat() -> None:
    steep = sphere(6.0)
    assert reach_mm(surface=steep) == 6.0
    assert sag_mm(surface=steep, radial_mm=6.0) == pytest.approx(6.0)
    assert sag_mm(surface=steep, radial_mm=9.0) == pytest.approx(6.0)


def test_a_paraboloid_never_ends_and_has_the_sag_of_a_paraboloid() -> None:
    face = Surface(radius_mm=100.0, clear_diameter_mm=50.0, conic=-1.0)
    assert reach_mm(surface=face) == math.inf
    assert sag_mm(surface=face, radial_mm=25.0) == pytest.approx(25**2 / 200, rel=1e-14)


def test_an_even_term_is_followed_as_far_as_the_clear_diameter_and_no_further() -> None:
    face = Surface(radius_mm=None, clear_diameter_mm=20.0, asphere={"4": 1e-4})
    assert sag_mm(surface=face, radial_mm=5.0) == pytest.approx(0.0625)
    assert sag_mm(surface=face, radial_mm=12.0) == sag_mm(surface=face, radial_mm=10.0) == pytest.approx(1.0)


def test_a_face_that_turns_back_between_vertex_and_rim_is_seen() -> None:
    face = Surface(radius_mm=50.0, clear_diameter_mm=20.0, asphere={"4": -2e-4})
    least, most = sag_range_mm(surface=face, semi_diameter_mm=10.0)
    assert most > max(0.0, sag_mm(surface=face, radial_mm=10.0))
    assert least <= 0


@pytest.mark.parametrize(("thickness", "diameter"), [(0.0, 10.0), (-1.0, 10.0), (1.0, 0.0)])
def test_a_lens_without_thickness_or_diameter_is_refused_with_the_figure(thickness: float, diameter: float) -> None:
    with pytest.raises(SizeImpossible, match="must be above 0 mm"):
        envelope_mm(front=sphere(None), back=sphere(None), centre_thickness_mm=thickness, diameter_mm=diameter)


def test_a_negative_distance_from_the_axis_is_refused() -> None:
    with pytest.raises(SizeImpossible):
        sag_mm(surface=sphere(50), radial_mm=-1.0)
    with pytest.raises(SizeImpossible):
        disc_volume_mm3(diameter_mm=1.0, thickness_mm=0.0)


radii = st.one_of(st.none(), st.floats(12, 1e4), st.floats(-1e4, -12))


@settings(max_examples=60, deadline=None)
@given(radii, radii, st.floats(0.5, 20), st.floats(10, 60), st.floats(0, 20))
def test_the_envelope_holds_the_centre_and_never_shrinks_with_the_diameter(
    front: float | None, back: float | None, thickness: float, diameter: float, more: float
) -> None:
    def envelope(size_mm: float) -> float:
        return envelope_mm(front=sphere(front), back=sphere(back), centre_thickness_mm=thickness, diameter_mm=size_mm)

    assert thickness <= envelope(diameter) <= envelope(diameter + more) + 1e-9
