"""Aspheres against published figures: their shape, the passes of correcting, and the minutes and the price that go with them."""

from __future__ import annotations

import math

import pytest

from services.optics.departure import fringes_per_mm, from_reference_sphere
from services.process.domain.aspheres.minutes import (
    contour_min,
    face_area_mm2,
    layer_min,
    pass_share,
    passes,
    passes_min,
    repeated_min,
)
from services.process.domain.aspheres.remarks import break_even_pieces
from shared_schemas.prescription import Surface


@pytest.mark.parametrize(
    ("radius_mm", "conic", "terms", "semi_diameter_mm", "radius_of_sphere_mm", "departure_um", "slope_mrad", "removal_mm3"),
    [
        (100.0, -1.0, {}, 25.0, 101.5625, 12.2070, 3.966, 15.979),
        (30.0, -0.6, {"4": 1e-6}, 12.5, 30.53859, 12.6265, 8.868, 4.128),
    ],
    ids=["paraboloid of 50 mm, R 100", "ellipsoid of 25 mm with a term, R 30"],
)
def test_the_shape_against_the_sphere_through_vertex_and_edge(
    radius_mm: float, conic: float, terms: dict[str, float], semi_diameter_mm: float, radius_of_sphere_mm: float, departure_um: float,
    slope_mrad: float, removal_mm3: float,
) -> None:  # fmt: skip
    """Worked out apart from the suite with 4001 samples; the sphere through vertex and edge as at https://www.castech.com/news_detail/25.html."""
    surface = Surface(radius_mm=radius_mm, conic=conic, asphere=terms, clear_diameter_mm=2 * semi_diameter_mm)
    found = from_reference_sphere(surface=surface, semi_diameter_mm=semi_diameter_mm, glass_behind=True)
    figures = (found.radius_mm, found.departure_um, found.slope_mrad, found.removal_mm3)
    assert figures == pytest.approx((radius_of_sphere_mm, departure_um, slope_mrad, removal_mm3), rel=1e-3)


def test_a_paraboloid_departs_as_a_term_of_fourth_order_does() -> None:
    """A term y^4 departs by a quarter of its height at the edge, and slopes by half of its slope there (derived)."""
    term, edge = 1e-6, 10.0
    flat = Surface(radius_mm=None, asphere={"4": term}, clear_diameter_mm=2 * edge)
    found = from_reference_sphere(surface=flat, semi_diameter_mm=edge, glass_behind=True)
    assert found.departure_um == pytest.approx(1000 * term * edge**4 / 4, rel=1e-3)
    assert found.slope_mrad == pytest.approx(1000 * 2 * term * edge**3, rel=1e-3)


def test_fringes_where_an_asphere_is_seen_against_a_sphere() -> None:
    """A slope of 8.868 mrad at 632.8 nm is 28.03 fringes in a millimetre, 1 mrad 3.16 (derived: a fringe is half a wavelength)."""
    assert fringes_per_mm(slope_mrad=8.868, wavelength_nm=632.8) == pytest.approx(28.03, abs=0.02)
    assert fringes_per_mm(slope_mrad=1.0, wavelength_nm=632.8) == pytest.approx(3.16, abs=0.005)


def test_three_passes_correct_eight_micrometres_to_a_half() -> None:
    """Journal of National University of Defense Technology 26-3 (2004): a small asphere by magnetorheological finishing."""
    assert passes(start_form_um=8.0, form_um=0.5, gain=2.52) == pytest.approx(3.0, abs=0.01)


def test_from_two_micrometres_to_three_tenths_is_a_third_pass() -> None:
    """Two passes do not get there (arithmetic)."""
    assert math.ceil(passes(start_form_um=2.0, form_um=0.3, gain=2.5)) == 3
    assert passes(start_form_um=2.0, form_um=0.3, gain=2.5) == pytest.approx(2.070, abs=1e-3)


def test_minutes_of_an_asphere_of_25_mm() -> None:
    """12 min of form grinding, 10 um of pre-polish at 0.4 mm3/min, two passes of 0.5 um with 12 min to set and 10 to measure, 8 min at last.

    Worked out apart from the suite: 12 + 12.272 + 44.982 + 8 = 77.25 min.
    """
    area = face_area_mm2(work_diameter_mm=25.0)
    ground = contour_min(contour_min_per_mm=0.48, work_diameter_mm=25.0)
    pre = layer_min(area_mm2=area, depth_um=10.0, removal_mm3_per_min=0.4)
    each = layer_min(area_mm2=area, depth_um=0.5, removal_mm3_per_min=0.5) + 12 + 10
    corrected = repeated_min(minutes=passes_min(passes=2.0, each_min=each), pass_share=1.0)
    assert (ground, pre, corrected) == pytest.approx((12.0, 12.272, 44.982), abs=0.001)
    assert ground + pre + corrected + 8.0 == pytest.approx(77.25, abs=0.01)


def test_half_of_the_pieces_hold_the_typical_form_and_nearly_all_three_times_it() -> None:
    """The log-logistic share: 1/2 at the typical form, 0.94 at three times it, 0.06 at a third (computed)."""
    found = [pass_share(typical_form_um=0.06, form_um=form, sharpness=2.5) for form in (0.02, 0.06, 0.18)]
    assert found == pytest.approx([0.0603, 0.5, 0.9397], abs=1e-4)


def test_moulds_for_fifteen_thousand_are_paid_for_by_97_pieces() -> None:
    """At 180 for a polished and 25 for a pressed piece: 15000 / 155 = 96.8 (arithmetic)."""
    assert break_even_pieces(mould_charge=15_000.0, polished_each=180.0, pressed_each=25.0) == 97
