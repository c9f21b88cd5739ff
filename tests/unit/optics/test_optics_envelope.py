"""The envelope of a lens on its blank, and the surface past the rim of the part."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.optics.body import Body, disc_volume_mm3, envelope_mm
from services.optics.surface import as_worked, profile
from shared_schemas.prescription import Surface
from shared_schemas.problem import FigureOutOfRange


def face(radius_mm: float | None, clear_mm: float = 10.0, **fields: Any) -> Surface:
    return Surface(radius_mm=radius_mm, clear_diameter_mm=clear_mm, **fields)


def lens(front: Surface, back: Surface, centre_thickness_mm: float, diameter_mm: float = 25.0) -> Body:
    rim = diameter_mm / 2
    return Body(profile(surface=front, rim_mm=rim), profile(surface=back, rim_mm=rim), centre_thickness_mm, rim)


def test_convex_faces_add_nothing_to_the_envelope() -> None:
    assert envelope_mm(body=lens(face(50), face(-50), 6), diameter_mm=27) == 6


def test_a_concave_face_adds_the_height_of_its_rim() -> None:
    assert envelope_mm(body=lens(face(-50), face(None), 3), diameter_mm=27) == pytest.approx(
        3 + 50 - math.sqrt(50**2 - 13.5**2), abs=1e-12
    )


def test_a_sphere_that_ends_before_the_part_does_goes_on_as_a_flat_seat_from_its_clear_diameter() -> None:
    hollow = lens(face(-14, 22.0), face(None), 3, diameter_mm=30.0)
    assert envelope_mm(body=hollow, diameter_mm=32) == pytest.approx(3 + 14 - math.sqrt(14**2 - 11**2))


def test_a_sphere_that_reaches_the_rim_but_not_that_of_the_blank_ends_near_its_reach() -> None:
    steep = profile(surface=face(15.5), rim_mm=15.0)
    assert steep.sag_mm(16.0) == steep.sag_mm(0.98 * 15.5) > steep.sag_mm(15.0)


def test_an_even_term_is_followed_to_the_rim_of_the_part_and_stays_there_on_the_blank() -> None:
    plate = profile(surface=face(None, 20.0, asphere={"4": 1e-4}), rim_mm=11.0)
    assert plate.sag_mm(5.0) == pytest.approx(0.0625)
    assert plate.sag_mm(12.0) == plate.sag_mm(11.0) == pytest.approx(1.4641)
    curved = profile(surface=face(50.0, 20.0, asphere={"4": 1e-4}), rim_mm=11.0)
    assert curved.sag_mm(12.0) == pytest.approx(50 - math.sqrt(50**2 - 12**2) + 1.4641)


def test_a_face_that_turns_back_between_vertex_and_rim_is_seen() -> None:
    least, most = profile(surface=face(50.0, 20.0, asphere={"4": -2e-4}), rim_mm=10.0).sag_range_mm(10.0)
    assert most == pytest.approx(0.1256, abs=2e-4)
    assert least == pytest.approx(50 - math.sqrt(50**2 - 100) - 2.0)


@pytest.mark.parametrize(
    "written", [{"conic": 1e-12}, {"asphere": {"4": 1e-12}}, {"asphere": {"4": 0.0}}, {"conic": -1e-13, "asphere": {"6": 1e-16}}]
)
@pytest.mark.parametrize("radius", [-30.0, 200.0])
def test_a_sphere_in_other_words_is_the_sphere(radius: float, written: dict[str, Any]) -> None:
    assert as_worked(surface=face(radius, 20.0, **written), rim_mm=15.0) == face(radius, 20.0)


@pytest.mark.parametrize("conic", [1e-12, -1e-12])
def test_a_sphere_in_other_words_is_the_sphere_also_where_a_flat_seat_lies_outside(conic: float) -> None:
    assert as_worked(surface=face(-14.0, 22.0, conic=conic), rim_mm=15.0) == face(-14.0, 22.0)


def test_a_term_of_nothing_beside_a_real_one_is_left_out() -> None:
    assert as_worked(surface=face(50.0, asphere={"4": 1e-5, "6": 0.0}), rim_mm=10.0) == face(50.0, asphere={"4": 1e-5})


def test_the_extreme_of_a_face_that_turns_back_is_met_between_the_samples() -> None:
    plate = profile(surface=face(None, 100.0, asphere={"4": 1e-6, "6": -2.7e-10}), rim_mm=55.0)
    turns_at = math.sqrt(4e-6 / (6 * 2.7e-10))
    assert plate.sag_range_mm(55.0)[1] == pytest.approx(1e-6 * turns_at**4 - 2.7e-10 * turns_at**6, abs=1e-12)


def test_a_kink_at_the_rim_of_the_part_is_seen_on_the_blank() -> None:
    kinked = profile(surface=face(-50.0, 20.0, asphere={"4": 2e-4}), rim_mm=11.0)
    assert kinked.sag_range_mm(14.0)[1] == kinked.sag_mm(11.0) > kinked.sag_mm(10.999)


@pytest.mark.parametrize("written", [{"conic": -0.01}, {"asphere": {"4": 1e-9}}])
def test_what_departs_by_more_than_a_nanometre_is_an_asphere(written: dict[str, Any]) -> None:
    surface = face(-30.0, 20.0, **written)
    assert as_worked(surface=surface, rim_mm=15.0) is surface


@pytest.mark.parametrize("diameter", [0.0, -1.0])
def test_a_blank_without_a_diameter_is_refused_with_the_figure(diameter: float) -> None:
    with pytest.raises(FigureOutOfRange, match="must be above 0"):
        envelope_mm(body=lens(face(None), face(None), 1.0), diameter_mm=diameter)
    with pytest.raises(FigureOutOfRange, match="must be above 0"):
        disc_volume_mm3(diameter_mm=1.0, thickness_mm=diameter)


radii = st.one_of(st.none(), st.floats(12, 1e4), st.floats(-1e4, -12))


@settings(max_examples=60, deadline=None)
@given(radii, radii, st.floats(0.5, 20), st.floats(10, 60), st.floats(0, 20))
def test_the_envelope_holds_the_centre_and_never_shrinks_with_the_diameter(
    front: float | None, back: float | None, thickness: float, diameter: float, more: float
) -> None:
    def envelope(size_mm: float) -> float:
        return envelope_mm(body=lens(face(front), face(back), thickness, diameter), diameter_mm=size_mm)

    assert thickness <= envelope(diameter) <= envelope(diameter + more) + 1e-9
